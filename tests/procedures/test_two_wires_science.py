"""What two wires tell: verdicts and times against independent truth."""

from __future__ import annotations

import itertools
import random

import pytest
from rodbench.science.ends import End, Sensor
from rodbench.science.polarity import Finding, Seen
from rodbench.science.stall import Stall
from rodbench.science.two_wires import SeenRun, agree, direction, stroke, trip

STEP_A = 0.026
SENSOR = Sensor(STEP_A, 0.01)
CURRENTS = (None, 0.0, 0.8)  # no sensor, a lead open, a motor that draws


def run(sign: int, seen: Seen, current: float | None) -> SeenRun:
    return SeenRun(sign, current, STEP_A, seen)


@pytest.mark.parametrize(
    ("a", "b", "first", "second"), list(itertools.product(Seen, Seen, CURRENTS, CURRENTS))
)
def test_only_opposite_answers_that_the_current_bears_settle_anything(
    a: Seen, b: Seen, first: float | None, second: float | None
) -> None:
    found = direction(run(1, a, first), run(-1, b, second))
    opposite = {a, b} == {Seen.OUT, Seen.IN}
    denied = 0.0 in (first, second)  # a motor that draws nothing goes nowhere
    assert found.settled == (opposite and not denied)
    assert found.motor_reversed == (found.settled and a is Seen.IN)
    assert found.text


def test_an_open_lead_is_called_so_and_a_jam_is_not() -> None:
    still = Seen.STILL
    assert direction(run(1, still, 0.0), run(-1, still, 0.0)).finding is Finding.MOTOR_OPEN
    assert direction(run(1, still, 2.0), run(-1, still, 2.0)).finding is Finding.NO_MOTION
    assert direction(run(1, Seen.OUT, 0.8), run(-1, still, 0.0)).finding is Finding.MOTOR_OPEN


def test_two_runs_the_same_way_are_no_pair() -> None:
    with pytest.raises(ValueError, match="opposite"):
        direction(run(1, Seen.OUT, 0.8), run(1, Seen.IN, 0.8))


def made(
    kind: str, way_s: float, dwell_s: float = 0.4, slope: float = 0.0, seed: int = 1
) -> tuple[list[float], list[float]]:
    """Readings every 10 ms of a run that meets its end after `way_s`: an inrush, running current
    that changes by `slope` A over the way, then none, or that of a stalled motor."""
    draw = random.Random(seed)
    times = [0.01 * k for k in range(round((way_s + dwell_s) / 0.01))]
    at_end = {"switch": 0.0, "stall": 4.0}[kind]

    def current(t: float) -> float:
        if t >= way_s:
            return at_end
        inrush = 1.5 * max(0.0, 1.0 - t / 0.2)
        return 1.2 + inrush + slope * t / way_s

    return times, [max(0.0, current(t) + draw.gauss(0.0, 0.03)) for t in times]


@pytest.mark.parametrize("kind", ["switch", "stall"])
@pytest.mark.parametrize("way_s", [2.0, 7.3, 38.0])
@pytest.mark.parametrize("slope", [-0.4, 0.0, 0.9])
def test_the_time_of_a_stroke_and_how_it_ended(kind: str, way_s: float, slope: float) -> None:
    found = stroke(*made(kind, way_s, slope=slope), 0.05, SENSOR)
    assert found.time_s == pytest.approx(way_s, abs=0.03)
    assert found.kind is {"switch": End.SWITCH, "stall": End.STALL}[kind]
    assert found.running_a == pytest.approx(1.2 + slope / 2, abs=0.12)
    assert found.end_a == pytest.approx({"switch": 0.0, "stall": 4.0}[kind], abs=0.05)
    assert found.held_peak_a < 3.0 < 4.0  # the stall at the end is no peak of the way


def test_a_run_that_was_cut_short_shows_no_kind_of_end() -> None:
    times, currents = made("switch", 5.0)
    until = next(k for k, t in enumerate(times) if t >= 4.0)
    assert stroke(times[:until], currents[:until], 0.05, SENSOR).kind is End.UNKNOWN


def test_too_short_to_tell() -> None:
    with pytest.raises(ValueError, match="too short"):
        stroke([0.0, 0.01, 0.02], [0.0, 1.0, 1.0], 0.05, SENSOR)


@pytest.mark.parametrize(
    ("times", "same"), [((12.0, 12.4), True), ((12.0, 13.5), False), ((1.0, 1.1), True)]
)
def test_strokes_that_differ_were_not_all_whole(times: tuple[float, ...], same: bool) -> None:
    assert agree(times) is same


STALL = Stall(6.0, 0.5, "measured")


def test_the_trip_lies_between_the_peak_and_the_stall() -> None:
    found = trip(1.9, STALL, None, [(10.0, "the fuse")])
    assert 1.9 < found.trip_a == pytest.approx(2.85)
    assert found.trip_a < STALL.current_a - STALL.sigma_a
    assert not found.warning


@pytest.mark.parametrize(
    ("args", "trip_a", "words"),
    [
        ((1.9, None, None, [(10.0, "the fuse")]), 2.85, "stall current is unknown"),
        ((4.5, STALL, None, [(10.0, "the fuse")]), 5.17, "lie close"),
        ((1.9, STALL, None, [(2.0, "the fuse")]), 2.0, "may trip in use"),
        ((1.9, STALL, 6.0, [(10.0, "the fuse")]), 6.9, ""),  # a stall at each end is normal work
        ((1.9, STALL, 6.0, [(6.2, "the fuse")]), 6.2, "may trip in use"),
    ],
)
def test_trips_that_are_not_free_of_doubt_say_so(
    args: tuple[float, Stall | None, float | None, list[tuple[float, str]]],
    trip_a: float,
    words: str,
) -> None:
    found = trip(*args)
    assert found.trip_a == pytest.approx(trip_a, abs=0.01)
    assert words in found.warning
    assert bool(found.warning) == bool(words)
