"""What an axis does with commands: ramps, stops, soft stops, the first motion, seeking an end.

The rod here follows its output without inertia (Probe.follow), unless a test moves it by hand.
"""

from __future__ import annotations

import itertools

import pytest
from rodbench_protocol.names import AxisFlags, AxisState, Bridge, Ended, EventKind, Fault, Status

from tests.core.axis_probe import ROD, UM_PER_RAW, Probe

MIDDLE = 100_000


def proven(um: float = MIDDLE, **changes: int) -> tuple[Probe, float]:
    """A rod that has shown its direction, at rest at about `um`."""
    axis = Probe(**changes)
    axis.at(um - 4000, count=20)
    assert axis.move(int(um)) == Status.OK
    um = axis.follow(um - 4000, 1200)
    assert axis.now.ended == Ended.REACHED
    assert axis.now.flags & AxisFlags.PROVEN
    return axis, um


def outputs(axis: Probe, since: int = 0) -> list[int]:
    return [view.output for view in axis.past[since:]]


# ---------------------------------------------------------------- output


@pytest.mark.parametrize("stop_by", [0, 1])
def test_the_bridge_is_off_until_something_is_commanded_then_rests_as_set(stop_by: int) -> None:
    with Probe(stop_by=stop_by) as axis:
        axis.at(MIDDLE, count=100)
        assert {view.bridge for view in axis.past} == {Bridge.OFF}
        axis.jog(2000)
        um = axis.follow(MIDDLE, 60)
        axis.stop(0)
        axis.follow(um, 100)
        assert axis.now.bridge == (Bridge.OFF if stop_by else Bridge.BRAKE)
        assert bool(axis.now.flags & AxisFlags.BRAKING) == (stop_by == 0)


def test_between_opposite_drives_lies_a_tick_at_0() -> None:
    axis, um = proven()
    with axis:
        start = len(axis.past)
        for value in (800, -800, 800, -800):
            axis.run(value)
            um = axis.follow(um, 90)
        drives = [view.drive for view in axis.past[start:]]
        assert max(drives) > 500
        assert min(drives) < -500
        assert all(a * b >= 0 for a, b in itertools.pairwise(drives))


@pytest.mark.parametrize("reversed_", [0, 1])
def test_motor_reversed_turns_the_lines_and_nothing_else(reversed_: int) -> None:
    axis, um = proven(motor_reversed=reversed_)
    with axis:
        axis.jog(4000)
        um = axis.follow(um, 60)
        assert axis.now.output > 0
        assert axis.now.drive == (-axis.now.output if reversed_ else axis.now.output)


def test_the_output_ceiling_holds_for_run_and_move() -> None:
    axis, um = proven(output_max_permille=600)
    with axis:
        start = len(axis.past)
        axis.run(1000)
        um = axis.follow(um, 100)
        axis.stop(0)
        um = axis.follow(um, 100)
        axis.move(20_000)
        axis.follow(um, 200, speed=0.1)
        assert max(map(abs, outputs(axis, start))) == 600


def test_a_low_supply_gets_more_output() -> None:
    """Two thirds of the supply at which speeds were measured: one and a half times the output."""
    first = []
    for measured_at in (12_000, 18_000):
        axis, um = proven(speed_supply_mv=measured_at)
        with axis:
            axis.jog(3000)
            axis.follow(um, 3)
            first.append(axis.now.output)
    assert first[1] == pytest.approx(first[0] * 1.5, abs=10)


# ---------------------------------------------------------------- stops


@pytest.mark.parametrize("speed", [2000, 8000])
def test_category_1_is_a_ramp_that_ends_in_time(speed: int) -> None:
    axis, um = proven()
    with axis:
        axis.jog(speed)
        um = axis.follow(um, 150)
        axis.stop(1)
        ticks = 0
        while axis.now.output:
            um = axis.follow(um, 1)
            ticks += 1
        ramp = speed * 200 // ROD["deceleration_um_s2"]
        assert ramp / 2 <= ticks <= ramp + 1
        axis.follow(um, 100)
        assert (axis.now.state, axis.now.ended) == (AxisState.IDLE, Ended.STOPPED)


@pytest.mark.parametrize("turn", [False, True])
def test_a_ramp_down_pushes_no_harder_on_a_rod_that_something_holds(turn: bool) -> None:
    """The reference runs ahead of it, which would ask for far more than what drove it before."""
    axis, um = proven(deceleration_um_s2=8000)
    with axis:
        axis.jog(6000)
        um = axis.follow(um, 150)
        before, start = axis.now.output, len(axis.past)
        if turn:
            axis.jog(-6000)
        else:
            axis.stop(1)
        axis.at(um, 600, count=50)
        ramp = outputs(axis, start)
        assert ramp[-1] > 0, "the ramp has not ended"
        assert max(ramp) <= before


