"""Each guard: the last tick before it trips, the first after, and what must not happen.

Readings are made by hand: every expected tick is counted from the settings, not from the core.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rodbench_protocol.names import (
    AxisAlso,
    AxisState,
    Bridge,
    Ended,
    EventKind,
    Fault,
    Status,
)

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


# Half of the margin from either end of the scale a pot is open or shorted, whatever its endpoints;
# so near to them that no reading is a jump as well.
BANDS = [
    (0, 0, Fault.POT_OPEN),
    (0, 19, Fault.POT_OPEN),
    (0, 20, Fault.POT_BAND),
    (0, 59, Fault.POT_BAND),
    (200_000, 8141, Fault.POT_BAND),
    (200_000, 8164, Fault.POT_BAND),
    (200_000, 8165, Fault.POT_SHORT),
    (200_000, 8184, Fault.POT_SHORT),
]


@pytest.mark.parametrize(("um", "raw", "fault"), BANDS)
@pytest.mark.parametrize("drives", [True, False])
def test_pot_out_of_band_trips_in_the_fifth_tick(
    um: int, raw: int, fault: Fault, drives: bool
) -> None:
    with Probe() as axis:
        axis.at(um, count=20)
        if drives:
            assert axis.jog(4000 if um == 0 else -4000) == Status.OK
            axis.follow(um, 15)
        axis.tick(raw, ma=600, count=4)
        assert not trips(axis, fault)
        axis.tick(raw, ma=600)
        assert trips(axis, fault)
        assert axis.now.output == 0
        assert not axis.now.faults & ~(1 << (fault - 1) | 1 << (Fault.WRONG_WAY - 1))


def test_a_pot_that_changes_from_one_bad_reading_to_another_is_named_by_the_last() -> None:
    """An open wiper falls through all readings on its way to 0."""
    with Probe() as axis:
        axis.at(0, count=20)
        axis.tick(59)
        axis.tick(30)
        axis.tick(0, count=2)
        assert not axis.now.faults
        axis.tick(0)
        assert axis.now.faults == 1 << (Fault.POT_OPEN - 1)


@pytest.mark.parametrize("raw", [60, 8140])
def test_the_edge_of_the_band_is_good(raw: int) -> None:
    with Probe() as axis:
        axis.tick(raw, count=100)
        assert not axis.now.faults


def test_pot_out_of_band_trips_at_rest_and_comes_back_when_cleared_too_soon() -> None:
    with Probe() as axis:
        axis.at(0, count=20)
        axis.tick(0, count=5)
        assert axis.now.faults == 1 << (Fault.POT_OPEN - 1)
        assert axis.clear()
        axis.tick(0)
        assert trips(axis, Fault.POT_OPEN)


def test_an_open_pot_shows_even_where_an_endpoint_is_near_0() -> None:
    with Probe(raw_retracted=40) as axis:
        axis.tick(0, count=4)
        assert not axis.now.faults
        axis.tick(0)
        assert trips(axis, Fault.POT_OPEN)


@pytest.mark.parametrize("raw", [0, 59])
def test_pot_band_needs_ticks_in_a_row(raw: int) -> None:
    with Probe() as axis:
        for _ in range(10):
            axis.tick(raw, count=4)
            axis.at(0)
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
        named = Fault.POT_OPEN if raw < 20 else Fault.POT_SHORT
        assert axis.now.faults == 1 << (named - 1)


def test_an_uncalibrated_pot_that_has_left_the_end_trips_as_fast_as_another() -> None:
    with Probe(calibrated=0) as axis:
        axis.tick(0, count=20)
        axis.jog(350, unit=0)
        axis.tick(0, ma=600, count=100)
        axis.tick(20, ma=600, count=2)
        axis.tick(0, ma=600, count=4)
        assert not axis.now.faults
        axis.tick(0, ma=600)
        assert axis.now.faults == 1 << (Fault.POT_OPEN - 1)


def test_no_endpoints_are_known_while_uncalibrated() -> None:
    with Probe(calibrated=0) as axis:
        axis.tick(raw_at(MIDDLE), count=20)
        axis.jog(350, unit=0)
        for raw in (20, 8164):
            axis.tick(raw, ma=600, count=20)
            assert not axis.now.faults


# A 32nd of full scale, and the 16 sigma of noise_x16.
REACH = 256 + ROD["noise_x16"]


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("drives", [True, False])
def test_pot_jump_trips_in_its_second_tick(sign: int, drives: bool) -> None:
    with proven() as axis:
        if drives:
            axis.jog(sign * 4000)
        raw = raw_at(axis.follow(axis.um, 40))  # type: ignore[attr-defined]
        axis.tick(raw, ma=600)
        axis.tick(raw + sign * (REACH + 1), ma=600)
        assert not axis.now.faults, "one tick may be a spark"
        axis.tick(raw + sign * (REACH + 1), ma=600)
        assert axis.now.faults == 1 << (Fault.POT_JUMP - 1)
        assert (axis.now.output, axis.now.bridge) == (0, Bridge.BRAKE)
        assert axis.now.ended == (Ended.FAULT if drives else Ended.STOPPED)
        assert axis.now.cause == (Fault.POT_JUMP if drives else 0)
        axis.tick(raw + sign * (REACH + 1), count=200)
        assert axis.clear() == 1 << (Fault.POT_JUMP - 1)
        axis.tick(raw + sign * (REACH + 1), count=400)
        assert not axis.now.faults, "where it jumped to is where it is"


def test_a_jump_long_at_rest_is_no_motion_at_rest() -> None:
    with rested() as axis:
        axis.at(axis.um + 8000, count=400)  # type: ignore[attr-defined]
        assert axis.now.faults == 1 << (Fault.POT_JUMP - 1)


def test_pot_jump_needs_more_than_its_reach_in_two_ticks_in_a_row() -> None:
    with proven() as axis:
        raw = raw_at(axis.um)  # type: ignore[attr-defined]
        here = axis.now.position_um
        for _ in range(20):
            axis.tick(raw + 4000)
            axis.tick(raw)
        assert abs(axis.now.position_um - here) <= UM_PER_RAW, "a spark moves nothing"
        axis.tick(raw + REACH, count=10)
        assert not axis.now.faults
    with proven() as axis:
        axis.jog(4000)
        um = axis.follow(axis.um, 100)  # type: ignore[attr-defined]
        for n in range(200):  # against the drive, and along it into the soft stop's reach
            axis.tick((raw - 2000, raw + 3500)[n // 10 % 2] if n % 10 == 0 else raw_at(um), ma=600)
            um += 20
        assert (axis.now.faults, axis.now.state) == (0, AxisState.JOG)


def test_a_rod_of_a_third_of_a_second_a_stroke_is_no_jump() -> None:
    fast = {"full_speed_extend_um_s": 60_000, "stroke_um": 20_000, "soft_stop_max_um": 19_000}
    with Probe(**fast, soft_stop_min_um=1_000) as axis:
        raw = 1000.0
        axis.tick(round(raw), count=20)
        for n in range(56):
            raw += 125
            axis.tick(round(raw) if n % 7 else 0)  # and a spark now and then
        assert not trips(axis, Fault.POT_JUMP)


def test_a_noisy_pot_is_allowed_its_noise() -> None:
    with Probe(noise_x16=3200) as axis:  # 200 raw rms
        for n in range(400):
            axis.tick(raw_at(MIDDLE) + (1600, -1600)[n // 2 % 2])
        assert not axis.now.faults


def test_no_jump_is_known_while_uncalibrated_nor_by_new_settings() -> None:
    with Probe(calibrated=0) as axis:
        for raw in (1000, 5000, 2000, 7000):
            axis.tick(raw, count=5)
        assert not axis.now.faults
        axis.change(calibrated=1)
        axis.tick(raw_at(MIDDLE), count=20)
        assert not axis.now.faults


# ---------------------------------------------------------------- moving with the output off


def rested(**changes: int) -> Probe:
    """At rest in the middle for so long that it must not move any more."""
    axis = proven(**changes)
    axis.at(axis.um, count=240)  # type: ignore[attr-defined]
    assert not axis.now.faults
    return axis


def drift(axis: Probe, um: float, step: float, most: float) -> float:
    """Move by hand until a fault or `most`; gives how far it came."""
    gone = 0.0
    while abs(gone) < most and not axis.now.faults:
        gone += step
        axis.at(um + gone)
    return gone


@pytest.mark.parametrize("step", [0.5, -0.5, 5.0, -40.0])
def test_a_rod_that_moves_at_rest_trips_past_1_mm(step: float) -> None:
    """By the filtered position, which comes a few ticks later."""
    with rested() as axis:
        far = abs(drift(axis, axis.um, step, 8000))  # type: ignore[attr-defined]
        assert axis.now.faults == 1 << (Fault.MOVING_OFF - 1)
        assert 1000 - UM_PER_RAW <= far <= 1000 + 2 * UM_PER_RAW + 8 * abs(step)
        assert (axis.now.state, axis.now.output) == (AxisState.FAULT, 0)
        assert axis.now.bridge == Bridge.BRAKE
        assert axis.now.ended == Ended.STOPPED, "no motion was commanded"
        assert axis.jog(1000) == Status.FAULTED


def test_a_rod_within_1_mm_or_its_noise_is_at_rest() -> None:
    with rested() as axis:
        um = axis.um + drift(axis, axis.um, 5, 975)  # type: ignore[attr-defined]
        axis.at(um, count=400)
        axis.at(um + drift(axis, um, -5, 1950), count=400)
        assert not axis.now.faults
    with rested(noise_x16=320) as axis:  # 20 raw rms: 8 sigma are 4 mm, and a count
        um = axis.um + drift(axis, axis.um, 5, 3900)  # type: ignore[attr-defined]
        axis.at(um, count=400)
        assert not axis.now.faults
        drift(axis, um, 5, 300)
        assert trips(axis, Fault.MOVING_OFF)


def test_a_rod_that_coasts_on_has_a_second_to_come_to_rest() -> None:
    """Stopped at once by a fault nothing waits for rest."""
    with proven() as axis:
        axis.jog(4000)
        um = axis.follow(axis.um, 100)  # type: ignore[attr-defined]
        while not axis.now.faults:
            um += 10
            axis.at(um, ma=2010)
        for _ in range(195):
            um += 10  # 2 mm/s
            axis.at(um)
        axis.at(um, count=400)
        assert axis.now.faults == 1 << (Fault.OVER_CURRENT - 1)
        drift(axis, um, 20, 0)
        for n in range(100):
            axis.at(um + 20 * n)
        assert trips(axis, Fault.MOVING_OFF), "also while another fault stands"


def test_a_rod_still_moving_after_clear_trips_again() -> None:
    with rested() as axis:
        um = axis.um + drift(axis, axis.um, 10, 8000)  # type: ignore[attr-defined]
        assert axis.clear()
        axis.at(um)
        assert not axis.now.faults
        assert abs(drift(axis, um, 10, 8000)) <= 200 * 10 + 1000 + 8 * 10
        assert trips(axis, Fault.MOVING_OFF)


def test_moving_off_is_not_watched_uncalibrated_nor_in_motion_nor_over_new_settings() -> None:
    with Probe(calibrated=0) as axis:
        axis.at(MIDDLE, count=300)
        drift(axis, MIDDLE, 10, 5000)
        assert not axis.now.faults
        axis.change(calibrated=1)
        axis.at(MIDDLE, count=300)
        axis.change(stroke_um=190_000, soft_stop_max_um=185_000)  # the same raw is another place
        axis.at(MIDDLE, count=300)
        assert not axis.now.faults
    with rested() as axis:
        axis.jog(4000)
        axis.follow(axis.um, 400)  # type: ignore[attr-defined]
        assert not axis.now.faults


# ---------------------------------------------------------------- falling behind


def test_following_trips_when_the_ground_that_was_lost_stands_for_250_ms() -> None:
    """Reckoned from the outside: the reference of the ramps alone, and the rod."""
    with proven(following_um=5000) as axis:
        axis.jog(8000)
        um = start = axis.follow(axis.um, 100)  # type: ignore[attr-defined]
        reference = axis.now.reference_um
        speed = 8000 / 200
        behind = 0
        for _ in range(400):
            um += speed / 2  # a load lets it go at half of that
            axis.at(um, ma=600)
            reference += speed
            behind = behind + 1 if reference - axis.now.position_um > 5000 else 0
            if axis.now.faults:
                break
        assert abs(behind - 50) <= 2
        assert axis.now.faults == 1 << (Fault.FOLLOWING - 1)
        assert axis.now.state == AxisState.STOPPING, "category 1"
        assert axis.now.output != 0
        assert axis.now.cause == Fault.FOLLOWING
        assert um > start
        axis.follow(um, 300)
        assert (axis.now.ended, axis.now.state) == (Ended.FAULT, AxisState.FAULT)
        assert axis.now.output == 0
        assert axis.jog(1000) == Status.FAULTED
        assert axis.clear() == 1 << (Fault.FOLLOWING - 1)


@pytest.mark.parametrize("following_um", [0, 60_000])
def test_following_is_watched_only_where_it_is_set(following_um: int) -> None:
    with proven(following_um=following_um) as axis:
        axis.jog(8000)
        um = axis.follow(axis.um, 100)  # type: ignore[attr-defined]
        for _ in range(600):
            um += 20
            axis.at(um, ma=600)
        assert not trips(axis, Fault.FOLLOWING)
        assert axis.now.state == AxisState.JOG


def test_lost_ground_is_forgotten_when_the_rod_has_caught_up() -> None:
    with proven(following_um=2500) as axis:
        axis.jog(4000)
        um = axis.follow(axis.um, 100)  # type: ignore[attr-defined]
        for _ in range(8):
            for _ in range(110):  # some 60 steps of 20 um lost beyond the lead: 1.2 mm
                um += 4
                axis.at(um, ma=600)
            um = axis.follow(um, 160)
        assert not axis.now.faults, "in sum it fell 10 mm behind"
        assert axis.now.state == AxisState.JOG


# ---------------------------------------------------------------- fold-back


def folding(axis: Probe, um: float, ticks: int, ma_per_permille: float) -> None:
    """A rod that draws by its output, running."""
    for _ in range(ticks):
        axis.at(um, ma=round(abs(axis.now.output) * ma_per_permille))
        um += max(abs(axis.now.output) - 200, 0) / 800 * 50


def folded(axis: Probe) -> bool:
    return bool(axis.now.also & AxisAlso.FOLDED_BACK)


def test_fold_back_holds_the_current_and_says_so_once() -> None:
    with proven(fold_back_ma=1200, trip_ma=4000) as axis:
        since = len(axis.past)
        axis.run(1000)
        folding(axis, axis.um, 300, 2.0)  # type: ignore[attr-defined]
        drawn = [abs(view.output) * 2.0 for view in axis.past[since + 150 :]]
        assert sum(drawn) / len(drawn) < 1200
        assert min(drawn) > 1000, "and no more than that is taken back"
        told = [event[0] for event in axis.events(since)]
        assert told.count(EventKind.FOLD_BACK) == 1
        assert not axis.now.faults
        axis.stop(0)
        axis.follow(axis.now.position_um, 200)
        axis.run(1000)
        folding(axis, axis.now.position_um, 100, 2.0)
        told = [event[0] for event in axis.events(since)]
        assert told.count(EventKind.FOLD_BACK) == 2, "once in each motion"


def test_fold_back_falls_fast_and_rises_slowly() -> None:
    """An eighth in a tick of more, 4 permille in any other."""
    with proven(fold_back_ma=1200, trip_ma=4000) as axis:
        axis.run(1000)
        um = axis.follow(axis.um, 100)  # type: ignore[attr-defined]
        assert axis.now.output == 1000
        axis.at(um, ma=1200)
        assert (axis.now.output, folded(axis)) == (1000, False), "at the limit is not above it"
        for output in (896, 784, 688):  # 224, 196, 172 of 250, from 255 as there was none
            axis.at(um, ma=1210)
            assert (axis.now.output, folded(axis)) == (output, True)
        for output in range(692, 1000, 4):
            um += 30
            axis.at(um, ma=600)
            assert (axis.now.output, folded(axis)) == (output, True)
        axis.at(um, ma=600)
        assert (axis.now.output, folded(axis)) == (1000, False)
        axis.at(um, ma=3900, count=9)
        assert axis.now.output < 320


def test_a_rod_that_stands_at_fold_back_is_a_stall() -> None:
    """The output falls below what the dead zone lets count, so the fold-back itself must count."""
    with proven(fold_back_ma=900, trip_ma=4000) as axis:
        axis.run(900)
        um = axis.follow(axis.um, 60)  # type: ignore[attr-defined]
        ticks = 0
        while not axis.now.faults and ticks < 400:
            axis.at(um, ma=round(abs(axis.now.output) * 4.0))
            ticks += 1
        assert abs(axis.past[-2].output) < 280, "a quarter above the dead zone and 30 permille"
        assert ticks < 200
        latched(axis, Fault.STALL)


def test_the_fast_trip_stays_above_fold_back() -> None:
    with proven(fold_back_ma=900) as axis:
        axis.run(900)
        um = axis.follow(axis.um, 60)  # type: ignore[attr-defined]
        axis.at(um, ma=2010, count=9)
        assert not axis.now.faults
        axis.at(um, ma=2010)
        latched(axis, Fault.OVER_CURRENT, Bridge.OFF)


def test_neither_a_seek_nor_a_rod_without_limit_is_folded_back() -> None:
    with Probe(calibrated=0, fold_back_ma=900) as axis:
        axis.at(MIDDLE, count=20)
        axis.seek(1)
        axis.follow(MIDDLE, 100, ma=1500)
        assert axis.now.output == 350
    with proven() as axis:
        axis.run(900)
        axis.follow(axis.um, 100, ma=1900)  # type: ignore[attr-defined]
        assert axis.now.output == 900


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
