"""A rod without a pot: what current and time decide, to the tick, and what it never claims.

Readings are made by hand. The rod runs at 600 mA here: 150 mA, a quarter of it, are hardly any, and
5/4 of it, 750 mA, are risen; so are 1600 mA, twice its `running_ma` of 800, from the start.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rodbench_protocol.names import AxisFlags, AxisState, Bridge, Ended, EventKind, Fault, Status

from tests.core.axis_probe import Probe

TWO_WIRES = {
    "feedback": 2, "calibrated": 0, "stroke_time_extend_cs": 500, "stroke_time_retract_cs": 400,
    "noise_x16": 3200,
}  # fmt: skip
EXTEND_TICKS = 1000  # 5 s
KNOWN = AxisFlags.NEAR_RETRACTED | AxisFlags.NEAR_EXTENDED | AxisFlags.BETWEEN
RUNS, LOST, RISEN = 600, 0, 1200


def rod(**changes: int) -> Probe:
    axis = Probe(**(TWO_WIRES | changes))
    axis.tick(0, count=20)
    return axis


def place(axis: Probe) -> int:
    return axis.now.flags & KNOWN


def ended(axis: Probe, ma: int, most: int = 400) -> tuple[int, int]:
    """How the motion ends under this current, and after how many ticks of it the output is 0."""
    for tick in range(most):
        axis.tick(7777, ma)
        if axis.now.output == 0:
            axis.tick(7777, count=60)
            return axis.now.ended, tick
    raise AssertionError(f"goes on: state {axis.now.state}")


def to_end(axis: Probe, direction: int) -> None:
    """Seen at an end, by a jog that lost its current."""
    axis.jog(direction * 350, unit=0)
    axis.tick(0, RUNS, count=100)
    assert ended(axis, LOST)[0] == Ended.END_FOUND


# ---------------------------------------------------------------- what is asked


def test_position_is_never_told_and_the_pot_never_guards() -> None:
    with rod() as axis:
        axis.jog(350, unit=0)
        for raw in (0, 8184, 4000, 0):
            axis.tick(raw, RUNS, count=300)
            assert (axis.now.position_um, axis.now.speed_um_s, axis.now.faults) == (0, 0, 0)
        assert axis.now.state == AxisState.JOG


@pytest.mark.parametrize("sensor", [0, 1, 2])
def test_what_a_rod_without_a_pot_refuses(sensor: int) -> None:
    with rod(current_sensor=sensor, current_zero=2046 if sensor == 2 else 0) as axis:
        by_current = Status.OK if sensor else Status.NOT_SUPPORTED
        assert axis.jog(1000) == axis.move(50_000) == Status.UNCALIBRATED
        assert axis.run(999) == (Status.BAD_VALUE if sensor else Status.NOT_SUPPORTED)
        assert axis.run(1001) == (Status.BAD_VALUE if sensor else Status.NOT_SUPPORTED)
        assert axis.run(0) == by_current
        assert axis.run(1000) == by_current
        axis.stop(0)
        axis.tick(0, count=80)
        assert axis.seek(1) == by_current
        axis.stop(0)
        axis.tick(0, count=80)
        assert axis.jog(100, unit=0) == Status.OK


@pytest.mark.parametrize("key", ["stroke_time_extend_cs", "stroke_time_retract_cs"])
def test_a_run_needs_both_times(key: str) -> None:
    with rod(**{key: 0}) as axis:
        assert axis.run(1000) == axis.run(-1000) == Status.UNCALIBRATED


def test_a_run_goes_to_the_ceiling_by_a_ramp_and_takes_no_other_value() -> None:
    with rod(output_max_permille=900) as axis:
        assert axis.run(899) == Status.BAD_VALUE
        assert axis.run(1000) == Status.OK
        before = 0
        for _ in range(60):
            axis.tick(0, RUNS)
            assert axis.now.output - before in range(31)
            before = axis.now.output
        assert before == 900
        assert axis.run(-1000) == Status.IN_MOTION
        assert axis.run(0) == Status.OK
        assert ended(axis, RUNS)[0] == Ended.STOPPED


# ---------------------------------------------------------------- jog


def test_a_jog_that_loses_its_current_has_found_the_end_of_its_way() -> None:
    for direction, flag in ((1, AxisFlags.NEAR_EXTENDED), (-1, AxisFlags.NEAR_RETRACTED)):
        with rod() as axis:
            assert place(axis) == 0, "unknown after a start"
            axis.jog(direction * 350, unit=0)
            axis.tick(0, RUNS, count=100)
            assert place(axis) == 0, "where it goes to is no place"
            how, ticks = ended(axis, LOST)
            assert how == Ended.END_FOUND
            # the stall time; before it two blocks, and 22 ticks until the mean is that low
            assert 80 <= ticks <= 80 + 32 + 22
            assert place(axis) == flag
            axis.jog(-direction * 350, unit=0)
            axis.tick(0, RUNS, count=2)
            assert place(axis) == AxisFlags.BETWEEN
            axis.change(**axis.set)
            axis.tick(0)
            assert place(axis) == 0, "unknown after a commit"


def test_a_jog_that_never_draws_current_is_unfinished_and_claims_nothing() -> None:
    with rod() as axis:
        axis.jog(350, unit=0)
        assert ended(axis, LOST)[0] == Ended.UNFINISHED
        assert place(axis) == 0
        assert not axis.now.faults
        to_end(axis, 1)
        axis.jog(-350, unit=0)
        assert ended(axis, LOST)[0] == Ended.UNFINISHED
        assert place(axis) == 0, "a lead is off: where it was is not known any more"


def test_a_jog_with_risen_current_stalls() -> None:
    with rod() as axis:
        axis.jog(350, unit=0)
        axis.tick(0, RUNS, count=100)
        axis.tick(0, RISEN, count=70)
        assert not axis.now.faults
        axis.tick(0, RISEN, count=60)
        assert axis.now.faults == 1 << (Fault.STALL - 1)
        assert (axis.now.bridge, place(axis)) == (Bridge.BRAKE, 0)


def test_without_a_sensor_a_jog_only_lasts_as_long_as_the_host() -> None:
    with rod(current_sensor=0) as axis:
        axis.jog(350, unit=0)
        axis.tick(0, 3000, count=3000)
        assert axis.now.state == AxisState.JOG
        axis.alive = False
        axis.tick(0, count=50 + 12 + 60)
        assert (axis.now.output, axis.now.ended) == (0, Ended.SILENCE)


def test_over_current_trips_as_ever() -> None:
    for start in (lambda a: a.jog(350, unit=0), lambda a: a.seek(1), lambda a: a.run(-1000)):
        with rod() as axis:
            assert start(axis) == Status.OK
            axis.tick(0, RUNS, count=100)
            axis.tick(0, 2010, count=9)
            assert not axis.now.faults
            axis.tick(0, 2010)
            assert axis.now.faults == 1 << (Fault.OVER_CURRENT - 1)
            assert axis.now.bridge == Bridge.OFF


def test_a_load_that_grows_on_the_way_is_no_end() -> None:
    """From 600 mA by a fifth of it a second, to 1500: twice `running_ma` would be too much."""
    with rod() as axis:
        axis.jog(350, unit=0)
        axis.tick(0, RUNS, count=100)
        for tick in range(1500):
            axis.tick(0, RUNS + tick * 900 // 1500)
        assert (axis.now.state, axis.now.faults) == (AxisState.JOG, 0)
        axis.tick(0, 1650, count=200)
        assert axis.now.faults == 1 << (Fault.STALL - 1)


# ---------------------------------------------------------------- seek


@pytest.mark.parametrize(("there", "probed"), [(LOST, LOST), (1000, 1200)])
def test_a_seek_finds_an_end_by_current_and_keeps_the_evidence(there: int, probed: int) -> None:
    with rod() as axis:
        axis.seek(-1)
        axis.tick(0, RUNS, count=300)
        assert (axis.now.state, axis.now.output) == (AxisState.SEEK, -350)
        while axis.now.state == AxisState.SEEK:
            axis.tick(0, there)
        while axis.now.state == AxisState.PROBE:
            axis.tick(0, probed)
        found = [e for e in axis.events() if e[0] == EventKind.END_FOUND]
        assert len(found) == 1
        axis.tick(0, count=60)
        assert axis.now.ended == Ended.END_FOUND
        assert place(axis) == AxisFlags.NEAR_RETRACTED
        assert axis.now.current_before_ma == pytest.approx(RUNS, abs=3)
        assert axis.now.current_stop_ma == pytest.approx(there, abs=60)
        assert axis.now.current_probe_ma == pytest.approx(probed, abs=5)


def test_a_seek_goes_on_for_as_long_as_the_motor_runs() -> None:
    with rod() as axis:
        axis.seek(1)
        axis.tick(0, RUNS, count=5000)
        assert (axis.now.state, place(axis)) == (AxisState.SEEK, 0)


def test_a_seek_that_never_drew_current_claims_no_place() -> None:
    with rod() as axis:
        axis.seek(1)
        assert ended(axis, LOST, 1000)[0] == Ended.END_FOUND
        assert (axis.now.current_before_ma, place(axis)) == (0, 0)


# ---------------------------------------------------------------- run


def test_a_whole_run_ends_at_the_end_and_knows_it() -> None:
    for last, here in ((LOST, 0), (RISEN, 0)):
        with rod() as axis:
            to_end(axis, -1)
            axis.run(1000)
            axis.tick(0, RUNS, count=900)
            assert place(axis) == AxisFlags.BETWEEN
            assert ended(axis, last)[0] == Ended.END_FOUND
            assert place(axis) == AxisFlags.NEAR_EXTENDED
            assert axis.now.faults == here


@pytest.mark.parametrize(("change", "fault"), [(LOST, Fault.NO_CURRENT), (RISEN, Fault.STALL)])
def test_a_whole_run_that_ends_early_has_not_come_to_its_end(change: int, fault: Fault) -> None:
    """Four fifths of the time are 800 ticks: before them it is a lead, or something in the way."""
    with rod() as axis:
        to_end(axis, -1)
        axis.run(1000)
        axis.tick(0, RUNS, count=740)
        assert ended(axis, change)[0] == Ended.FAULT
        assert axis.now.faults == 1 << (fault - 1)
        assert place(axis) == AxisFlags.BETWEEN


def test_a_whole_run_without_current_from_the_start_is_a_lead() -> None:
    with rod() as axis:
        to_end(axis, -1)
        axis.run(1000)
        assert ended(axis, LOST)[0] == Ended.FAULT
        assert axis.now.faults == 1 << (Fault.NO_CURRENT - 1)


@pytest.mark.parametrize(
    ("change", "how", "where"),
    [(LOST, Ended.END_FOUND, AxisFlags.NEAR_EXTENDED), (RISEN, Ended.UNFINISHED, 0)],
)
def test_from_an_unknown_place_risen_current_is_no_evidence(
    change: int, how: Ended, where: int
) -> None:
    with rod() as axis:
        axis.run(1000)
        axis.tick(0, RUNS, count=300)
        assert ended(axis, change)[0] == how
        assert (place(axis), axis.now.faults) == (where, 0)


@pytest.mark.parametrize("ma", [LOST, 1650])
def test_a_run_towards_the_end_where_the_rod_stands_finds_it(ma: int) -> None:
    with rod() as axis:
        to_end(axis, 1)
        axis.run(1000)
        assert ended(axis, ma)[0] == Ended.END_FOUND
        assert place(axis) == AxisFlags.NEAR_EXTENDED


@pytest.mark.parametrize(("direction", "ticks"), [(1, 1200), (-1, 960)])
def test_no_end_after_six_fifths_of_the_time_is_a_fault(direction: int, ticks: int) -> None:
    start: Callable[[Probe], None] = lambda axis: to_end(axis, -direction)  # noqa: E731
    for before in (start, lambda _: None):
        with rod() as axis:
            before(axis)
            axis.run(direction * 1000)
            axis.tick(0, RUNS, count=ticks)  # the first one reads before the output begins
            assert not axis.now.faults
            axis.tick(0, RUNS)
            assert axis.now.faults == 1 << (Fault.NO_END - 1)
            assert (axis.now.ended, axis.now.output) == (Ended.FAULT, 0)
            assert axis.now.on_ticks == ticks
            assert place(axis) in (0, AxisFlags.BETWEEN)


def test_silence_ends_a_run_by_a_ramp() -> None:
    with rod() as axis:
        axis.run(1000)
        axis.tick(0, RUNS, count=100)
        axis.alive = False
        axis.tick(0, RUNS, count=49)
        assert axis.now.output == 1000
        axis.tick(0, RUNS, count=3)
        assert 800 < axis.now.output < 1000
        axis.tick(0, RUNS, count=34)
        assert axis.now.output == 0
        axis.tick(0, count=60)
        assert axis.now.ended == Ended.SILENCE
