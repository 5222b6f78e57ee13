"""Standing alone: what an axis does by its buttons, its stick or its pulse, to the tick.

The last tick before and the first after; speeds, places and times are counted from the settings.
"""

from __future__ import annotations

import pytest
from rodbench_protocol import framing
from rodbench_protocol.names import AxisAlso, AxisState, Commander, Ended, EventKind, Status

from tests.core.axis_probe import ROD
from tests.core.standing_alone import (
    ARM_TICKS,
    BAND,
    BUTTONS,
    EXTEND,
    HIGH,
    LOW,
    POSITION,
    PULSE,
    REST,
    RETRACT,
    STICK,
    Alone,
)

BOTH_WAYS = pytest.mark.parametrize("high", [HIGH, 0])
SILENT_TICKS = 2000
TOLERANCE_UM = 2000


def turned(high: int) -> dict[str, int]:
    """Ends of an input; 0: the other way round."""
    return {"local_low_end": LOW, "local_high_end": HIGH} if high else {
        "local_low_end": HIGH, "local_high_end": LOW,
    }  # fmt: skip


# ---------------------------------------------------------------- arming


def test_power_on_moves_nothing_before_rest_was_seen_for_100_ms() -> None:
    """A stick held over at power-on is no command; nor is a rest one tick too short."""
    board = Alone(STICK)
    board.value = HIGH
    board.run(400)
    board.value = REST
    board.run(ARM_TICKS - 1)
    assert not board.is_also(AxisAlso.ARMED)
    board.value = HIGH
    board.run(100)
    board.value = REST
    board.run(ARM_TICKS)
    assert board.is_also(AxisAlso.ARMED)
    assert board.told(EventKind.ARMED) == [0]
    assert board.axis.motion == 0
    board.value = HIGH
    board.tick()
    assert board.axis.state == AxisState.JOG


@pytest.mark.parametrize("value", [REST - BAND - 1, REST + BAND + 1])
def test_rest_is_within_the_band_and_no_wider(value: int) -> None:
    board = Alone(STICK)
    board.value = value
    board.run(400)
    assert not board.is_also(AxisAlso.ARMED)
    board.value = value - 1 if value > REST else value + 1
    board.run(ARM_TICKS)
    assert board.is_also(AxisAlso.ARMED)


@pytest.mark.parametrize("source", [BUTTONS, STICK, PULSE])
def test_a_stop_of_any_host_ends_it_and_wants_rest_again(source: int) -> None:
    board = Alone(source).armed()
    board.value, board.inputs = HIGH, EXTEND
    board.run(60)
    assert board.output > 0
    board.tick(board.frame("stop", axis=0, category=1))
    assert not board.is_also(AxisAlso.ARMED)
    board.still()
    assert board.axis.ended == Ended.STOPPED
    motion = board.axis.motion
    board.run(300)
    assert (board.axis.motion, board.output) == (motion, 0)
    board.armed()
    board.value, board.inputs = HIGH, EXTEND
    board.run(30)
    assert board.output > 0


def test_a_fault_disarms_until_a_host_has_cleared_it_and_rest_was_seen() -> None:
    board = Alone(STICK).armed()
    board.value = HIGH
    board.run(60)
    um, board.um = board.um, -100_000.0  # the pot leaves its band
    board.run(10)
    assert board.axis.state == AxisState.FAULT
    board.um = um
    board.value = REST
    board.run(50)
    assert not board.is_also(AxisAlso.ARMED)
    board.connect()
    board.value = HIGH
    board.ask("clear", axis=0)
    board.run(100)
    assert board.output == 0
    board.armed()
    board.value = HIGH
    board.run(30)
    assert board.output > 0


# ---------------------------------------------------------------- speed


@BOTH_WAYS
@pytest.mark.parametrize("share", [1.0, -1.0, 0.5, -0.25])
def test_deflection_is_a_share_of_the_greatest_speed(share: float, high: int) -> None:
    board = Alone(STICK, **turned(high)).armed()
    board.run(5)
    ends = turned(high)
    way = ends["local_high_end"] - REST if share > 0 else REST - ends["local_low_end"]
    board.value = REST + round(way * share)
    board.run(240)  # past the first mm, at creep, and the ramp
    before = board.um
    board.run(100)
    speed = (board.um - before) * 2
    assert speed == pytest.approx(ROD["speed_max_um_s"] * share, rel=0.1)


