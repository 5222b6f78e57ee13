"""Duty and heat through resets and power cuts: nothing is forgotten, too much by what is stated.

On-time is recounted from the outputs, and the record is read by the map in store.h.
"""

from __future__ import annotations

import random
from itertools import accumulate

import pytest
from rodbench_protocol import framing, messages
from rodbench_protocol.names import Ended, Status

from tests.core.bench import HOT_AT, HOT_PLACES, HOT_SIZE, hot_of
from tests.core.host import BLANK, EXTERNAL, SESSION, Host

UNIT, LEAD, AHEAD = 32, 64, 6016
TOO_MUCH = AHEAD + LEAD + UNIT - 1  # ticks for each cut in motion, at most
TOO_MUCH_AT_REST = LEAD + UNIT - 1
WRITTEN = 12  # ticks in which a record is
BUDGET = 60_000


class Board(Host):
    """An uncalibrated rod on each axis; jogs, and counts its own ticks with output."""

    def __init__(self, image: bytes = BLANK, **changes: int) -> None:
        self.driven: list[bool] = []
        super().__init__(image)
        if image == BLANK:
            self.change(**({"feedback": 1} | changes))
            self.store()

    def tick(self, data: bytes = b"", keep: bool = True) -> None:
        super().tick(data, keep)
        self.driven.append(self.board.outputs().drive[0] != 0)

    def jog(self, ticks: int, value: int = 300) -> None:
        """Asks, then renews for so many ticks."""
        if self.status("jog", axis=1, unit=0, value=value) != Status.OK:
            return
        for _ in range(ticks):
            now = self.board.fields().tick
            self.tick(framing.encode(messages.pack("alive", SESSION, 0, tick=now)))

    def rest(self, ticks: int) -> None:
        for _ in range(ticks):
            self.tick()

    @property
    def on(self) -> int:
        return sum(self.driven)

    @property
    def used(self) -> int:
        return int(self.board.fields().axis[0].duty_used)


def told(image: bytes) -> int:
    """Ticks of axis 1 that the memory tells of."""
    record = hot_of(image)
    return record[1] * UNIT if record else 0


def test_fifty_resets_forget_no_tick() -> None:
    board = Board()
    for _ in range(50):
        board.jog(40)
        board.again(EXTERNAL)
        assert board.used == board.on
    assert board.on > 50 * 30


def test_fifty_power_cuts_forget_nothing_and_add_no_more_than_stated() -> None:
    """At every moment of a short motion; the rods' whole on-time lies in the window."""
    board = Board(duty_share_permille=1000, duty_window_s=7200)
    rng = random.Random(4)
    for cut in range(1, 51):
        board.jog(rng.randrange(60))
        board.power_loss()
        assert board.on <= board.used <= board.on + cut * TOO_MUCH
    assert board.on > 50


def test_power_cycles_without_motion_add_the_lead_each() -> None:
    board = Board()
    for cut in range(1, 51):
        board.rest(WRITTEN)
        board.power_loss()
        assert board.used <= cut * TOO_MUCH_AT_REST


def test_the_memory_tells_of_every_tick_before_it_is_driven() -> None:
    board = Board()
    for _ in range(40):
        board.jog(200)
        assert told(board.image) >= board.on
    assert board.on > AHEAD + LEAD  # a second record was needed on the way


def test_a_budget_of_its_own_holds_through_cuts() -> None:
    """An independent recount: no more on-time in 60 s than the share, whatever is cut."""
    board = Board(duty_share_permille=600, duty_window_s=60)
    window, budget = 60 * 200, 60 * 200 * 0.6
    rng = random.Random(8)
    for cut in range(120):
        board.jog(rng.randrange(300))
        board.rest(rng.randrange(300))
        if cut % 15 == 0:
            board.power_loss()
    counted = list(accumulate(board.driven, initial=0))
    assert len(board.driven) > 1.5 * window
    assert max(b - a for a, b in zip(counted, counted[window:], strict=False)) <= budget
    assert counted[-1] > 200


def test_at_rest_the_record_comes_down_to_what_is_spent() -> None:
    board = Board()
    board.jog(100)
    board.rest(100)
    assert told(board.image) >= AHEAD
    board.rest(131_072)
    assert board.used <= told(board.image) <= board.used + LEAD + UNIT
    written = [a for a, _ in board.writes if HOT_AT <= a < HOT_AT + HOT_PLACES * HOT_SIZE]
    board.rest(120_000)  # 10 minutes
    again = [a for a, _ in board.writes if HOT_AT <= a < HOT_AT + HOT_PLACES * HOT_SIZE]
    assert len(again) - len(written) <= HOT_SIZE + 1  # one record


@pytest.mark.parametrize("garbage", ["old", "new", "erased", "anded", "random"])
def test_a_cut_at_every_byte_leaves_a_record_that_tells_enough(garbage: str) -> None:
    board = Board()
    board.jog(60)
    board.rest(60)
    board.again(EXTERNAL)  # so that the next motion writes again
    board.writes.clear()
    before = bytearray(board.image)
    on = board.on
    board.jog(40)
    rng = random.Random(3)
    writes = [w for w in board.writes if HOT_AT <= w[0] < HOT_AT + HOT_PLACES * HOT_SIZE]
    assert len(writes) >= 2 * 4
    for address, value in writes:
        torn = {
            "old": before[address],
            "new": value,
            "erased": 0xFF,
            "anded": before[address] & value,
            "random": rng.randrange(256),
        }[garbage]
        image = bytearray(before)
        image[address] = torn
        again = Board(bytes(image))
        assert again.used >= on
        again.jog(30)
        assert again.on > 0
        before[address] = value


