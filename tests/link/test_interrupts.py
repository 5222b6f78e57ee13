"""Ctrl-C at every stage: the rod stops first, and the exception goes on its way.

The interrupt is raised inside the n-th wait for the port, for every n of a whole session: opening,
settings, the start of a motion, the motion itself. What the bridge is told is recorded.
"""

from __future__ import annotations

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.link.transport import EmulatorTransport

from tests.link.rig import RAMP_TICKS, SETTINGS, SETTLE_TICKS, Recorded, emulated

STEPS = [*range(1, 60), *range(60, 700, 23)]
STOP_TICKS = 4  # from sending a stop to the tick that carries it out


class Interrupting(EmulatorTransport):
    """Raises KeyboardInterrupt in the n-th read, once."""

    def __init__(self, board, clock, number):
        super().__init__(board, clock)
        self.left = number

    def read(self, timeout_s):
        self.left -= 1
        if self.left == 0:
            raise KeyboardInterrupt
        return super().read(timeout_s)


def session(transport, clock):
    with Board.direct(transport, clock) as board:
        board.write_scope(1, SETTINGS)
        with board.axis(1).jog(8.0) as motion:
            motion.wait(1.0)
            motion.change(-8.0)
            motion.wait(1.0)


@pytest.mark.parametrize("number", STEPS)
def test_interrupt_in_wait(number):
    recorded, clock = Recorded(emulated()), VirtualClock()
    clock.attach(recorded.step)
    transport = Interrupting(recorded, clock, number)
    try:
        session(transport, clock)
    except KeyboardInterrupt:
        at = len(recorded.ticks)
    else:
        assert transport.left > 0, "the interrupt got lost"
        return
    clock.sleep(1.0)
    after = recorded.ticks[at:]
    assert not any(t.drive for t in after[RAMP_TICKS + SETTLE_TICKS + STOP_TICKS :])


def test_the_steps_reach_every_stage():
    recorded, clock = Recorded(emulated()), VirtualClock()
    clock.attach(recorded.step)
    transport = Interrupting(recorded, clock, 0)
    session(transport, clock)
    assert -transport.left > 300
    assert any(t.drive > 0 for t in recorded.ticks)
    assert any(t.drive < 0 for t in recorded.ticks)