@pytest.mark.parametrize("category", [0, 2, 255])
def test_any_other_category_cuts_in_the_same_tick(category: int) -> None:
    axis, um = proven()
    with axis:
        axis.jog(8000)
        um = axis.follow(um, 150)
        axis.stop(category)
        axis.follow(um, 1)
        assert (axis.now.output, axis.now.bridge) == (0, Bridge.BRAKE)


def test_category_0_cuts_a_ramp_short() -> None:
    axis, um = proven()
    with axis:
        axis.jog(8000)
        um = axis.follow(um, 150)
        axis.stop(1)
        um = axis.follow(um, 3)
        assert axis.now.output
        axis.stop(0)
        axis.follow(um, 1)
        assert axis.now.output == 0


def test_a_new_motion_waits_for_the_ramp_but_not_for_rest() -> None:
    axis, um = proven()
    with axis:
        axis.jog(4000)
        um = axis.follow(um, 100)
        old = axis.now.motion
        axis.stop(1)
        um = axis.follow(um, 2)
        assert axis.jog(4000) == axis.move(MIDDLE) == Status.STOP_STANDING
        while axis.now.output:
            um = axis.follow(um, 1)
        assert axis.now.state == AxisState.STOPPING
        assert axis.jog(-4000) == Status.OK
        um = axis.follow(um, 1)
        assert (EventKind.MOTION_ENDED, Ended.STOPPED, old, 0) in axis.now.told
        axis.follow(um, 50)
        assert axis.now.output < 0


def test_a_stop_at_rest_does_nothing() -> None:
    axis, um = proven()
    with axis:
        for category in (0, 1):
            axis.stop(category)
            axis.follow(um, 10)
            assert (axis.now.state, axis.now.ended) == (AxisState.IDLE, Ended.REACHED)


# ---------------------------------------------------------------- soft stops


@pytest.mark.parametrize(("sign", "stop"), [(1, 190_000), (-1, 10_000)])
def test_jog_and_run_end_before_the_soft_stop(sign: int, stop: int) -> None:
    axis, um = proven(um=stop - sign * 20_000)
    with axis:
        for jogs in (False, True):
            since = len(axis.past)
            asked = axis.jog(sign * 8000) if jogs else axis.run(sign * 1000)
            assert asked == Status.OK
            um = axis.follow(um, 1500)
            assert axis.now.ended == Ended.SOFT_STOP
            assert EventKind.SOFT_STOP in [event[0] for event in axis.events(since)]
            assert max(sign * view.position_um for view in axis.past[since:]) < sign * stop
        assert abs(um - stop) < 2000, "a jog creeps to within 1 % of stroke"


@pytest.mark.parametrize(("sign", "stop"), [(1, 190_000), (-1, 10_000)])
def test_a_jog_begun_just_before_the_soft_stop_is_held_by_the_speed_that_is_meant(
    sign: int, stop: int
) -> None:
    """A rod that starts hard is past before its speed is seen: here nothing is seen at all."""
    hard = {"acceleration_um_s2": 300_000, "deceleration_um_s2": 600_000}
    axis, _ = proven(um=stop - sign * 20_000, **hard)
    with axis:
        axis.at(stop - sign * 250, count=40)
        assert axis.clear() == 1 << (Fault.POT_JUMP - 1), "it was put there"
        since = len(axis.past)
        assert axis.jog(sign * 8000) == Status.OK
        axis.at(stop - sign * 250, count=10)
        given = outputs(axis, since)
        assert given[0] != 0
        assert 0 in given[:4]
        assert axis.now.flags & AxisFlags.HELD_BACK


@pytest.mark.parametrize(
    ("target", "status"),
    [(9_999, Status.OUTSIDE), (10_000, Status.OK), (190_000, Status.OK), (190_001, Status.OUTSIDE)],
)
def test_a_move_goes_nowhere_outside(target: int, status: Status) -> None:
    axis, um = proven(um=50_000)
    with axis:
        assert axis.move(target) == status
        axis.follow(um, 20)
        assert (axis.now.output != 0) == (status == Status.OK)


