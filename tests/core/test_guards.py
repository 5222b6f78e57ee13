"""Each guard: the last tick before it trips, the first after, and what must not happen.

Readings are made by hand: every expected tick is counted from the settings, not from the core.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rodbench_protocol.names import AxisState, Bridge, Ended, EventKind, Fault, Status

from tests.core.axis_probe import ROD, UM_PER_RAW, Probe, raw_at

MIDDLE = 100_000


def proven(**changes: int) -> Probe:
    """A rod that has shown its direction, resting in the middle."""
    axis = Probe(**changes)
    axis.at(MIDDLE - 5000, count=20)
    assert axis.jog(2000) == Status.OK
    um = axis.follow(MIDDLE - 5000, 250)
    axis.stop(0)
    um = axis.follow(um, 80)
    assert axis.now.state == AxisState.IDLE
    assert axis.now.flags & 2
    axis.um = um  # type: ignore[attr-defined]
    return axis


def trips(axis: Probe, fault: Fault) -> bool:
    return bool(axis.now.faults >> (fault - 1) & 1)


def latched(axis: Probe, fault: Fault, bridge: Bridge = Bridge.BRAKE) -> None:
    """The fault is told once, ends the motion, stops the output, and stands until cleared."""
    assert axis.now.faults == 1 << (fault - 1)
    assert axis.now.state == AxisState.FAULT
    assert axis.now.output == axis.now.drive == 0
    assert axis.now.bridge == bridge
    assert (axis.now.ended, axis.now.cause) == (Ended.FAULT, fault)
    assert [e[:2] for e in axis.now.told] == [
        (EventKind.TRIP, fault),
        (EventKind.MOTION_ENDED, Ended.FAULT),
    ]
    here = axis.now.position_um
    axis.at(here, count=200)
    assert trips(axis, fault)
    assert axis.now.output == 0
    assert axis.move(MIDDLE) == axis.jog(1000) == axis.run(500) == Status.FAULTED
    assert axis.clear() == 1 << (fault - 1)
    axis.at(here, count=20)
    assert (axis.now.faults, axis.now.state) == (0, AxisState.IDLE)
    assert axis.move(here) == Status.OK


# ---------------------------------------------------------------- over-current


def test_over_current_trips_in_the_tick_that_fills_its_time() -> None:
    with proven() as axis:
        axis.jog(4000)
        um = axis.follow(axis.um, 40)  # type: ignore[attr-defined]
        for _ in range(9):  # 50 ms are 10 ticks
            axis.at(um, ma=2010)
            assert not axis.now.faults
            assert axis.now.bridge == Bridge.DRIVE
        axis.at(um, ma=2010)
        latched(axis, Fault.OVER_CURRENT, Bridge.OFF)


def test_over_current_needs_the_whole_time_without_a_gap() -> None:
    with proven() as axis:
        axis.jog(4000)
        um = axis.follow(axis.um, 40)  # type: ignore[attr-defined]
        for _ in range(5):
            um = axis.follow(um, 9, ma=2010)
            um = axis.follow(um, 1)
        assert not axis.now.faults


def test_over_current_is_above_the_trip_not_at_it() -> None:
    with proven() as axis:
        axis.jog(4000)
        axis.follow(axis.um, 100, ma=2000)  # type: ignore[attr-defined]
        assert not axis.now.faults


def test_over_current_while_uncalibrated_counts_from_the_measured_zero() -> None:
    with Probe(calibrated=0, current_zero=400) as axis:
        axis.at(MIDDLE, count=20)
        axis.jog(300, unit=0)
        axis.tick(raw_at(MIDDLE), ma=1990, zero=400, count=60)
        assert not axis.now.faults
        axis.tick(raw_at(MIDDLE), ma=2010, zero=400, count=10)
        assert axis.now.faults == 1 << (Fault.OVER_CURRENT - 1)


def test_no_over_current_at_output_0_or_without_a_sensor() -> None:
    with proven() as axis:
        axis.at(axis.um, ma=4000, count=100)  # type: ignore[attr-defined]
        assert not axis.now.faults
    with proven(current_sensor=0) as axis:
        axis.jog(4000)
        axis.follow(axis.um, 100, ma=4000)  # type: ignore[attr-defined]
        assert not axis.now.faults


# ---------------------------------------------------------------- output without motion


@pytest.mark.parametrize(
    ("ma", "changes", "fault"),
    [
        (1000, {}, Fault.STALL),  # 1.2 times the running 800 mA is 960
        (940, {}, Fault.POT_NOT_FOLLOWING),
        (220, {}, Fault.POT_NOT_FOLLOWING),
        (180, {}, Fault.NO_CURRENT),  # a quarter of running is 200
        (1010, {"running_ma": 0}, Fault.STALL),  # half of the trip
        (900, {"running_ma": 0}, Fault.POT_NOT_FOLLOWING),
        (0, {"current_sensor": 0}, Fault.STALL),
    ],
)
def test_no_motion_trips_after_the_stall_time(
    ma: int, changes: dict[str, int], fault: Fault
) -> None:
    with proven(**changes) as axis:
        axis.jog(4000)
        driven = 0
        for _ in range(200):
            before = axis.now.output
            axis.at(axis.um, ma=ma)  # type: ignore[attr-defined]
            # well above the dead zone: 200 + 50 + 30, or seven eighths of creep
            driven += before >= min(280, 350 // 8 * 7)
            if axis.now.faults:
                break
        assert driven == 80, "400 ms of output above the dead zone"
        latched(axis, fault)


def test_motion_just_above_the_noise_does_not_trip() -> None:
    """A rod at a tenth of its speed still shows 2 raw in a block now and then."""
    with proven() as axis:
        axis.jog(4000)
        axis.follow(axis.um, 1500, speed=0.1)  # type: ignore[attr-defined]
        assert not axis.now.faults
        assert axis.now.state == AxisState.JOG


def test_a_slow_or_noisy_rod_gets_the_time_that_it_needs() -> None:
    """Creep of 0.2 mm/s is 0.04 raw a tick: 6 sigma of a block take longer than the stall time."""
    slow = {"creep_speed_um_s": 200, "noise_x16": 64}
    with Probe(**slow) as axis:
        axis.at(MIDDLE, count=20)
        axis.jog(200)
        start = len(axis.past)
        axis.at(MIDDLE, ma=940, count=2000)
        at = next(n for n, view in enumerate(axis.past[start:]) if view.faults)
    block_sigma = 64 / 16 / 4
    least = 6 * block_sigma / (200 / 200 / UM_PER_RAW)
    assert at > least
    assert at < 6 * least, "but trip it must"


@pytest.mark.parametrize(("short_um", "trips_"), [(1500, False), (2500, True)])
def test_a_rod_that_is_barred_within_its_tolerance_has_arrived(short_um: int, trips_: bool) -> None:
    """1 % of stroke is 2 mm: a load that bars the last bit ends the move; further off it trips."""
    with proven() as axis:
        target = 150_000
        axis.move(target)
        um = float(axis.um)  # type: ignore[attr-defined]
        while um < target - short_um:
            um = axis.follow(um, 1)
        axis.at(target - short_um, ma=1000, count=1000)
        assert trips(axis, Fault.STALL) == trips_
        assert axis.now.output == 0
        assert axis.now.ended == (Ended.FAULT if trips_ else Ended.REACHED)


def test_no_motion_at_output_0_is_no_fault() -> None:
    with proven() as axis:
        axis.at(axis.um, count=1000)  # type: ignore[attr-defined]
        assert not axis.now.faults


@pytest.mark.parametrize(
    ("moves_first", "ended"), [(True, Ended.END_FOUND), (False, Ended.UNFINISHED)]
)
def test_an_end_switch_ends_an_uncalibrated_jog_without_a_fault(
    moves_first: bool, ended: Ended
) -> None:
    with Probe(calibrated=0) as axis:
        axis.at(MIDDLE, count=20)
        axis.jog(350, unit=0)
        um = axis.follow(MIDDLE, 100) if moves_first else MIDDLE
        axis.at(um, ma=0, count=400)
        assert not axis.now.faults
        assert (axis.now.state, axis.now.ended) == (AxisState.IDLE, ended)


def test_a_stalled_uncalibrated_jog_trips() -> None:
    with Probe(calibrated=0) as axis:
        axis.at(MIDDLE, count=20)
        axis.jog(350, unit=0)
        axis.at(MIDDLE, ma=1500, count=400)
        assert axis.now.faults == 1 << (Fault.STALL - 1)


# ---------------------------------------------------------------- pot


@pytest.mark.parametrize("raw", [0, 59, 8141, 8184])
def test_pot_out_of_band_trips_in_the_fifth_tick(raw: int) -> None:
    with proven() as axis:
        axis.jog(4000)
        axis.follow(axis.um, 40)  # type: ignore[attr-defined]
        axis.tick(raw, ma=600, count=4)
        assert not trips(axis, Fault.POT_BAND)
        axis.tick(raw, ma=600)
        assert trips(axis, Fault.POT_BAND)
        assert axis.now.output == 0


@pytest.mark.parametrize("raw", [60, 8140])
def test_the_edge_of_the_band_is_good(raw: int) -> None:
    with Probe() as axis:
        axis.tick(raw, count=100)
        assert not axis.now.faults


def test_pot_out_of_band_trips_at_rest_and_comes_back_when_cleared_too_soon() -> None:
    with Probe() as axis:
        axis.at(MIDDLE, count=20)
        axis.tick(0, count=5)
        assert axis.now.faults == 1 << (Fault.POT_BAND - 1)
        assert axis.clear()
        axis.tick(0)
        assert trips(axis, Fault.POT_BAND)


def test_an_open_pot_shows_even_where_an_endpoint_is_near_0() -> None:
    with Probe(raw_retracted=40) as axis:
        axis.tick(0, count=4)
        assert not axis.now.faults
        axis.tick(0)
        assert trips(axis, Fault.POT_BAND)


def test_pot_band_needs_ticks_in_a_row() -> None:
    with Probe() as axis:
        for _ in range(10):
            axis.tick(0, count=4)
            axis.at(MIDDLE)
        assert not axis.now.faults


@pytest.mark.parametrize("raw", [0, 19, 8165, 8184])
def test_an_uncalibrated_rod_at_an_end_has_a_second_of_drive_to_leave_it(raw: int) -> None:
    with Probe(calibrated=0, noise_x16=48) as axis:
        axis.tick(raw, count=1000)
        assert not axis.now.faults, "at rest it may read so for ever"
        for _ in range(2):  # a second motion has its own second
            axis.jog(350, unit=0)
            axis.tick(raw, ma=600, count=151)  # 150 ticks with output
            assert not axis.now.faults
            axis.stop(1)
            axis.tick(raw, count=200)
        axis.jog(350, unit=0)
        axis.tick(raw, ma=600, count=200)
        assert not axis.now.faults
        axis.tick(raw, ma=600)
        assert axis.now.faults == 1 << (Fault.POT_BAND - 1)


def test_an_uncalibrated_pot_that_has_left_the_end_trips_as_fast_as_another() -> None:
    with Probe(calibrated=0) as axis:
        axis.tick(0, count=20)
        axis.jog(350, unit=0)
        axis.tick(0, ma=600, count=100)
        axis.tick(20, ma=600, count=2)
        axis.tick(0, ma=600, count=4)
        assert not axis.now.faults
        axis.tick(0, ma=600)
        assert axis.now.faults == 1 << (Fault.POT_BAND - 1)


# ---------------------------------------------------------------- current


def test_a_centred_sensor_shows_the_size_both_ways() -> None:
    """1 V/A around a middle of 2046 counts: 1000 mA are 818.4 counts up or down."""
    with Probe(calibrated=0, current_sensor=2, current_zero=2046) as axis:
        for counts_away in (818, -818):
            axis.at(MIDDLE, count=20)
            axis.tick(raw_at(MIDDLE), zero=2046 + counts_away)
            assert 998 <= axis.now.current_ma <= 1001
    with Probe(calibrated=0, current_zero=2046) as axis:
        axis.tick(raw_at(MIDDLE), zero=2046 - 818)
        assert -1001 <= axis.now.current_ma <= -998, "one-sided: below its zero is below zero"


def test_a_centred_sensor_trips_both_ways() -> None:
    for sign in (1, -1):
        with Probe(calibrated=0, current_sensor=2, current_zero=2046) as axis:
            axis.at(MIDDLE, count=20)
            axis.jog(350, unit=0)
            axis.tick(raw_at(MIDDLE), zero=2046 + sign * 1630, count=20)  # 1.99 A
            assert not axis.now.faults
            axis.tick(raw_at(MIDDLE), zero=2046 + sign * 1650, count=10)  # 2.02 A
            assert axis.now.faults == 1 << (Fault.OVER_CURRENT - 1)


# ---------------------------------------------------------------- wrong way


@pytest.mark.parametrize("sign", [1, -1])
def test_wrong_way_trips_past_1_mm_and_the_run_on(sign: int) -> None:
    with proven() as axis:
        axis.jog(sign * 6000)
        um = float(axis.um)  # type: ignore[attr-defined]
        axis.at(um)  # the drive begins
        furthest = -1e9
        for _ in range(600):
            axis.at(um, ma=600)
            furthest = max(furthest, sign * axis.now.position_um)
            back = furthest - sign * axis.now.position_um
            if axis.now.faults:
                break
            assert back <= 1500, "1 mm and a run-on of 0.5 mm"
            um -= sign * 30
        assert back > 1500
        latched(axis, Fault.WRONG_WAY)


def test_a_little_backwards_is_no_wrong_way() -> None:
    with proven() as axis:
        axis.jog(2000)
        um = float(axis.um)  # type: ignore[attr-defined]
        axis.follow(um - 1200, 3)
        axis.follow(um - 1200, 200)
        assert not axis.now.faults


def test_a_pot_that_turns_round_is_no_wrong_way_while_uncalibrated() -> None:
    with Probe(calibrated=0) as axis:
        axis.at(MIDDLE, count=20)
        axis.jog(350, unit=0)
        axis.follow(MIDDLE, 300, speed=-1)
        assert not axis.now.faults


# ---------------------------------------------------------------- silence

# how it starts, settings, hold in ticks, speed in um/s from which the ramp comes down
HOLDS: list[tuple[Callable[[Probe], int], dict[str, int], int, int]] = [
    (lambda axis: axis.jog(4000), {}, 50, 4000),
    (lambda axis: axis.run(500), {}, 50, 3750),
    (lambda axis: axis.move(180_000), {}, 100, 8000),
    (lambda axis: axis.move(180_000), {"move_hold_ms": 200}, 40, 8000),
]


@pytest.mark.parametrize(("start", "changes", "hold", "um_s"), HOLDS)
def test_silence_ends_a_motion_at_echoed_tick_and_hold(
    start: Callable[[Probe], int], changes: dict[str, int], hold: int, um_s: int
) -> None:
    with proven(**changes) as axis:
        assert start(axis) == Status.OK
        um = axis.follow(axis.um, 60)  # type: ignore[attr-defined]
        echoed = axis.ticks() - 1
        axis.renew(echoed)
        axis.alive = False
        moving = axis.now.state
        while axis.ticks() <= echoed + hold:
            um = axis.follow(um, 1)
            assert axis.now.state == moving
        um = axis.follow(um, 1)
        assert axis.now.state == AxisState.STOPPING
        assert axis.now.ended == Ended.RUNNING
        ramp = 1
        while axis.now.output != 0:
            axis.renew(axis.ticks() - 1)  # too late: it revives nothing
            um = axis.follow(um, 1)
            ramp += 1
        assert ramp <= um_s * 200 // ROD["deceleration_um_s2"] + 1
        assert ramp >= um_s * 200 // ROD["deceleration_um_s2"] // 2, "a ramp, not a cut"
        axis.follow(um, 200)
        assert axis.now.output == 0
        assert axis.now.ended == Ended.SILENCE


def test_a_silent_move_is_latched_and_a_silent_jog_is_not() -> None:
    with proven() as axis:
        axis.move(180_000)
        axis.alive = False
        axis.follow(axis.um, 400)  # type: ignore[attr-defined]
        assert axis.now.faults == 1 << (Fault.MOVE_SILENCE - 1)
        assert axis.now.state == AxisState.FAULT
        assert (axis.now.ended, axis.now.cause) == (Ended.SILENCE, Fault.MOVE_SILENCE)
        assert axis.jog(1000) == Status.FAULTED
    with proven() as axis:
        axis.jog(4000)
        axis.alive = False
        axis.follow(axis.um, 400)  # type: ignore[attr-defined]
        assert axis.now.faults == 0
        assert axis.now.state == AxisState.IDLE


def test_asking_again_prolongs_nothing() -> None:
    with proven() as axis:
        axis.jog(4000)
        axis.alive = False
        um = float(axis.um)  # type: ignore[attr-defined]
        for n in range(51):
            assert axis.now.state != AxisState.STOPPING, n
            um = axis.follow(um, 1)
            axis.jog(4000 + n)
        axis.follow(um, 1)
        assert axis.now.state == AxisState.STOPPING


def test_an_older_echo_does_not_shorten_the_hold() -> None:
    with proven() as axis:
        axis.jog(4000)
        um = axis.follow(axis.um, 30)  # type: ignore[attr-defined]
        echoed = axis.ticks() - 1
        axis.alive = False
        axis.renew(echoed - 20)
        axis.follow(um, 49)
        assert axis.now.state == AxisState.JOG


# ---------------------------------------------------------------- duty


@pytest.mark.parametrize(
    "start", [lambda a: a.jog(8000), lambda a: a.move(180_000), lambda a: a.run(900)]
)
def test_the_ramp_ends_inside_the_duty_room(start: Callable[[Probe], int]) -> None:
    with proven() as axis:
        start(axis)
        room, um = 150, float(axis.um)  # type: ignore[attr-defined]
        for _ in range(400):
            axis.tick(raw_at(um), ma=600, room=room)
            room -= axis.now.output != 0
            um += max(axis.now.output - 200, 0) / 800 * 50
        assert room >= 0
        assert room < 60, "and it uses what there is, but for the ramp's reserve"
        assert axis.now.ended == Ended.DUTY
        assert axis.now.faults == 0
        assert EventKind.DUTY_SPENT in [event[0] for event in axis.events()]


def test_settings_of_the_rod_are_the_ones_that_the_tests_count_with() -> None:
    assert (ROD["trip_ms"], ROD["stall_time_ms"], ROD["move_hold_ms"]) == (50, 400, 500)
