"""Time without power, told to a board that cannot know it."""

from __future__ import annotations

import math

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.errors import Refused, UsageError
from rodbench.link.transport import EmulatorTransport

from tests.link.fake_board import FakeBoard, FakeTransport
from tests.link.rig import SETTINGS, Recorded, direct, emulated

BUDGET_S = 15.0
DUTY = {"duty_share_permille": 250, "duty_window_s": 60, "rated_ma": 1000}


class Cut:
    """A rod that has run, was cut from power, and is on it again."""

    def __init__(self) -> None:
        self.recorded = Recorded(emulated())
        self.board, self.clock = direct(self.recorded, **SETTINGS, **DUTY)
        self.board.store()
        self.move(70.0)
        self.on_s = self.recorded.on_ticks * 0.005
        self.recorded.board.power_cut()
        self.open()

    def open(self) -> None:
        """As another program would: by hello and a session of its own."""
        self.clock.advance(400)
        self.board = Board.direct(EmulatorTransport(self.recorded, self.clock), self.clock)

    def move(self, target_mm: float) -> None:
        with self.board.axis(1).move(target_mm) as motion:
            motion.wait()

    def told(self):
        """What the board says of axis 1: duty left, time until all of it is there, heat."""
        self.board.watch(0.25)
        sample = self.board.last_board
        return sample.duty_left_s[0], sample.duty_ready_s[0], sample.heat[0]


def test_a_power_loss_earns_nothing_and_what_is_told_does():
    cut = Cut()
    assert cut.on_s > 3.0
    left, ready, heat = cut.told()
    assert left <= BUDGET_S - cut.on_s
    assert 0 < ready <= 62 + 2
    assert heat > 0
    cut.board.credit_off(7200)
    left, ready, cooler = cut.told()
    assert (left, ready) == (BUDGET_S, 0)
    assert cooler < heat / 2


def test_less_than_the_window_frees_nothing_yet():
    cut = Cut()
    before = cut.told()
    cut.board.credit_off(20)
    left, ready, _ = cut.told()
    assert left == before[0]
    assert before[1] - 25 < ready < before[1] - 15


def test_it_is_told_once():
    cut = Cut()
    cut.board.credit_off(20)
    for _ in range(2):
        with pytest.raises(Refused, match="only after power came on, before any motion, and once"):
            cut.board.credit_off(7200)
        cut.recorded.board.reset()
        cut.open()
    assert cut.told()[0] < BUDGET_S


def test_a_port_that_restarts_the_board_takes_nothing():
    cut = Cut()
    cut.recorded.board.reset()
    cut.open()
    cut.board.credit_off(7200)
    assert cut.told()[0] == BUDGET_S


def test_not_after_a_motion():
    cut = Cut()
    cut.board.write_scope(1, {"duty_share_permille": 1000})  # enough for one more
    cut.move(60.0)
    with pytest.raises(Refused) as caught:
        cut.board.credit_off(7200)
    assert caught.value.status_name == "nothing_kept"
    assert "rest" in caught.value.hint


def test_days_are_as_good_as_what_the_board_counts():
    cut = Cut()
    cut.board.credit_off(30 * 86400.0)
    assert cut.told()[0] == BUDGET_S


@pytest.mark.parametrize("seconds", [0, -5, math.nan, math.inf])
def test_what_is_no_time_is_not_sent(seconds):
    cut = Cut()
    with pytest.raises(UsageError, match="no time without power"):
        cut.board.credit_off(seconds)
    cut.board.credit_off(7200)  # nothing was used up


def test_an_older_board_is_not_asked():
    clock = VirtualClock()
    transport = FakeTransport(FakeBoard(minor=1), clock)
    board = Board.direct(transport, clock)
    with pytest.raises(Refused, match=r"keeps no duty .* protocol 1\.1"):
        board.credit_off(60)
    assert "credit_off" not in [name for name, _ in transport.board.carried_out]
