"""What is missing is told: frames, time, starts of the board; and nothing is told that is there."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rodbench.record.account import Account, Frame
from rodbench.record.recording import Recording

from tests.record.bench import FakeBoard, event, recorder, sample, supply, telemetry


class Feed:
    """Frames at 100 Hz of one axis into a recorder, with holes where a test makes them."""

    def __init__(self, folder: Path) -> None:
        self.board = FakeBoard()
        self.recorder = recorder(folder, self.board)
        self.counter, self.tick = 0, 1000

    def frames(self, count: int, taken: bool = True) -> None:
        for _ in range(count):
            self.board.clock.sleep(0.01)
            self.counter, self.tick = (self.counter + 1) & 0xFF, (self.tick + 2) % 2**32
            if taken:
                wire = telemetry(self.counter, self.tick)
                self.recorder.take(sample(wire), self.board.clock.now())
        self.recorder.tend()

    def restart(self, nonce: int) -> None:
        self.board.link.hello_fields = {**self.board.link.hello_fields, "boot_nonce": nonce}
        self.counter, self.tick = 255, 0

    def read(self) -> Recording:
        return Recording.open(self.recorder.close())


@pytest.fixture
def feed(tmp_path: Path) -> Feed:
    return Feed(tmp_path)


def test_a_whole_run_has_no_gap(feed: Feed) -> None:
    feed.frames(700)  # the counter turns twice
    read = feed.read()
    assert read.gaps == []
    assert read.duration_s == pytest.approx(6.99)


@pytest.mark.parametrize("missing", [1, 2, 40])
def test_missing_frames_are_counted(feed: Feed, missing: int) -> None:
    feed.frames(100)
    feed.frames(missing, taken=False)
    feed.frames(100)
    (gap,) = feed.read().gaps
    assert gap.missed == missing
    assert gap.start_s == pytest.approx(0.99)
    assert gap.end_s == pytest.approx(0.99 + 0.01 * (missing + 1))
    assert gap.why == "frames did not come"


def test_a_turn_of_the_counter_hides_nothing(feed: Feed) -> None:
    """256 frames later the counter goes on as if nothing had been lost; the tick does not."""
    feed.frames(100)
    feed.frames(256, taken=False)
    feed.frames(100)
    (gap,) = feed.read().gaps
    assert gap.missed is None
    assert gap.end_s - gap.start_s == pytest.approx(2.57)


def test_a_frame_lost_before_an_event_shows(feed: Feed) -> None:
    feed.frames(10)
    wire = event(feed.counter + 2, feed.tick)
    feed.recorder.take(sample(wire), feed.board.clock.now())
    assert [gap.missed for gap in feed.read().gaps] == [1]


def test_one_that_was_too_slow_is_told_why(feed: Feed) -> None:
    feed.frames(10)
    feed.frames(5, taken=False)
    feed.board.dropped = 5
    feed.frames(10)
    (gap,) = feed.read().gaps
    assert (gap.missed, gap.why) == (5, "this computer was too slow to take them")


def test_a_lost_port_is_a_gap_and_the_board_goes_on(feed: Feed) -> None:
    feed.frames(100)
    feed.recorder.mark("lost", why="the port is gone")
    feed.frames(300, taken=False)
    feed.frames(100)
    read = feed.read()
    (gap,) = read.gaps
    assert (gap.why, gap.missed) == ("the port is gone", None)
    assert gap.end_s - gap.start_s == pytest.approx(3.01)
    assert [mark["what"] for _, mark in read.marks] == ["lost", "back"]
    assert read.duration_s == pytest.approx(4.99)


def test_frames_that_waited_when_the_loss_was_told_are_not_behind_the_gap(feed: Feed) -> None:
    feed.frames(100)
    feed.recorder.mark("lost", why="the port is gone")
    feed.frames(20)
    feed.frames(300, taken=False)
    feed.frames(100)
    (gap,) = feed.read().gaps
    assert (gap.start_s, gap.end_s) == (pytest.approx(1.19), pytest.approx(4.20))


def test_a_new_start_of_the_board_goes_on_by_the_hosts_clock(feed: Feed) -> None:
    feed.frames(100)
    feed.recorder.mark("lost", why="the board started anew")
    feed.board.clock.sleep(2.0)
    feed.restart(nonce=78)
    feed.frames(100)
    read = feed.read()
    (gap,) = read.gaps
    assert gap.why == "the board started anew"
    assert gap.start_s == pytest.approx(0.99)
    assert gap.end_s == pytest.approx(0.99 + 2.01)
    times = read.axis(1, ["t_s"])["t_s"]
    assert (times[1:] > times[:-1]).all()
    assert len(times) == 200


def test_a_start_that_has_run_longer_than_the_one_before_is_a_new_one(feed: Feed) -> None:
    feed.frames(100)
    feed.board.clock.sleep(60.0)
    feed.restart(nonce=78)
    feed.tick = 9000  # 45 s after it started: ahead of the old count
    feed.frames(100)
    read = feed.read()
    (gap,) = read.gaps
    assert gap.why == "the board started anew"
    assert gap.end_s - gap.start_s == pytest.approx(60.01)


def test_old_frames_that_come_after_the_new_hello_are_of_the_old_start(feed: Feed) -> None:
    feed.frames(100)
    feed.board.link.hello_fields = {**feed.board.link.hello_fields, "boot_nonce": 78}
    feed.frames(30)
    feed.restart(nonce=78)
    feed.frames(100)
    (gap,) = feed.read().gaps
    assert gap.start_s == pytest.approx(1.29)


def test_the_tick_may_wrap(feed: Feed) -> None:
    feed.tick = 2**32 - 101
    feed.frames(100)
    read = feed.read()
    assert not read.gaps
    assert read.duration_s == pytest.approx(0.99)


def test_a_recording_that_ends_while_nothing_comes(feed: Feed) -> None:
    feed.frames(100)
    feed.recorder.mark("lost", why="the port is gone")
    feed.board.clock.sleep(5.0)
    (gap,) = feed.read().gaps
    assert gap.end_s - gap.start_s == pytest.approx(5.0)


@given(st.lists(st.tuples(st.integers(1, 30), st.integers(0, 48)), min_size=1, max_size=20))
@settings(deadline=None)
def test_all_that_is_missing_is_counted_exactly(runs):
    """Any pattern of frames that come and are lost, below half a second at a time."""
    account, counter, tick = Account(nonce=1), 0, 0
    account.see(Frame(0, 0, True, 0), 1)
    told = []
    for taken, lost in runs:
        for _ in range(taken):
            counter, tick = (counter + 1) & 0xFF, tick + 2
            told.append(account.see(Frame(counter, tick, True, 5000 * tick), 1))
        counter, tick = (counter + lost) & 0xFF, tick + 2 * lost
    wanted = [lost for _, lost in runs[:-1] if lost]
    assert [gap["missed"] for gap in told if gap] == wanted
    assert account.missed == sum(wanted)
    assert account.gaps == len(wanted)


def test_supply_frames_count_too(feed: Feed) -> None:
    feed.frames(3)
    feed.counter += 1
    feed.recorder.take(sample(supply(feed.counter, feed.tick)), feed.board.clock.now())
    feed.frames(3)
    assert feed.read().gaps == []


def test_settings_are_looked_at_after_a_new_start(feed: Feed) -> None:
    feed.frames(100)
    feed.restart(nonce=78)
    feed.board.live = 0x22222222
    feed.frames(20)
    assert [change.digest for change in feed.read().settings] == ["ABCD1234", "22222222"]
