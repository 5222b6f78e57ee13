"""Two rods as one on the native core: random pairs of rods, and every way in which one may end."""

from __future__ import annotations

import ctypes as ct
from random import Random

import pytest
from rodbench_protocol import settings
from rodbench_protocol.names import (
    AxisAlso,
    AxisState,
    Ended,
    EventKind,
    Fault,
    FaultBits,
    Features,
    JogUnit,
    Status,
)

from tests.core import motion_promise as promise
from tests.core.gang_rods import Pair, move, random_pair

PAIRS = 15
LATE = 0.015  # of the stroke
APART_TICKS = 10
PUSH = 0.1  # of the trip, each tick
TICKS_PER_S = 200
SETTLED = 260  # ticks of rest, behind which a rod must not move
FAR_MM = 4.0
REST = (AxisState.IDLE, AxisState.FAULT)


@pytest.fixture(scope="module")
def library() -> ct.CDLL:
    return promise.build()


@pytest.fixture
def pair(library: ct.CDLL) -> Pair:
    """Two rods that have shown their direction, level at rest in the middle."""
    made = random_pair(library, 3)
    assert move(made, 0, 0.5).ended == (Ended.REACHED, Ended.REACHED)
    return made


def jog(pair: Pair, index: int, share: float, ticks: int) -> None:
    """Both under way, at a share of the setting's speed."""
    speed = int(pair.values[index]["speed_max_um_s"] * share)
    assert pair.ask("jog", axis=index + 1, unit=JogUnit.SPEED, value=speed) == Status.OK
    pair.run(ticks)
    assert [axis.state for axis in pair.state.axis] == [AxisState.JOG] * 2


def moved(pair: Pair, ticks: int) -> list[float]:
    """Shares of stroke by which the rods go in that time."""
    before = [rod.share for rod in pair.rods]
    pair.run(ticks)
    return [rod.share - was for rod, was in zip(pair.rods, before, strict=True)]


# ---------------------------------------------------------------- together


@pytest.mark.parametrize("seed", range(PAIRS))
def test_two_rods_of_different_kinds_finish_together(library: ct.CDLL, seed: int) -> None:
    """Asked of either; never apart beyond the trip, and no fault."""
    pair = random_pair(library, seed)
    low, high = pair.room()
    for index, to in ((0, low + 0.02), (1, high - 0.02), (0, 0.5)):
        way = move(pair, index, to)
        assert way.ended == (Ended.REACHED, Ended.REACHED)
        assert (way.faults, way.cause) == (0, (0, 0))
        assert way.late < LATE
        assert way.furthest < 0.7
        assert all(abs(rod.share - to) < 0.06 for rod in pair.rods)


def test_a_rod_that_is_pushed_ahead_is_waited_for(pair: Pair) -> None:
    """The slower sets the pace: a rod at a quarter of its speed, the other at a quarter too."""
    jog(pair, 0, 1.0, 100)
    free = moved(pair, 50)
    speed_mm = pair.rods[1].plant.stroke_mm * free[1] / 50
    pair.rods[1].pushed_mm = -0.6 * speed_mm
    pair.run(150)
    held = moved(pair, 50)
    assert not pair.state.faults
    assert held[0] == pytest.approx(held[1], rel=0.2)
    assert held[0] < 0.8 * free[0]
    assert max(abs(mm) for mm in pair.apart) < pair.apart_mm


def test_a_jog_comes_to_the_soft_stop_with_both(pair: Pair) -> None:
    for way in (1, -1):
        speed = way * pair.values[0]["speed_max_um_s"]
        assert pair.ask("jog", axis=1, unit=JogUnit.SPEED, value=speed) == Status.OK
        pair.until(lambda: pair.at_rest)
        ended = [axis.ended for axis in pair.state.axis]
        assert Ended.SOFT_STOP in ended
        assert set(ended) <= {Ended.SOFT_STOP, Ended.GANG}
        assert not pair.state.faults