@pytest.mark.parametrize(("um", "out"), [(195_000, 1), (5_000, -1)])
def test_an_axis_found_outside_may_only_come_back_at_creep(um: float, out: int) -> None:
    with Probe() as axis:
        axis.at(um, count=20)
        assert axis.now.flags & AxisFlags.OUTSIDE
        assert axis.jog(out * 1000) == axis.run(out * 500) == Status.OUTSIDE
        assert axis.jog(-out * 8000) == Status.OK
        while axis.now.flags & AxisFlags.OUTSIDE:
            assert abs(axis.now.output) <= ROD["creep_output_permille"]
            um = axis.follow(um, 1)
        axis.follow(um, 200)
        assert abs(axis.now.output) > ROD["creep_output_permille"]


# ---------------------------------------------------------------- moves


@pytest.mark.parametrize("target", [30_000, 99_000, 101_000, 180_000])
def test_a_move_rests_at_its_target(target: int) -> None:
    axis, um = proven()
    with axis:
        motion = axis.now.motion
        axis.move(target)
        um = axis.follow(um, 4000)
        assert (axis.now.state, axis.now.ended) == (AxisState.IDLE, Ended.REACHED)
        assert axis.now.motion == motion + 1
        assert um == pytest.approx(target, abs=700)
        assert axis.now.rest_position_um == pytest.approx(um, abs=2 * UM_PER_RAW)
        driven = sum(view.output != 0 for view in axis.past if view.motion == motion + 1)
        assert axis.now.on_ticks == driven


def test_another_move_under_way_takes_the_place_of_the_first() -> None:
    axis, um = proven()
    with axis:
        axis.move(180_000)
        um = axis.follow(um, 200)
        first = axis.now.motion
        assert axis.move(30_000) == Status.OK
        um = axis.follow(um, 1)
        assert axis.now.told[0][:3] == (EventKind.MOTION_ENDED, Ended.REPLACED, first)
        um = axis.follow(um, 4000)
        assert um == pytest.approx(30_000, abs=700)


def test_a_jog_takes_another_speed_and_another_direction() -> None:
    axis, um = proven()
    with axis:
        axis.jog(6000)
        um = axis.follow(um, 150)
        assert axis.now.speed_um_s == pytest.approx(6000, rel=0.1)
        motion = axis.now.motion
        axis.jog(2000)
        um = axis.follow(um, 150)
        assert axis.now.speed_um_s == pytest.approx(2000, rel=0.2)
        axis.jog(-6000)
        axis.follow(um, 250)
        assert axis.now.speed_um_s == pytest.approx(-6000, rel=0.1)
        assert axis.now.motion == motion


def test_one_kind_of_motion_does_not_replace_another() -> None:
    axis, um = proven()
    with axis:
        axis.move(180_000)
        axis.follow(um, 20)
        assert axis.jog(1000) == axis.run(500) == Status.IN_MOTION
        assert axis.now.state == AxisState.MOVE


# ---------------------------------------------------------------- the first motion


def test_the_first_motion_stays_at_creep_until_1_mm_was_seen() -> None:
    with Probe() as axis:
        axis.at(MIDDLE, count=20)
        axis.move(180_000)
        um = float(MIDDLE)
        while not axis.now.flags & AxisFlags.PROVEN:
            assert abs(axis.now.output) <= ROD["creep_output_permille"]
            um = axis.follow(um, 1)
        assert um - MIDDLE == pytest.approx(1000, abs=100)
        axis.follow(um, 100)
        assert axis.now.output > ROD["creep_output_permille"]


def test_new_settings_have_to_be_proven_again() -> None:
    axis, um = proven()
    with axis:
        axis.change(motor_reversed=0)
        axis.at(um)
        assert not axis.now.flags & AxisFlags.PROVEN


# ---------------------------------------------------------------- uncalibrated


def test_an_uncalibrated_axis_only_jogs_at_creep_and_seeks() -> None:
    with Probe(calibrated=0) as axis:
        axis.at(MIDDLE, count=20)
        assert axis.move(MIDDLE) == axis.run(500) == axis.jog(1000) == Status.UNCALIBRATED
        assert axis.jog(1000, unit=0) == Status.OK
        um = axis.follow(MIDDLE, 100)
        assert axis.now.output == ROD["creep_output_permille"]
        axis.jog(-120, unit=0)
        um = axis.follow(um, 50)
        assert axis.now.output == -120
        axis.stop(1)
        axis.follow(um, 5)
        assert axis.now.output == 0


def test_a_calibrated_axis_takes_no_bare_output_and_no_seek() -> None:
    with Probe() as axis:
        axis.at(MIDDLE, count=20)
        assert axis.jog(300, unit=0) == axis.seek(1) == Status.CALIBRATED