def test_without_a_memory_that_takes_bytes_nothing_is_driven_for_long() -> None:
    """More than is told in advance: it ends as for a spent budget, and does not begin again."""
    board = Board()
    board.rest(WRITTEN)
    board.status("jog", axis=1, unit=0, value=300)
    for _ in range(200):
        now = board.board.fields().tick
        board.tick(framing.encode(messages.pack("alive", SESSION, 0, tick=now)), keep=False)
    assert board.on == LEAD
    assert board.board.fields().axis[0].ended == Ended.DUTY
    assert told(board.image) >= board.on


class Worn(Board):
    """One place of the hot record takes no bytes any more."""

    def tick(self, data: bytes = b"", keep: bool = True) -> None:
        super().tick(data, keep)
        self.board.eeprom[HOT_AT + self.bad * HOT_SIZE + 4] = 0xFF

    def __init__(self, bad: int) -> None:
        self.bad = bad
        super().__init__()


@pytest.mark.parametrize("bad", range(6))
def test_what_a_worn_place_does_not_take_counts_from_the_next(bad: int) -> None:
    """Its check byte is of the number that it has there."""
    board = Worn(bad)
    for _ in range(3):
        board.jog(300)
        board.rest(500)  # all tries at a byte that does not stay, and the record again
        assert told(board.image) >= board.on > 0
        assert hot_of(board.image)[0] % HOT_PLACES != bad
    board.power_loss()
    assert board.used >= board.on


def spent(share: int = 100) -> Board:
    """A board cut in motion, with off-time yet to be told."""
    board = Board(duty_share_permille=share, duty_window_s=600)
    board.jog(500)
    board.power_loss()
    return board


def test_off_time_is_credited_once_and_only_after_a_power_loss() -> None:
    board = spent()
    before = board.used
    assert board.status("credit_off", off_s=300) == Status.OK
    board.rest(1)
    assert 0 < board.used <= before + TOO_MUCH_AT_REST
    assert board.status("credit_off", off_s=300) == Status.NOTHING_KEPT
    board.again(EXTERNAL)
    assert board.status("credit_off", off_s=300) == Status.NOTHING_KEPT


def test_a_reset_before_it_is_told_does_not_matter() -> None:
    """A cable that is plugged in restarts most boards, once their power is on."""
    board = spent()
    before = board.used
    for _ in range(3):
        board.again(EXTERNAL)
    assert board.used == before
    assert board.status("credit_off", off_s=700) == Status.OK
    board.rest(1)
    assert board.used == 0


@pytest.mark.parametrize("resets", [0, 1, 2])
def test_off_time_is_not_credited_after_a_motion(resets: int) -> None:
    board = spent(900)
    board.rest(30)
    board.jog(10)
    assert board.driven[-1]
    for _ in range(resets):
        board.again(EXTERNAL)
    assert board.status("credit_off", off_s=300) == Status.NOTHING_KEPT


@pytest.mark.parametrize("off_s", [0, 60, 300, 560, 599, 700, 70_000, 2**31 + 9, 2**32 - 1])
def test_what_is_credited_was_at_least_so_long_ago(off_s: int) -> None:
    """It counts until the window is over since it was spent, and a bin longer at most."""
    board = spent()
    assert board.status("credit_off", off_s=off_s) == Status.OK
    board.rest(1)
    left_s = max(0, 600 - off_s)
    if off_s >= 700 and off_s < 2**31:
        assert board.used == 0
    if left_s:
        assert board.used > 0
    waited = 0
    while board.used and waited < 125_000:
        board.rest(200)
        waited += 200
    assert board.used == 0
    assert waited >= (left_s - 1) * 200 if left_s else True
    if off_s < 2**31:
        assert waited <= (left_s + 2 * 20 + 2) * 200


def test_a_refusal_tells_how_long_to_wait() -> None:
    board = spent(20)  # 12 s of 600: all spent
    assert board.status("jog", axis=1, unit=0, value=300) == Status.DUTY_SPENT
    wait = board.replies[0].fields["detail"]
    assert 580 <= wait <= 620
    board.rest((wait - 1) * 200 - 1)
    assert board.status("jog", axis=1, unit=0, value=300) == Status.DUTY_SPENT
    board.rest(400)
    assert board.status("jog", axis=1, unit=0, value=300) == Status.OK


def test_telemetry_tells_when_all_is_there_again() -> None:
    board = Board(duty_share_permille=500, duty_window_s=60)
    board.jog(300)
    board.rest(200)
    board.ask("subscribe", axis_period_ms=0, board_period_ms=50)
    board.events.clear()
    board.rest(12)
    ready = next(e.fields["duty_ready_1_ms"] for e in board.events if e.name == "telemetry_board")
    waited = 0
    while board.used:
        board.rest(1)
        waited += 5
    assert waited <= ready <= waited + 60