def test_a_jog_is_no_faster_than_both_can(pair: Pair) -> None:
    slow = min(v["speed_max_um_s"] / v["stroke_um"] for v in pair.values)
    for index in (0, 1):
        jog(pair, index, -1.0, 120)
        went = moved(pair, 40)
        assert all(share == pytest.approx(-slow * 40 / 200, rel=0.15) for share in went)
        assert pair.ask("jog", axis=index + 1, unit=JogUnit.SPEED, value=0) == Status.OK
        pair.until(lambda: pair.at_rest)
        assert [axis.ended for axis in pair.state.axis] == [Ended.STOPPED] * 2
        move(pair, 0, 0.5)


# ---------------------------------------------------------------- one for all


@pytest.mark.parametrize("jammed", [0, 1])
def test_a_fault_of_one_stops_the_other_a_tick_later(pair: Pair, jammed: int) -> None:
    jog(pair, 0, 1.0, 100)
    axes = pair.state.axis
    pair.rods[jammed].jammed = True
    pair.until(lambda: axes[jammed].faults != 0, 2000)
    assert axes[jammed].drive == 0
    pair.tick()
    assert axes[1 - jammed].drive == 0
    assert axes[1 - jammed].faults == 0
    pair.until(lambda: pair.at_rest)
    assert axes[jammed].ended == Ended.FAULT
    assert axes[1 - jammed].ended == Ended.GANG
    assert max(abs(mm) for mm in pair.apart) < pair.apart_mm
    for axis in (1, 2):  # a gang with a fault does not move, whichever is asked
        assert pair.ask("jog", axis=axis, unit=JogUnit.SPEED, value=500) == Status.FAULTED
        assert pair.ask("move", axis=axis, target_um=50_000, speed_um_s=0) == Status.FAULTED


def test_silence_ends_both(pair: Pair) -> None:
    jog(pair, 1, 1.0, 100)
    pair.alive = False
    pair.until(lambda: pair.at_rest)
    assert {axis.ended for axis in pair.state.axis} <= {Ended.SILENCE, Ended.GANG}


@pytest.mark.parametrize("axis", [1, 2])
def test_a_stop_of_one_is_a_stop_of_both(pair: Pair, axis: int) -> None:
    jog(pair, 0, 1.0, 100)
    assert pair.ask("stop", axis=axis, category=0) == Status.OK
    assert [a.drive for a in pair.state.axis] == [0, 0]
    pair.until(lambda: pair.at_rest)
    assert [a.ended for a in pair.state.axis] == [Ended.STOPPED] * 2


@pytest.mark.parametrize("spent", [0, 1])
def test_spent_duty_of_one_refuses_and_ends_both(pair: Pair, spent: int) -> None:
    jog(pair, 0, 1.0, 100)
    pair.spend(spent)
    pair.until(lambda: pair.at_rest)
    assert pair.state.axis[spent].ended == Ended.DUTY
    assert pair.state.axis[1 - spent].ended == Ended.GANG
    numbers = [axis.motion for axis in pair.state.axis]
    for axis in (1, 2):
        assert pair.ask("jog", axis=axis, unit=JogUnit.SPEED, value=500) == Status.DUTY_SPENT
    assert [axis.motion for axis in pair.state.axis] == numbers


# ---------------------------------------------------------------- refused


def test_what_moves_one_alone_is_refused(pair: Pair) -> None:
    for axis in (1, 2):
        assert pair.ask("run", axis=axis, output_permille=300) == Status.GANGED
        assert pair.ask("seek", axis=axis, direction=1) == Status.GANGED
        assert pair.ask("jog", axis=axis, unit=JogUnit.OUTPUT, value=100) == Status.GANGED
    assert pair.at_rest


@pytest.mark.parametrize("without", [{"calibrated": 0}, {"calibrated": 0, "feedback": 2}])
def test_a_gang_with_a_rod_that_is_not_calibrated_does_not_move(
    library: ct.CDLL, without: dict[str, int]
) -> None:
    pair = random_pair(library, 3, changes=({}, without))
    for axis in (1, 2):
        assert pair.ask("jog", axis=axis, unit=JogUnit.SPEED, value=500) == Status.GANGED
        assert pair.ask("jog", axis=axis, unit=JogUnit.OUTPUT, value=100) == Status.GANGED
        assert pair.ask("move", axis=axis, target_um=50_000, speed_um_s=0) == Status.GANGED
        assert pair.ask("seek", axis=axis, direction=1) == Status.GANGED
        assert pair.ask("level", axis=axis, speed_um_s=200) == Status.GANGED


