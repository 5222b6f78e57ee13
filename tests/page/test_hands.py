"""Feed, hands and control without a browser, against an emulated board through its owner."""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import pytest
from rodbench.board import Board
from rodbench.errors import HeldError, Interrupted, Refused, RodbenchError, StopAsked, UsageError
from rodbench.page import capture
from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.hands import Hands
from rodbench.page.live import LiveFeed
from rodbench.page.replay import ReplayFeed
from rodbench.page.stopper import Stopper
from rodbench.record.recording import Recording
from rodbench.settings.units import Units
from rodbench_protocol.names import Ended

from tests.cli.conftest import wait_for
from tests.page.bench import TRIES, PageBench

ME, OTHER, WATCHER = "me", "other", "watcher"


@dataclass
class Set:
    bench: PageBench
    feed: LiveFeed
    hands: Hands
    control: Control

    def hold(self, seconds: float, page: str = ME) -> None:
        """Renew as a page does."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.hands.jog_renew(page, self.feed.tick)
            time.sleep(0.03)

    def run(self, begin: Callable[[], object], page: str = ME) -> None:
        """Until the rod has run for a while; begun anew where a busy computer was late."""
        for _ in range(TRIES):
            with contextlib.suppress(Interrupted):  # the press itself came late
                begin()
                self.hold(0.5, page)
                if all(self.bench.board.drives[-30:]):
                    return
            self.rest()
        raise AssertionError(f"the rod did not run on: {list(self.feed.notes)[-5:]}")

    def rest(self) -> None:
        """Until the board is at rest and commands of it are free."""
        self.bench.at_rest(self.bench.board.now - 31)
        wait_for(lambda: not self.feed.moving and self.feed.last_axis, what="rest")
        wait_for(lambda: not (self.hands.holds(ME) or self.hands.holds(OTHER)), what="free hands")


@pytest.fixture
def live(bench: PageBench, monkeypatch: pytest.MonkeyPatch) -> Iterator[Set]:
    for name in ("RODBENCH_RUNTIME", "RODBENCH_OWNER_IDLE"):
        monkeypatch.setenv(name, bench.env[name])
    bench.to_the_middle()
    feed = LiveFeed(lambda: Board.open(bench.port, folder=str(bench.folder), who="page"))
    machine = bench.folder / "machine.toml"
    feed.describe("bench", {1: "north"}, Units("mm"), machine, {})
    control = Control()
    stopper = Stopper(lambda: Board.open(bench.port, folder=str(bench.folder), who="stop"))
    hands = Hands(feed, control, feed, stopper)
    feed.begin()
    control.arrive(ME, "a page", True)
    control.arrive(OTHER, "another page", True)
    control.arrive(WATCHER, "a watcher", False)
    found = Set(bench, feed, hands, control)
    found.rest()
    yield found
    hands.close()
    feed.close()
    stopper.close()


def test_traces_and_strokes_follow_the_rod(live: Set) -> None:
    live.run(lambda: live.hands.jog_begin(ME, 1, 1))
    live.hands.jog_end(ME)
    live.rest()
    live.run(lambda: live.hands.jog_begin(ME, 1, -1))
    live.hands.jog_end(ME)
    live.rest()
    trace = live.feed.traces[1]
    assert len(trace) > 150
    assert (trace.t_s[1:] > trace.t_s[:-1]).all()
    assert trace.position_mm[-1] == pytest.approx(live.bench.position_mm, abs=0.3)
    assert trace.position_mm.max() - trace.position_mm.min() > 0.8
    assert {stroke.way for stroke in live.feed.strokes[1]} == {1, -1}
    assert all(stroke.over for stroke in live.feed.strokes[1])
    assert max(live.feed.strokes[1][0].current_a) > 0.3


def test_silence_is_a_release(live: Set) -> None:
    live.run(lambda: live.hands.jog_begin(ME, 1, 1))
    with live.bench.stops("no renewal any more"):
        pass
    live.rest()
    assert live.feed.ask(lambda board: board.outcome(1)).ended in (Ended.STOPPED, Ended.SILENCE)


def test_a_move_needs_its_page_too(live: Set) -> None:
    live.run(lambda: live.hands.move(ME, 1, 37.0))
    live.rest()  # nobody renews
    assert live.bench.position_mm < 36.0
    for _ in range(TRIES):
        if live.feed.last_axis[1].faults:
            live.hands.clear(ME)  # a busy computer was later than the board bears
        live.hands.move(ME, 1, 20.0)
        wait_for(lambda: live.hold(0.05) or not live.hands.holds(ME), 20.0, "the move's end")
        live.rest()
        if any("reached" in text for _, text in live.feed.notes):
            break
    assert live.bench.position_mm == pytest.approx(20.0, abs=0.6)


def test_a_move_is_stopped_by_who_takes_over(live: Set) -> None:
    live.run(lambda: live.hands.move(ME, 1, 37.0))
    with live.bench.stops("taken over", more_s=0.2):  # its speed is twice a jog's, and its ramp
        live.control.take(OTHER)
    with pytest.raises(HeldError, match="another page controls"):
        live.hands.move(ME, 1, 20.0)
    live.run(lambda: live.hands.jog_begin(OTHER, 1, -1), OTHER)
    live.control.leave(OTHER)
    live.rest()


def test_a_watcher_may_stop_and_nothing_else(live: Set) -> None:
    hands = live.hands
    asked = [
        lambda: hands.jog_begin(WATCHER, 1, 1),
        lambda: hands.move(WATCHER, 1, 30.0),
        lambda: hands.clear(WATCHER, 1),
        lambda: hands.store(WATCHER),
        lambda: hands.check(WATCHER, {}),
        lambda: hands.diff(WATCHER, {}),
        lambda: hands.commit(WATCHER, {}),
        lambda: hands.capture_endpoint(WATCHER, 1, "retracted"),
        lambda: hands.record_start(WATCHER),
        lambda: hands.record_stop(WATCHER),
        lambda: hands.set_jog_speed(WATCHER, 1, 1.0),
        lambda: live.control.take(WATCHER),
    ]
    for ask in asked:
        with pytest.raises(UsageError, match="this page only watches"):
            ask()
    hands.stop()
    assert live.bench.drive == 0


def test_stop_wins_over_what_is_on_its_way(live: Set) -> None:
    """A press that was asked for before the stop, and worked after it, begins nothing."""
    held = live.hands._take(ME, 1, "jog", None)
    live.hands.stop()
    with pytest.raises(Interrupted):
        live.hands._start(held, "jog", unit=1, value=4000)
    since = live.bench.board.now
    wait_for(lambda: live.bench.board.now > since + 60)
    assert not any(live.bench.board.drives[since:])


def test_limits_are_the_boards(live: Set) -> None:
    with pytest.raises(Refused):
        live.hands.move(ME, 1, 39.0)
    live.rest()
    with pytest.raises(UsageError):
        live.hands.move(ME, 2, 10.0)
    assert live.bench.drive == 0


# -- settings


def test_a_draft_is_checked_compared_and_committed(live: Set) -> None:
    before, new = live.feed.digest, {1: {"soft_stop_max_um": 35_000}}
    assert live.hands.check(ME, new) == []
    found = live.hands.diff(ME, new)
    told = [(d.name, d.shown(d.in_file)) for d in found]
    assert told == [("axes.1.limits.soft_stop_max_mm", "35.0")]
    assert live.feed.digest == before
    done = live.hands.commit(ME, new)
    assert done.digest == live.feed.digest != before
    assert live.feed.stored
    assert live.feed.scopes[1]["soft_stop_max_um"] == 35_000
    assert "soft_stop_max_mm = 35.0" in (live.bench.folder / "machine.toml").read_text()
    with pytest.raises(Refused):
        live.hands.move(ME, 1, 36.0)
    live.hands.commit(ME, {1: {"soft_stop_max_um": 38_000}})
    assert live.feed.digest == before


def test_settings_in_force_are_said_though_the_logbook_is_full(live: Set) -> None:
    logbook = live.bench.folder / "logbook"
    shutil.rmtree(logbook, ignore_errors=True)
    logbook.write_text("")  # stands in the folder's way
    try:
        done = live.hands.commit(ME, {1: {"trip_ma": 2700}})
        assert [change.on_board for change in done.changed] != [2700]
        assert "cannot be written" in done.notes[-1]
        assert done.notes[-1] in [text for _, text in live.feed.notes]
        assert live.feed.scopes[1]["trip_ma"] == 2700
    finally:
        logbook.unlink()


def test_a_draft_that_contradicts_itself_changes_nothing(live: Set) -> None:
    before = live.feed.digest
    file = (live.bench.folder / "machine.toml").read_text()
    wrong = {1: {"soft_stop_max_um": 1_000}}
    (said,) = live.hands.check(ME, wrong)
    assert "soft_stop" in said
    with pytest.raises(RodbenchError):
        live.hands.commit(ME, wrong)
    assert live.feed.ask(lambda board: board.digests()["live"]) == before
    assert (live.bench.folder / "machine.toml").read_text() == file


def test_a_draft_while_the_rod_moves_is_refused(live: Set) -> None:
    before = live.feed.digest
    live.run(lambda: live.hands.jog_begin(ME, 1, 1))
    with pytest.raises(UsageError, match="while a rod moves"):
        live.hands.commit(ME, {1: {"soft_stop_max_um": 35_000}})
    live.hands.jog_end(ME)
    live.rest()
    assert live.feed.ask(lambda board: board.digests()["live"]) == before


def standing(live: Set, position_mm: float, spread: int = 2) -> Feed:
    """What is heard of a rod that rests there for a second."""
    feed, sample = Feed(), live.feed.last_axis[1]
    feed.scopes = live.feed.scopes
    raw = round(8184 * (0.1 + 0.8 * position_mm / 40))
    for n in range(100):
        noisy = raw + (n % 2) * spread
        feed.take(replace(sample, tick=2 * n, raw=noisy, position_mm=position_mm))
    return feed


def test_an_endpoint_is_captured_only_at_rest_and_near_where_it_was(live: Set) -> None:
    with pytest.raises(UsageError, match="nothing has been heard"):
        capture.endpoint(Feed(), 1, "extended")
    with pytest.raises(UsageError, match="from its extended end"):
        capture.endpoint(standing(live, 20.0), 1, "extended")
    with pytest.raises(UsageError, match="does not rest"):
        capture.endpoint(standing(live, 39.5, spread=100), 1, "extended")
    found = capture.endpoint(standing(live, 39.5), 1, "extended")
    assert found.changes == {1: {"raw_extended": pytest.approx(8184 * 0.89 + 1, abs=1)}}
    found = capture.endpoint(standing(live, 0.4), 1, "retracted")
    assert found.changes == {1: {"raw_retracted": pytest.approx(8184 * 0.108 + 1, abs=1)}}
    before = live.feed.digest
    assert live.hands.check(ME, found.changes) == []
    live.hands.commit(ME, found.changes)
    assert live.feed.scopes[1]["raw_retracted"] == found.changes[1]["raw_retracted"]
    assert live.feed.scopes[1]["calibrated"]
    live.hands.commit(ME, {1: {"raw_retracted": 818}})
    assert live.feed.digest == before


def test_a_stop_of_another_command_is_told_to_the_page(live: Set) -> None:
    told, way = None, 1
    for _ in range(TRIES):  # a busy computer may end the jog before the stop comes
        with contextlib.suppress(StopAsked):  # that of the try before came late
            live.run(lambda: live.hands.jog_begin(ME, 1, way))  # noqa: B023
        stop = live.bench.start("stop")
        while live.hands.holds(ME) or stop.poll() is None:
            live.hold(0.03)
        live.rest()
        live.feed.ask(lambda board: None)  # how it ended is told in the board's thread
        if told := live.hands.errors.get(ME):
            break
        way = -way
    assert isinstance(told, StopAsked)
    assert told.message == (
        f"axis 1 was stopped: 'stop' (process {stop.pid}) asked for it; "
        "see why before you press again"
    )
    live.rest()
    live.run(lambda: live.hands.jog_begin(ME, 1, -1))  # pressed again: it runs
    assert live.hands.errors[ME] is None
    live.hands.jog_end(ME)
    live.rest()


def test_a_fault_of_the_program_itself_loses_the_board_and_it_comes_back(
    live: Set, capfd: pytest.CaptureFixture[str]
) -> None:
    lost: list[str] = []
    live.feed.losses.append(lost.append)
    failing = iter([True])

    def tend(board: Board) -> None:
        if next(failing, False):
            raise ZeroDivisionError("planted")

    live.feed.tenders.append(tend)
    wait_for(lambda: lost, what="the loss")
    assert "a fault of rodbench itself" in lost[0]
    wait_for(lambda: not live.feed.lost, what="the board again")
    assert live.feed.ask(lambda board: board.digests())
    assert "planted" in capfd.readouterr().err


# -- recordings


def test_a_recording_costs_no_frame_to_begin(live: Set) -> None:
    def unasked(*words: object) -> None:
        raise AssertionError("the board was asked")

    def begin(board: Board) -> str:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Board, "read_scope", unasked)
            patch.setattr(Board, "digests", unasked)
            return live.hands._recording().begin(board)

    path = live.bench.folder / "logbook" / "recordings" / live.feed.ask(begin)
    live.hands.record_stop(ME)
    (settings,) = Recording.open(path).settings
    assert int(settings.digest, 16) == live.feed.ask(lambda board: board.digests()["live"])
    assert settings.scopes == live.feed.ask(
        lambda board: {number: board.read_scope(number) for number in board.scopes}
    )


def test_a_recording_is_kept_and_replayed(live: Set) -> None:
    with pytest.raises(UsageError):
        live.hands.record_start(WATCHER)
    name = live.hands.record_start(ME)
    assert live.feed.recording == name
    with pytest.raises(UsageError, match="already recording"):
        live.hands.record_start(ME)
    live.run(lambda: live.hands.jog_begin(ME, 1, 1))
    live.hands.jog_end(ME)
    live.rest()
    path = live.bench.folder / "logbook" / "recordings" / name
    assert live.hands.record_stop(ME) == str(path)
    assert live.feed.recording == ""
    told = Recording.open(path)
    assert told.frames > 150
    # a board that answers a request has no room for each frame: each that is missing is counted
    assert all(gap.missed is not None and gap.missed < 3 for gap in told.gaps)
    feed = ReplayFeed(path, Units("mm"))
    feed.begin()
    feed.seek(told.duration_s)
    count = len(told.axis(1, ["t_s"])["t_s"])
    wait_for(lambda: len(feed.traces.get(1, ())) == count > 50, what=f"{count} samples")
    assert feed.replay
    assert feed.digest == live.feed.digest
    assert feed.traces[1].position_mm.max() - feed.traces[1].position_mm.min() > 0.8
    feed.seek(0.0)
    wait_for(lambda: len(feed.traces.get(1, ())) < 20)
    feed.playing = True
    wait_for(lambda: feed.at_s > 0.3 and len(feed.traces[1]) > 20)
    feed.playing = False
    hands = Hands(feed, Control())
    hands.control.arrive(ME, "a page", True)
    hands.stop()
    for ask in (lambda: hands.jog_begin(ME, 1, 1), lambda: hands.move(ME, 1, 1.0)):
        with pytest.raises(UsageError, match="a recording"):
            ask()
    feed.close()
