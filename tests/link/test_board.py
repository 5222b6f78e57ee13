"""The typed API on an emulated board in virtual time: units, settings, motions, refusals."""

from __future__ import annotations

import itertools

import pytest
from rodbench.board import BoardSample, Event, check_outcome
from rodbench.errors import Faulted, LinkLost, Refused, SettingsError, UsageError
from rodbench_protocol.names import AxisState, Ended, EventKind, Fault, ResetCause
from rodbench_protocol.settings import defaults, digest_all, digest_scope

from tests import boards
from tests.link.rig import DECELERATION_UM_S2, SETTINGS, Recorded, direct, emulated


@pytest.fixture
def bare():
    recorded = Recorded(emulated())
    board, clock = direct(recorded)
    return board, recorded, clock


@pytest.fixture
def ready():
    recorded = Recorded(emulated())
    board, clock = direct(recorded, **SETTINGS)
    return board, recorded, clock


def truth(recorded):
    return recorded.rig.plants[1].position_mm


# -- settings


def test_a_blank_board_has_the_schema_s_defaults(bare):
    board, _, _ = bare
    assert board.read_scope(0) == defaults("board")
    axes = [board.read_scope(scope) for scope in board.scopes[1:]]
    assert axes == [defaults("axis")] * boards.kind().axes
    assert board.hello.digest_live == digest_all(defaults("board"), *axes)
    assert board.hello.digest_stored == 0


def test_writing_a_scope_gives_the_digest_that_the_host_reckons(bare):
    board, _, _ = bare
    wanted = defaults("axis") | SETTINGS
    assert board.write_scope(1, SETTINGS) == digest_scope("axis", wanted)
    assert board.read_scope(1) == wanted
    assert all(board.read_scope(scope) == defaults("axis") for scope in board.scopes[2:])
    assert board.digests()["axis_1"] == digest_scope("axis", wanted)


def test_checking_changes_nothing_and_leaves_no_draft(bare):
    board, _, _ = bare
    before = board.digests()
    assert board.check_scope(1, SETTINGS) == digest_scope("axis", defaults("axis") | SETTINGS)
    assert board.digests() == before
    with pytest.raises(Refused) as caught:
        board.request("draft_commit", scope=1)
    assert caught.value.status_name == "no_draft"


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"trip_ma": 5}, "axis 1 trip_ma is outside 50..30000"),
        ({"soft_stop_min_um": 94_900}, "axis 1 soft_stop_min_um: the soft stops must be"),
        ({"running_ma": 5_000}, "axis 1 trip_ma: the trip lies at or below the running current"),
        ({"stroke_um": 110_000}, "only through calibrated = 0"),
    ],
)
def test_a_refused_setting_is_named_and_nothing_changes(ready, values, words):
    board, _, _ = ready
    before = board.read_scope(1)
    with pytest.raises(Refused) as caught:
        board.write_scope(1, SETTINGS | values)
    assert words in str(caught.value)
    assert caught.value.kept
    assert board.read_scope(1) == before
    with pytest.raises(Refused, match="no draft"):
        board.request("draft_commit", scope=1)


def test_an_unknown_key_is_not_sent(bare):
    board, _, _ = bare
    with pytest.raises(SettingsError, match="no_such"):
        board.write_scope(1, {"no_such": 1})


def test_a_draft_that_a_restart_dropped_is_told_and_nothing_changes(bare):
    board, recorded, clock = bare
    before = board.read_scope(1)
    board.request("draft_begin", scope=1)
    recorded.reset("external")
    clock.sleep(0.5)
    with pytest.raises(LinkLost) as caught:
        board.request("draft_set", scope=1, items=[{"key": 20, "value": 3000}])
    assert "started anew (external)" in str(caught.value)
    assert "draft" in caught.value.kept
    assert board.read_scope(1) == before


def test_a_restart_in_the_middle_of_a_write_is_told(bare):
    board, recorded, _ = bare
    send = board.link._transport.write
    sent = []

    def write(data):
        sent.append(data)
        if len(sent) == 3:
            recorded.reset("external")
        send(data)

    board.link._transport.write = write
    with pytest.raises(LinkLost, match="started anew"):
        board.write_scope(1, SETTINGS)
    assert board.read_scope(1) == defaults("axis")


def test_settings_may_not_change_in_motion(ready):
    board, _, _ = ready
    with board.axis(1).jog(5.0) as motion:
        motion.wait(0.5)
        with pytest.raises(Refused) as caught:
            board.write_scope(1, {"trip_ma": 3_000})
        assert caught.value.status_name == "in_motion"
    assert board.read_scope(1)["trip_ma"] == 4_000