@pytest.mark.parametrize(
    "ask",
    [
        lambda a: a.jog(8001),
        lambda a: a.jog(-8001),
        lambda a: a.jog(100, unit=2),
        lambda a: a.run(1001),
        lambda a: a.run(-1001),
        lambda a: a.move(MIDDLE, -1),
        lambda a: a.move(MIDDLE, 8001),
    ],
)
def test_a_value_out_of_range_is_refused_not_clipped(ask: object) -> None:
    with Probe() as axis:
        axis.at(MIDDLE, count=20)
        assert ask(axis) == Status.BAD_VALUE  # type: ignore[operator]
        axis.at(MIDDLE, count=20)
        assert axis.now.motion == axis.now.output == 0


def test_an_axis_without_a_rod_does_nothing() -> None:
    with Probe(feedback=0, calibrated=0) as axis:
        assert axis.jog(300, unit=0) == axis.seek(1) == axis.move(1) == Status.NOT_FITTED
        axis.tick(0, ma=4000, count=100)
        assert {(v.state, v.bridge, v.faults, v.events) for v in axis.past} == {
            (0, Bridge.OFF, 0, 0)
        }


# ---------------------------------------------------------------- seek

AT_SWITCH = (0, 0)
AT_STOP = (1400, 1650)


@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize(("stop_ma", "probe_ma"), [AT_SWITCH, AT_STOP])
def test_seek_finds_an_end_and_keeps_the_evidence(
    direction: int, stop_ma: int, probe_ma: int
) -> None:
    with Probe(calibrated=0, trip_ma=4000) as axis:
        um = axis.follow(MIDDLE, 20)
        assert axis.seek(direction) == Status.OK
        um = axis.follow(um, 400, ma=700)
        assert axis.now.output == direction * ROD["creep_output_permille"]
        arrived = len(axis.past)
        while axis.now.state == AxisState.SEEK:
            axis.at(um, ma=stop_ma)
        dwelt = len(axis.past) - arrived
        assert 30 <= dwelt <= 80, "at least 150 ms without motion"
        assert axis.now.state == AxisState.PROBE
        probed = len(axis.past)
        while axis.now.state == AxisState.PROBE:
            axis.at(um, ma=probe_ma)
        assert len(axis.past) - probed == 20, "100 ms"
        top = max(map(abs, outputs(axis, probed)))
        assert top == ROD["creep_output_permille"] * 6 // 5
        found = (EventKind.END_FOUND, 0)
        assert [e[:2] for e in axis.events(probed)] == [found]
        axis.at(um, count=60)
        assert (axis.now.state, axis.now.ended) == (AxisState.IDLE, Ended.END_FOUND)
        assert axis.now.current_before_ma == pytest.approx(700, abs=5)
        assert axis.now.current_stop_ma == pytest.approx(stop_ma, abs=5)
        assert axis.now.current_probe_ma == pytest.approx(probe_ma, abs=5)
        assert axis.now.rest_raw == axis.past[-1].rest_raw == round(100 + um / UM_PER_RAW)
        assert not axis.now.faults


def test_seek_at_an_end_from_the_start_says_that_it_never_ran() -> None:
    with Probe(calibrated=0) as axis:
        axis.at(0, count=20)
        axis.seek(-1)
        axis.at(0, count=400)
        assert axis.now.ended == Ended.END_FOUND
        assert axis.now.current_before_ma == 0


def test_seek_goes_on_past_a_tight_place_that_the_probe_frees() -> None:
    with Probe(calibrated=0) as axis:
        um = axis.follow(MIDDLE, 20)
        axis.seek(1)
        um = axis.follow(um, 300)
        while axis.now.state != AxisState.PROBE:
            axis.at(um, ma=900)
        um = axis.follow(um, 300)
        assert axis.now.state == AxisState.SEEK
        assert axis.now.ended == Ended.RUNNING


def test_seek_ends_as_a_trip_on_over_current() -> None:
    with Probe(calibrated=0, trip_ma=1000) as axis:
        um = axis.follow(MIDDLE, 20)
        axis.seek(1)
        um = axis.follow(um, 300)
        axis.at(um, ma=1400, count=60)
        assert axis.now.faults == 1
        assert axis.now.ended == Ended.FAULT


def test_without_a_sensor_the_dwell_is_at_most_300_ms() -> None:
    with Probe(calibrated=0, current_sensor=0, noise_x16=160) as axis:
        um = axis.follow(MIDDLE, 20)
        axis.seek(1)
        um = axis.follow(um, 300)
        arrived = len(axis.past)
        while axis.now.state == AxisState.SEEK:
            axis.at(um)
        assert len(axis.past) - arrived <= 60 + 16