def test_a_place_outside_of_either_rods_soft_stops_begins_nothing(library: ct.CDLL) -> None:
    pair = random_pair(library, 3)
    narrow = {"soft_stop_max_um": int(pair.values[1]["stroke_um"] * 0.7)}
    pair = random_pair(library, 3, changes=({}, narrow))
    numbers = [axis.motion for axis in pair.state.axis]
    for index in (0, 1):
        target = pair.um(index, 0.75)
        assert pair.ask("move", axis=index + 1, target_um=target, speed_um_s=0) == Status.OUTSIDE
    assert [axis.motion for axis in pair.state.axis] == numbers
    assert pair.ask("move", axis=1, target_um=pair.um(0, 0.69), speed_um_s=0) == Status.OK


def test_a_reply_names_the_motion_of_the_axis_that_was_asked(pair: Pair) -> None:
    for index in (0, 1, 1, 0):
        speed = pair.values[index]["creep_speed_um_s"]
        assert pair.ask("level", axis=2, speed_um_s=200) == Status.OK  # so that they count apart
        pair.ask("stop", axis=0, category=0)
        pair.until(lambda: pair.at_rest)
        assert pair.ask("jog", axis=index + 1, unit=JogUnit.SPEED, value=speed) == Status.OK
        assert pair.host.replies[0].fields["motion"] == pair.state.axis[index].motion
        pair.ask("stop", axis=0, category=0)
        pair.until(lambda: pair.at_rest)
    assert pair.state.axis[0].motion != pair.state.axis[1].motion


# ---------------------------------------------------------------- apart, and level again


def drag_apart(pair: Pair, to: float) -> None:
    """Rod 1 ahead by so much of the trip, at rest, both in the middle."""
    pair.rods[0].state.x_mm = (pair.rods[1].share + 0.0) * pair.rods[0].plant.stroke_mm
    ahead = to * pair.apart_mm / pair.longer_mm
    pair.rods[0].state.x_mm += ahead * pair.rods[0].plant.stroke_mm
    pair.run(60)


def test_rods_that_come_apart_trip_after_the_filter_time(pair: Pair) -> None:
    """One is carried ahead while both jog; the last tick before, and the first after."""
    jog(pair, 0, 0.5, 100)
    pair.rods[0].pushed_mm = PUSH * pair.apart_mm * pair.rods[0].plant.stroke_mm / pair.longer_mm
    far = 0
    for _ in range(200):
        pair.tick()
        if pair.state.faults:
            break
        far += abs(pair.as_read) > pair.apart_mm
    assert pair.state.faults == FaultBits.APART
    assert far == APART_TICKS
    trips = [e for e in pair.host.events if e.fields.get("kind") == EventKind.TRIP]
    assert [(e.fields["axis"], e.fields["cause"]) for e in trips] == [(0, Fault.APART)]
    pair.rods[0].pushed_mm = 0.0
    pair.until(lambda: pair.at_rest)
    assert [(a.ended, a.cause) for a in pair.state.axis] == [(Ended.FAULT, Fault.APART)] * 2


def test_rods_found_apart_do_not_begin(pair: Pair) -> None:
    drag_apart(pair, 1.2)
    assert not pair.state.faults
    assert pair.ask("move", axis=1, target_um=pair.um(0, 0.5), speed_um_s=0) == Status.OK
    assert pair.state.faults == FaultBits.APART
    for _ in range(100):
        assert [axis.drive for axis in pair.state.axis] == [0, 0]
        pair.tick()
    assert pair.ask("jog", axis=2, unit=JogUnit.SPEED, value=500) == Status.FAULTED
    assert pair.ask("level", axis=2, speed_um_s=200) == Status.FAULTED
    assert pair.ask("clear", axis=0) == Status.OK
    assert pair.ask("jog", axis=2, unit=JogUnit.SPEED, value=0) == Status.OK
    assert not pair.state.faults
    assert pair.ask("jog", axis=2, unit=JogUnit.SPEED, value=500) == Status.OK
    assert pair.state.faults == FaultBits.APART, "back at once"


