"""The thermal estimate against formulas of the trade, by the twin, which the core equals.

Sources: trip time of a first-order thermal model, IEC 60255-149 (before it IEC 60255-8), from relay
manuals that quote it: t = tau ln((I^2 - Ip^2) / (I^2 - (k Iref)^2)), cold with Ip = 0. Duty S3 of
IEC 60034-1: periods of 10 min, from a catalogue that quotes it; peak and floor of a first-order
model in a periodic duty follow from its exponential, by arithmetic.
"""

from __future__ import annotations

from math import exp, log
from types import SimpleNamespace

import pytest
from rodbench.emulator.twin.thermal import THERMAL_BITS, thermal_rest, thermal_tick

TICKS_PER_S = 200
RATED_MA = 1700


def settings(time_s: int) -> SimpleNamespace:
    return SimpleNamespace(rated_ma=RATED_MA, thermal_time_s=time_s)


def run(heat: int, time_s: int, current_ma: int, ticks: int) -> int:
    """So many ticks at a current."""
    of = settings(time_s)
    for _ in range(ticks):
        heat = thermal_tick(heat, of, current_ma)
    return heat


@pytest.mark.parametrize("time_s", [10, 60, 300, 1200])
@pytest.mark.parametrize("times", [1.2, 2.0, 5.0])
@pytest.mark.parametrize("before", [0.0, 0.6, 0.9])
def test_trip_time(time_s: int, times: float, before: float) -> None:
    """k^2 = 1.1 is a trip level of 110 %; hot starts are at rest in the current before."""
    level = 1.1
    expected_s = time_s * log((times**2 - before**2) / (times**2 - level))
    heat = round(before**2 * 1000) << THERMAL_BITS
    of, ticks = settings(time_s), 0
    while heat >> THERMAL_BITS < level * 1000:
        heat = thermal_tick(heat, of, round(times * RATED_MA))
        ticks += 1
    assert ticks / TICKS_PER_S == pytest.approx(expected_s, rel=0.006, abs=0.02)


@pytest.mark.parametrize("time_s", [10, 300, 7200])
def test_the_rated_current_ends_at_1000_permille_and_never_trips_at_110(time_s: int) -> None:
    """Two permille short at the longest constant, as said beside it."""
    heat = run(990 << THERMAL_BITS, time_s, RATED_MA, min(8 * time_s, 14400) * TICKS_PER_S // 4)
    heat = max(heat, run(999 << THERMAL_BITS, time_s, RATED_MA, 20000))
    assert 998 <= heat >> THERMAL_BITS <= 1001


@pytest.mark.parametrize(("on_s", "off_s"), [(150, 450), (240, 360), (360, 240)])
def test_periods_of_ten_minutes(on_s: int, off_s: int) -> None:
    """S3 25, 40 and 60 %: the peak in the long run, at twice the rated current."""
    time_s, square = 300, 4.0
    heat = 0
    for _ in range(6):
        heat = run(heat, time_s, 2 * RATED_MA, on_s * TICKS_PER_S)
        peak = heat
        heat = run(heat, time_s, 0, off_s * TICKS_PER_S)
    period = 1 - exp(-(on_s + off_s) / time_s)
    expected = square * (1 - exp(-on_s / time_s)) / period
    assert peak / (1 << THERMAL_BITS) == pytest.approx(min(expected * 1000, 3584), rel=0.006)
    if expected * 1000 < 3584:
        floor = expected * exp(-off_s / time_s)
        assert heat / (1 << THERMAL_BITS) == pytest.approx(floor * 1000, rel=0.006)


@pytest.mark.parametrize("time_s", [10, 300, 7200])
def test_rest_that_is_told_cools_never_too_much(time_s: int) -> None:
    start = 1100 << THERMAL_BITS
    for off_s in (0, 1, 7, time_s // 3, time_s, 2 * time_s, 5 * time_s, 65535):
        share = thermal_rest(start, settings(time_s), off_s) / start
        exact = exp(-off_s / time_s)
        assert exact - 0.0002 <= share <= exact + 0.034 + 8 / time_s * (exact > 0.01)


def test_without_a_rated_current_there_is_no_estimate() -> None:
    of = SimpleNamespace(rated_ma=0, thermal_time_s=300)
    assert thermal_tick(900 << THERMAL_BITS, of, 5000) == 0