def test_at_rest_a_ramp_ends_it_and_a_small_change_asks_nothing_anew() -> None:
    board = Alone(STICK).armed()
    board.value = HIGH
    board.run(100)
    motion = board.axis.motion
    for value in (HIGH - 4, HIGH, HIGH - 3, HIGH - 100, HIGH - 200):
        board.value = value
        board.run(10)
        assert board.axis.state == AxisState.JOG
    assert board.axis.motion == motion
    board.value = REST
    board.tick()
    assert board.axis.state == AxisState.STOPPING
    assert board.output > 0
    board.still()
    assert (board.axis.ended, board.axis.motion) == (Ended.STOPPED, motion)
    assert board.is_also(AxisAlso.ARMED)


@pytest.mark.parametrize("way", [1, -1])
def test_a_soft_stop_ends_it_and_bars_that_way_until_rest(way: int) -> None:
    stop = ROD["soft_stop_max_um"] if way > 0 else ROD["soft_stop_min_um"]
    board = Alone(STICK, um=stop - way * 8000).armed()
    there, back = (HIGH, LOW) if way > 0 else (LOW, HIGH)
    board.value = there
    board.run(1500)
    assert board.axis.ended == Ended.SOFT_STOP
    assert way * (stop - board.um) >= 0
    motion = board.axis.motion
    board.value = REST + way * 200
    board.run(200)
    assert board.axis.motion == motion
    assert len(board.told(EventKind.SOFT_STOP)) == 1
    board.value = back  # straight over: the other way is open
    board.run(30)
    assert board.axis.motion == motion + 1
    assert board.output * way < 0


@pytest.mark.parametrize(("button", "sign"), [(EXTEND, 1), (RETRACT, -1)])
def test_an_uncalibrated_axis_goes_at_creep_while_a_button_is_held(button: int, sign: int) -> None:
    board = Alone(BUTTONS, calibrated=0).armed()
    board.inputs = button
    board.run(100)
    assert board.output == sign * ROD["creep_output_permille"]
    board.inputs = 0
    board.tick()
    assert board.axis.state == AxisState.STOPPING
    board.still()
    assert board.output == 0


def test_buttons_are_full_speed_and_both_at_once_stop_and_disarm() -> None:
    board = Alone(BUTTONS).armed()
    board.inputs = EXTEND
    board.run(240)
    before = board.um
    board.run(100)
    assert (board.um - before) * 2 == pytest.approx(ROD["speed_max_um_s"], rel=0.1)
    board.inputs = EXTEND | RETRACT
    board.tick()
    assert board.axis.state == AxisState.STOPPING
    assert not board.is_also(AxisAlso.ARMED)
    board.still()
    board.inputs = EXTEND
    board.run(100)
    assert board.output == 0
    board.inputs = EXTEND | RETRACT
    board.run(100)
    assert not board.is_also(AxisAlso.ARMED)  # two pressed are not two open


# ---------------------------------------------------------------- position


@BOTH_WAYS
@pytest.mark.parametrize("share", [0.0, 0.3, 0.77, 1.0])
def test_a_stick_names_a_place_between_its_two(share: float, high: int) -> None:
    places = {"local_place_retract": 13107, "local_place_extend": 52428}  # 0.2 and 0.8
    ends = turned(high)
    board = Alone(STICK, POSITION, **places, **ends).armed()
    span = ends["local_high_end"] - ends["local_low_end"]
    board.value = ends["local_low_end"] + round(span * share)
    board.run(3000)
    assert board.axis.ended == Ended.REACHED
    assert board.um == pytest.approx(200_000 * (0.2 + 0.6 * share), abs=TOLERANCE_UM)