def test_level_moves_one_alone_until_both_are_level(pair: Pair) -> None:
    drag_apart(pair, 1.5)
    other = pair.rods[1].share
    creep = pair.values[0]["creep_speed_um_s"]
    assert pair.ask("level", axis=1, speed_um_s=-creep - 1) == Status.BAD_VALUE
    assert pair.ask("level", axis=1, speed_um_s=-creep) == Status.OK
    for asked in ({"axis": 2, "speed_um_s": 200}, {"axis": 2, "speed_um_s": 0}):
        assert pair.ask("level", **asked) == Status.IN_MOTION
    assert pair.ask("jog", axis=1, unit=JogUnit.SPEED, value=-200) == Status.IN_MOTION
    pair.until(lambda: pair.as_read < 0.1)
    assert pair.ask("level", axis=1, speed_um_s=0) == Status.OK
    pair.until(lambda: pair.at_rest)
    assert not pair.state.faults
    assert pair.state.axis[0].ended == Ended.STOPPED
    assert pair.rods[1].share == other
    assert move(pair, 0, 0.4).ended == (Ended.REACHED, Ended.REACHED)


@pytest.mark.parametrize("axis", [0, 1])
def test_a_rod_that_the_other_takes_along_while_that_is_levelled_is_not_moving_off(
    pair: Pair, axis: int
) -> None:
    """Both had stood for long; once both stand again, the same way is a fault."""
    levelled, other = pair.rods[axis], pair.rods[1 - axis]
    pair.run(SETTLED)
    speed = pair.values[axis]["creep_speed_um_s"]
    along_mm = speed / 1000 / TICKS_PER_S / levelled.plant.stroke_mm * other.plant.stroke_mm
    before = other.state.x_mm
    assert pair.ask("level", axis=axis + 1, speed_um_s=speed) == Status.OK
    other.pushed_mm = along_mm
    pair.until(lambda: abs(other.state.x_mm - before) > FAR_MM or pair.state.faults != 0)
    other.pushed_mm = 0.0
    assert pair.ask("level", axis=axis + 1, speed_um_s=0) == Status.OK
    pair.run(SETTLED)
    assert not pair.state.faults
    assert not any(one.faults for one in pair.state.axis)
    other.pushed_mm = along_mm
    pair.run(int(FAR_MM / along_mm))
    assert pair.state.axis[1 - axis].faults == FaultBits.MOVING_OFF


def test_level_trips_at_twice_the_distance(pair: Pair) -> None:
    drag_apart(pair, 1.5)
    assert pair.ask("level", axis=1, speed_um_s=pair.values[0]["creep_speed_um_s"]) == Status.OK
    pair.until(lambda: pair.state.faults != 0)
    assert pair.state.faults == FaultBits.APART
    assert pair.as_read == pytest.approx(2 * pair.apart_mm, rel=0.1)
    pair.until(lambda: pair.at_rest)
    assert pair.ask("clear", axis=0) == Status.OK
    drag_apart(pair, 2.2)
    assert pair.ask("level", axis=1, speed_um_s=-200) == Status.OK
    assert pair.state.faults == FaultBits.APART
    assert pair.state.axis[0].drive == 0


def test_during_a_gangs_motion_there_is_no_level(pair: Pair) -> None:
    jog(pair, 0, 0.5, 50)
    assert pair.ask("level", axis=1, speed_um_s=200) == Status.IN_MOTION


