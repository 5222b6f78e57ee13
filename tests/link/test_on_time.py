"""Fifty moves cost exactly their on-time, in ticks, whatever restarts between them.

The truth is counted at the H-bridge, tick by tick; the board's own count, the outcomes' and the
budget that is left must agree with it to the tick.
"""

from __future__ import annotations

import pytest
from rodbench_protocol.names import Ended

from tests.link.fifty_moves import fifty
from tests.link.rig import KINDS, SETTINGS, Recorded, direct

MOVES = 50
COMMANDS = 3  # here; `python -m tests.link.fifty_moves` runs fifty
WINDOW_TICKS = 200 * 1200
SHARE = 0.25


def board_sample(board):
    board.watch(0.3)
    return board.last_board


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("restarts", [False, True], ids=["in a row", "a restart before each"])
def test_fifty_moves(kind, restarts):
    recorded = Recorded(KINDS[kind]())
    board, clock = direct(recorded, **SETTINGS)
    board.store()
    recorded.ticks.clear()
    told = 0
    for number in range(MOVES):
        if restarts:
            recorded.reset("external")
            clock.sleep(0.5)
            board.link.open_session()
        outcome = board.axis(1).move(50.0 if number % 2 else 55.0).finish(20.0)
        assert outcome.ended == Ended.REACHED
        told += outcome.on_ticks
    counted = recorded.on_ticks
    sample = board_sample(board)
    assert counted > MOVES * 50
    assert told == counted
    assert sample.on_ticks[0] == counted
    assert sample.duty_left_s[0] == pytest.approx((WINDOW_TICKS * SHARE - counted) / 200, abs=0.006)
    print(f"{kind}: {MOVES} moves, {counted} ticks on, {recorded.boots} starts")


@pytest.mark.parametrize("restarts", [False, True], ids=["in a row", "a restart before each"])
def test_commands_of_their_own(runtime, tmp_path, restarts):
    counted, told = fifty(next(iter(KINDS)), COMMANDS, restarts, str(tmp_path))
    assert told == counted > COMMANDS * 20