def test_places_beyond_the_soft_stops_mean_the_soft_stops() -> None:
    board = Alone(PULSE, POSITION).armed()
    for value, stop in ((HIGH + 90, "soft_stop_max_um"), (LOW - 90, "soft_stop_min_um")):
        board.value = value
        board.run(5500)
        assert board.um == pytest.approx(ROD[stop], abs=TOLERANCE_UM)
        assert ROD["soft_stop_min_um"] <= board.um <= ROD["soft_stop_max_um"]
        assert board.axis.faults == 0


def test_a_stick_at_rest_moves_nothing_when_armed_but_is_a_place_once_it_was_moved() -> None:
    board = Alone(STICK, POSITION, um=150_000).armed()
    board.run(400)
    assert board.axis.motion == 0
    board.value = HIGH
    board.run(100)
    board.value = REST
    board.run(3000)
    assert board.um == pytest.approx(100_000, abs=TOLERANCE_UM)
    motion = board.axis.motion
    for value in (REST - 3, REST + 3, REST + 6, REST - 6, REST):
        board.value = value
        board.run(20)
    assert board.axis.motion == motion


def test_a_press_moves_to_its_place_another_press_on_the_way_stops() -> None:
    places = {"local_place_retract": 16384, "local_place_extend": 49152}  # a quarter, three
    board = Alone(BUTTONS, POSITION, **places).armed()
    board.inputs = EXTEND
    board.run(3)
    board.inputs = 0  # a short press does
    board.run(2500)
    assert board.um == pytest.approx(150_000, abs=TOLERANCE_UM)
    for stopping in (EXTEND, RETRACT):
        board.inputs = RETRACT
        board.run(100)
        board.inputs = 0
        board.run(10)
        assert board.axis.state == AxisState.MOVE
        board.inputs = stopping
        board.tick()
        assert board.axis.state == AxisState.STOPPING
        board.run(400)
        assert board.output == 0
        board.inputs = 0
        board.run(10)
    motion = board.axis.motion
    board.inputs = RETRACT
    board.run(2500)
    assert board.um == pytest.approx(50_000, abs=TOLERANCE_UM)
    assert board.axis.motion == motion + 1


def test_a_button_that_bounces_is_one_press() -> None:
    board = Alone(BUTTONS, POSITION).armed()
    for closed in (1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1):
        board.inputs = EXTEND * closed
        board.tick()
    assert (board.axis.state, board.axis.motion) == (AxisState.MOVE, 1)
    board.inputs = 0
    board.run(4)  # 20 ms open: let go
    board.inputs = EXTEND
    board.tick()
    assert board.axis.state == AxisState.STOPPING


# ---------------------------------------------------------------- loss


@pytest.mark.parametrize(
    ("source", "value"),
    [(PULSE, 0), (PULSE, LOW - 101), (PULSE, HIGH + 101), (STICK, HIGH + 101), (STICK, 60000)],
)
def test_loss_stops_after_its_time_and_arms_anew(source: int, value: int) -> None:
    board = Alone(source, local_loss_ms=100).armed()
    board.value = HIGH
    board.run(100)
    for _ in range(2):  # one good reading begins the time anew
        board.value = value
        board.run(19)
        assert board.axis.state == AxisState.JOG
        board.value = HIGH
        board.tick()
    board.value = value
    board.run(19)
    assert board.axis.state == AxisState.JOG
    assert not board.is_also(AxisAlso.SOURCE_LOST)
    board.tick()
    assert board.axis.state == AxisState.STOPPING
    assert board.output > 0  # category 1: a ramp
    assert board.is_also(AxisAlso.SOURCE_LOST)
    assert not board.is_also(AxisAlso.ARMED)
    board.run(400)
    assert (board.output, board.axis.faults) == (0, 0)
    assert board.told(EventKind.SOURCE_LOST) == [0]
    board.value = HIGH
    board.run(100)
    assert not board.is_also(AxisAlso.SOURCE_LOST)
    assert board.output == 0
    board.armed()
    board.value = HIGH
    board.run(10)
    assert board.output > 0


@pytest.mark.parametrize("value", [LOW - 100, HIGH + 100])
def test_a_tenth_beyond_an_end_is_that_end(value: int) -> None:
    board = Alone(PULSE, local_loss_ms=30).armed()
    board.value = value
    board.run(100)
    assert board.axis.state == AxisState.JOG
    assert not board.is_also(AxisAlso.SOURCE_LOST)