def test_what_is_stored_survives_a_restart_and_what_is_not_does_not(bare):
    board, _, _ = bare
    assert board.write_scope(1, SETTINGS, store=True)
    stored = board.digests()
    assert stored["stored"] == stored["live"]
    board.write_scope(1, {"trip_ma": 2_222})
    hello = board.restart()
    assert hello.reset_cause == ResetCause.RESTART
    assert hello.digest_live == hello.digest_stored == stored["stored"]
    assert board.read_scope(1)["trip_ma"] == SETTINGS["trip_ma"]


def test_a_store_whose_event_is_lost_still_ends(bare):
    board, _, _ = bare
    poll = board.link.poll
    board.link.poll = lambda t: [u for u in poll(t) if not hasattr(u, "kind")]
    board.write_scope(1, SETTINGS, store=True)
    digests = board.digests()
    assert digests["stored"] == digests["live"]


# -- motions


def test_an_uncalibrated_axis_jogs_by_output_at_creep_and_says_so(bare):
    board, recorded, _ = bare
    board.write_scope(1, {"feedback": 1})
    axis = board.axis(1)
    with pytest.raises(Refused) as caught:
        axis.move(50.0)
    assert caught.value.status_name == "uncalibrated"
    start = truth(recorded)
    with axis.jog_output(0.9) as motion:
        assert motion.wait(1.0) is None
        sample = board.last_axis[1]
        assert sample.output == pytest.approx(0.3)
        assert sample.position_mm is None
        assert sample.speed_raw_s > 0
    assert motion.ended.ended == Ended.STOPPED
    assert truth(recorded) > start + 1.0


def test_an_axis_without_a_rod_does_not_move(bare):
    board, _, _ = bare
    with pytest.raises(Refused) as caught:
        board.axis(1).jog_output(0.2)
    assert caught.value.status_name == "not_fitted"
    beyond = boards.kind().axes + 1
    with pytest.raises(UsageError, match=f"no axis {beyond}"):
        board.axis(beyond)


def test_a_move_arrives_and_reads_in_mm(ready):
    board, recorded, _ = ready
    outcome = board.axis(1).move(60.0).finish(20.0)
    assert outcome.ended == Ended.REACHED
    assert truth(recorded) == pytest.approx(60.0, abs=1.0)
    assert outcome.position_mm == pytest.approx(truth(recorded), abs=0.5)
    assert outcome.on_ticks == recorded.on_ticks
    assert check_outcome(outcome) is outcome


def test_a_speed_may_be_asked_for(ready):
    board, recorded, _ = ready
    board.axis(1).move(50.0).finish(20.0)  # proven now
    recorded.ticks.clear()
    board.axis(1).move(80.0, 5.0).finish(30.0)
    assert max(t.speed_mm_s for t in recorded.ticks) == pytest.approx(5.0, rel=0.15)


def test_a_jog_changes_speed_and_direction_and_ends_at_rest(ready):
    board, recorded, _ = ready
    board.axis(1).move(50.0).finish(20.0)
    with board.axis(1).jog(3.0) as motion:
        motion.wait(1.0)
        assert recorded.ticks[-1].speed_mm_s == pytest.approx(3.0, rel=0.2)
        motion.change(8.0)
        motion.wait(1.0)
        assert recorded.ticks[-1].speed_mm_s == pytest.approx(8.0, rel=0.2)
        motion.change(-5.0)
        assert motion.wait(1.5) is None
        assert recorded.ticks[-1].speed_mm_s == pytest.approx(-5.0, rel=0.2)
    assert motion.ended is not None
    assert recorded.ticks[-1].drive == 0


def test_a_jog_ends_at_the_soft_stop_by_itself(ready):
    board, recorded, _ = ready
    outcome = board.axis(1).jog(10.0).finish(30.0)
    assert outcome.ended == Ended.SOFT_STOP
    assert 94.0 < truth(recorded) <= 95.2


def test_until_returns_with_the_motion_going_on(ready):
    board, _, _ = ready
    with board.axis(1).move(90.0) as motion:
        assert motion.wait(until=lambda s: s.position_mm > 50.0) is None
        assert motion.ended is None
        assert board.last_axis[1].position_mm > 50.0
    assert motion.ended.ended == Ended.STOPPED
    assert motion.ended.position_mm < 60.0


def test_who_does_not_loop_lets_the_hold_lapse(ready):
    board, recorded, clock = ready
    motion = board.axis(1).jog(5.0)
    at = len(recorded.ticks)
    clock.sleep(1.0)
    assert not any(t.drive for t in recorded.ticks[at + 50 + 25 + 12 :])
    assert motion.wait().ended == Ended.SILENCE


