"""A swapped wiper behind a resistor, told from a straight pot and from a load."""

from __future__ import annotations

from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import ProcedureError
from rodbench.science.bend import MOST_BEND, bend

from .harness import Bench

N = 120


def divider(share: float, track_ohm: float, series_ohm: float) -> float:
    """Raw of a pot whose wiper has the supply, by the divider."""
    return 8184.0 * share * track_ohm / (series_ohm + share * track_ohm)


@given(
    track=st.sampled_from([5_000.0, 10_000.0, 20_000.0]),
    series=st.sampled_from([100.0, 220.0, 470.0]),
    ends=st.tuples(st.floats(0.0, 0.08), st.floats(0.92, 1.0)),
    rising=st.booleans(),
)
def test_a_swapped_wiper_stands_out(
    track: float, series: float, ends: tuple[float, float], rising: bool
) -> None:
    low, high = ends
    shares = [low + (high - low) * i / (N - 1) for i in range(N)]
    readings = [divider(share, track, series) for share in shares]
    found = bend(readings if rising else readings[::-1], [0.6] * N)
    assert found is not None
    assert found > MOST_BEND


@given(span=st.floats(500, 8000), wobble=st.floats(0.0, 0.4), falls=st.booleans())
def test_a_straight_pot_does_not(span: float, wobble: float, falls: bool) -> None:
    readings = [span * (x + wobble * x * (1 - x)) for x in (i / (N - 1) for i in range(N))]
    found = bend(readings[::-1] if falls else readings, [0.6] * N)
    assert found is not None
    assert found < 3.0


@pytest.mark.parametrize("sensed", [True, False])
def test_a_load_that_slows_the_rod_shows_in_the_current(sensed: bool) -> None:
    """V = I R + K v with V = 3.6, R = 2: the current rises from 1.2 to 1.79 A, the speed falls."""
    currents = [1.2 + 0.59 * i / (N - 1) for i in range(N)]
    readings = list(accumulate((3.6 - 2.0 * amps) * 10.0 for amps in currents))
    found = bend(readings, currents if sensed else [0.0] * N)
    assert found is None if sensed else found is not None


def test_too_few_readings_tell_nothing() -> None:
    assert bend([1.0, 2.0, 3.0], [0.5] * 3) is None


def swapped_behind(series_ohm: float) -> Bench:
    """A rod whose wiper has the supply, behind a resistor; its pot uses the middle of its track."""
    machine = random_machine(6, end="switch")
    pot = machine.rods[1].pot
    pot.retracted, pot.extended = 0.25, 0.8
    pot.wired, pot.series_ohm, pot.resistance_ohm = "wiper-on-supply", series_ohm, 5000.0
    return Bench.of(machine)


@pytest.mark.parametrize("series_ohm", [220.0, 1000.0])
def test_a_swapped_wiper_is_never_commissioned(series_ohm: float) -> None:
    bench = swapped_behind(series_ohm)
    with pytest.raises(ProcedureError, match="wiper"):
        bench.commission()
    assert bench.board.digests()["stored"] == 0