def test_a_long_loss_time_outlasts_the_hold_of_a_host() -> None:
    board = Alone(PULSE, local_loss_ms=1000).armed()
    board.value = HIGH
    board.run(100)
    board.value = 0
    board.run(199)
    assert board.axis.state == AxisState.JOG
    board.tick()
    assert board.axis.state == AxisState.STOPPING


# ---------------------------------------------------------------- who commands


def test_the_input_of_a_gang_holds_both_rods_for_as_long_as_it_is_held_over() -> None:
    """Nobody is on the cable: longer than the hold of a host, and then both end at rest."""
    board = Alone(STICK, um=30_000, apart_um=3000).armed()
    board.value = HIGH
    for _ in range(2000):  # 10 s, at 8 mm/s
        board.tick()
        axes = board.board.fields().axis
        assert [axis.state for axis in axes] == [AxisState.JOG] * 2
    assert [axis.drive > 0 for axis in axes] == [True] * 2
    board.value = REST
    board.still()
    axes = board.board.fields().axis
    assert [(axis.state, axis.ended, axis.drive) for axis in axes] == [
        (AxisState.IDLE, Ended.STOPPED, 0),
        (AxisState.IDLE, Ended.GANG, 0),
    ]


def test_the_input_commands_from_the_start_and_a_host_is_refused() -> None:
    board = Alone(STICK)
    board.connect()
    assert board.is_also(AxisAlso.LOCAL)
    asked = (
        ("jog", {"unit": 1, "value": 1000}),
        ("run", {"output_permille": 300}),
        ("seek", {"direction": 1}),
        ("move", {"target_um": 90_000, "speed_um_s": 0}),
    )
    for name, fields in asked:
        assert board.status(name, axis=1, **fields) == Status.LOCAL_CONTROL
    assert board.axis.motion == 0
    assert board.status("stop", axis=1, category=1) == Status.OK
    assert board.status("clear", axis=1) == Status.OK


def test_an_open_leaves_a_local_motion_and_stops_a_hosts() -> None:
    board = Alone(STICK).armed()
    board.value = HIGH
    board.run(50)
    board.connect()
    board.run(300)  # nor does the silence of that host end it
    assert board.axis.state == AxisState.JOG
    assert board.output > 0


@pytest.mark.parametrize("axis", [0, 1])
def test_a_host_takes_and_gives_back(axis: int) -> None:
    board = Alone(STICK).armed()
    board.connect()
    board.value = HIGH
    board.run(50)
    board.ask("hand_over", axis=axis, commander=Commander.HOST)
    assert board.axis.state == AxisState.STOPPING
    assert not board.is_also(AxisAlso.LOCAL)
    assert not board.is_also(AxisAlso.ARMED)
    board.still()
    board.run(200)
    assert board.output == 0  # the stick is still over
    board.ask("jog", axis=1, unit=1, value=-4000)
    board.run(20)
    assert board.output < 0
    board.ask("hand_over", axis=axis, commander=Commander.LOCAL)
    assert board.axis.state == AxisState.STOPPING
    board.run(400)
    assert board.output == 0
    assert board.told(EventKind.HANDED_OVER) == [Commander.HOST, Commander.LOCAL]
    board.armed()
    board.value = HIGH
    board.run(20)
    assert board.output > 0


@pytest.mark.parametrize("levelled", [1, 2])
def test_a_rod_that_is_levelled_stops_where_the_gang_is_given_back(levelled: int) -> None:
    """The input of axis 1 commands both, and would keep either going."""
    board = Alone(STICK, apart_um=3000).armed()
    board.connect()
    board.ask("hand_over", axis=1, commander=Commander.HOST)
    board.run(20)
    board.ask("level", axis=levelled, speed_um_s=500)
    board.run(4)
    assert board.board.fields().axis[levelled - 1].state == AxisState.JOG
    board.ask("hand_over", axis=1, commander=Commander.LOCAL)
    assert board.board.fields().axis[levelled - 1].state == AxisState.STOPPING