def test_a_second_motion_replaces_the_first(ready):
    board, _, _ = ready
    first = board.axis(1).move(90.0)
    first.wait(0.5)
    second = board.axis(1).move(20.0)
    assert first.wait().ended == Ended.REPLACED
    assert second.finish(30.0).ended == Ended.REACHED


def test_an_error_in_the_caller_s_loop_stops_the_rod_first(ready):
    board, recorded, clock = ready

    def wrong():
        with board.axis(1).jog(8.0) as motion:
            motion.wait(1.0)
            _ = 1 // 0

    with pytest.raises(ZeroDivisionError):
        wrong()
    at = len(recorded.ticks)
    clock.sleep(1.0)
    ramp = 200 * 8_000 // DECELERATION_UM_S2
    assert not any(t.drive for t in recorded.ticks[at + ramp + 14 :])
    assert board.outcome(1).ended == Ended.STOPPED


def test_closing_the_board_stops_a_motion(ready):
    board, recorded, clock = ready
    board.axis(1).jog(8.0).wait(1.0)
    board.close()
    clock.sleep(0.5)
    assert recorded.ticks[-1].drive == 0


def test_a_fault_is_told_and_cleared(ready):
    board, recorded, _ = ready
    with board.axis(1).move(90.0) as motion:
        motion.wait(until=lambda s: s.position_mm > 50.0)
        recorded.rig.set_fault("jam", 1, 70.0)
        outcome = motion.finish(10.0)
    assert outcome.ended == Ended.FAULT
    with pytest.raises(Faulted) as caught:
        check_outcome(outcome)
    assert (caught.value.axis, caught.value.fault) == (1, outcome.cause)
    assert Fault(outcome.cause) in (Fault.STALL, Fault.OVER_CURRENT)
    assert board.axis(1).sample().state == AxisState.FAULT
    with pytest.raises(Refused) as refused:
        board.axis(1).move(20.0)
    assert refused.value.status_name == "faulted"
    assert Fault(outcome.cause).name.lower() in str(refused.value)
    recorded.rig.clear_fault("jam", 1)
    assert board.clear(1) == 1 << (outcome.cause - 1)
    assert board.axis(1).sample().state == AxisState.IDLE


def test_a_restart_while_moving_is_told(ready):
    board, recorded, _ = ready
    motion = board.axis(1).jog(5.0)
    motion.wait(0.5)
    recorded.reset("external")
    with pytest.raises(LinkLost, match="started anew"):
        motion.wait(3.0)
    assert recorded.ticks[-1].drive == 0
    board.counters()  # a new session by itself
    assert board.outcome(1).ended == Ended.NONE


# -- what comes unasked


def test_telemetry_in_units_at_the_asked_periods(ready):
    board, recorded, _ = ready
    board.subscribe(0.02, 0.1)
    samples = board.watch(1.0)
    axis = [s for s in samples if getattr(s, "axis", None) == 1 and not isinstance(s, Event)]
    assert 48 <= len(axis) <= 51
    assert {b.tick - a.tick for a, b in itertools.pairwise(axis)} == {4}
    assert axis[-1].position_mm == pytest.approx(truth(recorded), abs=0.5)
    slow = [s for s in samples if isinstance(s, BoardSample)]
    assert 9 <= len(slow) <= 11
    assert slow[-1].supply_v == pytest.approx(12.0, abs=0.1)


def test_listeners_hear_events_in_the_caller_s_thread(ready):
    board, _, _ = ready
    heard = []
    board.listeners.append(heard.append)
    board.axis(1).move(45.0).finish(20.0)
    ends = [s for s in heard if isinstance(s, Event) and s.kind == EventKind.MOTION_ENDED]
    assert [e.cause for e in ends] == [Ended.REACHED]


def test_statistics_count(ready):
    board, _, _ = ready
    before = board.statistics().requests
    board.counters()
    seen = board.statistics()
    assert seen.requests == before + 1
    assert seen.frames_bad == 0
    assert 5.0 <= seen.round_trip_ms_median <= 10.0


@pytest.mark.parametrize("value", [float("inf"), float("nan"), 1e300, -1e300])
def test_a_number_that_no_field_holds_is_the_caller_s_mistake_and_nothing_is_sent(ready, value):
    board, _, _ = ready
    axis = board.axis(1)
    before = board.outcome(1).motion
    for ask in (axis.move, axis.jog, axis.run, lambda v: axis.move(50.0, v)):
        with pytest.raises(UsageError, match="beyond"):
            ask(value)
    assert board.outcome(1).motion == before