def test_without_a_gang_there_is_no_level_and_an_axis_moves_alone(library: ct.CDLL) -> None:
    pair = random_pair(library, 3, apart_mm=0.0)
    assert pair.ask("level", axis=1, speed_um_s=200) == Status.NOT_SUPPORTED
    assert pair.ask("jog", axis=1, unit=JogUnit.SPEED, value=500) == Status.OK
    pair.run(100)
    assert [axis.state for axis in pair.state.axis] == [AxisState.JOG, AxisState.IDLE]


@pytest.mark.parametrize("seed", range(8))
def test_whatever_holds_or_pushes_a_rod_they_are_never_apart_without_a_trip(
    library: ct.CDLL, seed: int
) -> None:
    """Random jogs, moves, jams and pushes: while one moves, too far apart lasts no longer than the
    filter, and a rod that stands by a fault has the other stand within its ramp."""
    draw, pair = Random(seed), random_pair(library, seed)
    far = alone = moved = 0
    for _ in range(4000):
        if draw.random() < 0.01:
            meddle(pair, draw)
        if draw.random() < 0.03:
            ask_something(pair, draw)
        else:
            pair.tick()
        axes = pair.state.axis
        going = [axis.drive != 0 for axis in axes]
        moved += all(going)
        beyond = abs(pair.as_read) > pair.apart_mm and not all(axis.state in REST for axis in axes)
        far = far + 1 if beyond and not pair.state.faults & FaultBits.APART else 0
        assert far <= APART_TICKS
        faulted = [axis.state == AxisState.FAULT for axis in axes]
        alone = alone + 1 if any(faulted) and any(going) else 0
        assert alone <= 1, "category 0, a tick later"
    assert moved > 400


def meddle(pair: Pair, draw: Random) -> None:
    """A rod is held, let go, or pushed at up to its own speed."""
    rod = draw.choice(pair.rods)
    rod.jammed = draw.random() < 0.3
    speed_mm = pair.values[pair.rods.index(rod)]["speed_max_um_s"] / 1000 / 200
    rod.pushed_mm = draw.choice((0.0, 0.0, 0.0, draw.uniform(-0.6, 0.6) * speed_mm))


def ask_something(pair: Pair, draw: Random) -> None:
    """Of either axis; faults are cleared at rest."""
    index = draw.randrange(2)
    speed = pair.values[index]["speed_max_um_s"]
    if pair.at_rest and draw.random() < 0.6:
        pair.ask("clear", axis=0)
    elif draw.random() < 0.6:
        low, high = pair.room()
        target = pair.um(index, draw.uniform(low, high))
        pair.ask("move", axis=index + 1, target_um=target, speed_um_s=0)
    else:
        value = draw.randint(-speed, speed)
        pair.ask("jog", axis=index + 1, unit=JogUnit.SPEED, value=value)


# ---------------------------------------------------------------- told


@pytest.mark.parametrize("apart_mm", [0.0, 5.0])
def test_telemetry_and_hello_tell_of_a_gang(library: ct.CDLL, apart_mm: float) -> None:
    pair = random_pair(library, 3, apart_mm=apart_mm)
    assert pair.host.ask("hello")["features"] & Features.GANG
    pair.host.ask("subscribe", axis_period_ms=10, board_period_ms=0)
    pair.host.events.clear()
    pair.run(5)
    told = [e.fields["also"] & AxisAlso.GANGED for e in pair.host.events if "also" in e.fields]
    assert len(told) >= 4
    assert set(told) == {int(AxisAlso.GANGED) if apart_mm else 0}


def test_the_setting_changes_only_at_rest_of_both(pair: Pair) -> None:
    key = next(k.id for k in settings.KEYS["board"] if k.name == "apart_trip_um")
    jog(pair, 0, 0.5, 50)
    assert pair.ask("draft_begin", scope=0) == Status.OK
    assert pair.ask("draft_set", scope=0, items=[{"key": key, "value": 0}]) == Status.OK
    assert pair.ask("draft_commit", scope=0) == Status.IN_MOTION
    pair.ask("stop", axis=1, category=0)
    pair.until(lambda: pair.at_rest)
    assert pair.ask("draft_commit", scope=0) == Status.OK
    assert pair.ask("run", axis=1, output_permille=0) == Status.OK