def test_hand_over_to_the_one_who_commands_changes_nothing() -> None:
    board = Alone(STICK).armed()
    board.connect()
    board.value = HIGH
    board.run(50)
    board.ask("hand_over", axis=0, commander=Commander.LOCAL)
    assert board.axis.state == AxisState.JOG
    assert board.told(EventKind.HANDED_OVER) == []


@pytest.mark.parametrize(
    ("axis", "commander", "place"), [(3, 0, 1), (255, 1, 1), (1, 2, 2), (0, 255, 2)]
)
def test_a_bad_hand_over_says_which_field(axis: int, commander: int, place: int) -> None:
    board = Alone(STICK)
    board.connect()
    board.replies.clear()
    payload = bytes((0x19, 3, (board.seq + 1) & 0xFF, axis, commander))
    board.tick(framing.encode(payload))
    assert board.replies[0].fields["status"] == Status.BAD_VALUE
    assert board.replies[0].fields["detail"] == place
    assert board.is_also(AxisAlso.LOCAL)


def test_without_an_input_the_host_commands_whatever_was_said() -> None:
    board = Alone(0)
    board.connect()
    board.run(1)
    assert not board.axis.also
    board.ask("hand_over", axis=1, commander=Commander.LOCAL)
    board.run(SILENT_TICKS + 10)
    assert not board.axis.also
    board.ask("jog", axis=1, unit=1, value=2000)


def test_a_host_that_took_over_and_fell_silent_has_left_after_10_s() -> None:
    board = Alone(STICK)
    board.connect()
    board.ask("hand_over", axis=1, commander=Commander.HOST)
    board.run(SILENT_TICKS)
    assert not board.is_also(AxisAlso.LOCAL)
    board.tick()
    assert board.is_also(AxisAlso.LOCAL)
    assert not board.is_also(AxisAlso.ARMED)
    assert board.told(EventKind.HANDED_OVER) == [Commander.HOST, Commander.LOCAL]


def test_any_good_frame_of_its_session_keeps_an_axis_with_the_host() -> None:
    board = Alone(STICK)
    board.connect()
    board.ask("hand_over", axis=1, commander=Commander.HOST)
    for _ in range(2):
        board.run(SILENT_TICKS - 2)
        board.ask("counters")
    assert not board.is_also(AxisAlso.LOCAL)
    for _ in range(12):  # another's frames do not
        board.run(199)
        payload = bytes((0x02, 77, 1))
        board.tick(framing.encode(payload))
    assert board.is_also(AxisAlso.LOCAL)


def test_an_input_set_by_a_host_leaves_the_axis_with_it_for_now() -> None:
    """A commit hands nothing over; 10 s after the host's last word the input has the axis."""
    board = Alone(0)
    board.connect()
    board.change(local_source=STICK)
    board.run(100)
    assert not board.is_also(AxisAlso.LOCAL)
    board.run(SILENT_TICKS)
    assert board.is_also(AxisAlso.LOCAL)


def test_a_commit_disarms() -> None:
    board = Alone(STICK).armed()
    board.connect()
    board.run(50)
    board.change(local_rest=1490)
    assert not board.is_also(AxisAlso.ARMED)
    assert board.is_also(AxisAlso.LOCAL)


def test_what_the_board_reads_is_in_its_telemetry() -> None:
    board = Alone(PULSE)
    board.connect()
    board.value = 1777
    board.ask("subscribe", axis_period_ms=10, board_period_ms=50)
    board.run(30)
    frames = [e.fields for e in board.events if "local_1" in e.fields]
    assert frames[-1]["local_1"] == 1777
    flags = [
        e.fields["also"] for e in board.events if e.fields.get("axis") == 1 and "also" in e.fields
    ]
    assert flags[-1] == AxisAlso.LOCAL


# ---------------------------------------------------------------- duty


def test_a_spent_budget_refuses_it_until_rest() -> None:
    board = Alone(STICK, duty_share_permille=10, duty_window_s=60).armed()
    board.value = HIGH
    board.run(400)
    assert board.axis.ended == Ended.DUTY
    assert board.output == 0
    board.value = LOW
    board.run(50)
    assert board.output == 0
    assert not board.is_also(AxisAlso.ARMED)
