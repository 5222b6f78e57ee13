"""Servo pulses on the chip's pins: widths by the firmware's own capture, in the simulator.

Where a pulse lies in the tick is drawn at random. With no other interrupt than the timer's a width
is right to 2 us and what that interrupt takes; in the whole program to what the longest one does.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from rodbench_protocol.names import Inputs

from tests.board import build
from tests.board.simboard import OK, TICK_CYCLES, Chip

CYCLES_PER_US = 16
PERIOD_US = 20_000
LOW = int(Inputs.EXTEND_1 | Inputs.EXTEND_2)  # both inputs local A at ground
NEAR_US = 8
INTERRUPT_CYCLES = 800  # interrupts are never off for longer


class Pulses:
    """The chip, to the cycle; `high` lists which inputs are."""

    def __init__(self) -> None:
        self.chip = Chip(build.pulse_alone())
        self.level(0)
        self.wait(12_345)

    def level(self, high: int) -> None:
        self.chip.inputs(LOW & ~high)

    def wait(self, us: float) -> None:
        if us > 0:
            assert self.chip.run("cycles", round(us * CYCLES_PER_US)) == OK

    def pulse(self, us: float, which: int = int(Inputs.EXTEND_1)) -> None:
        self.level(which)
        self.wait(us)
        self.level(0)

    @property
    def seen(self) -> tuple[int, int]:
        raw = self.chip.variable("seen")
        return raw[0] | raw[1] << 8, raw[2] | raw[3] << 8


@pytest.fixture
def pulses() -> Iterator[Pulses]:
    made = Pulses()
    yield made
    made.chip.close()


def test_widths_are_stamped_wherever_a_pulse_lies_in_the_tick(pulses: Pulses) -> None:
    draw = random.Random(5)
    for _ in range(150):
        width = draw.uniform(500, 2600)
        pulses.wait(draw.uniform(0, 5000))
        pulses.pulse(width)
        pulses.wait(5100)  # the next tick has read it
        assert pulses.seen[0] == pytest.approx(width, abs=NEAR_US)
        assert pulses.seen[0] % 2 == 0
        assert pulses.seen[1] == 0
        pulses.wait(PERIOD_US - 5100 - width)


def test_two_inputs_at_once_each_have_their_own(pulses: Pulses) -> None:
    one, two = int(Inputs.EXTEND_1), int(Inputs.EXTEND_2)
    for first, gap, rest in ((1000, 300, 900), (1500, 0, 500), (900, 1100, 0)):
        pulses.level(one | two)  # rise together
        pulses.wait(first)
        pulses.level(two if rest or gap else 0)
        pulses.wait(gap + rest)
        pulses.level(0)
        pulses.wait(5100)
        seen = pulses.seen
        assert seen[0] == pytest.approx(first, abs=NEAR_US)
        assert seen[1] == pytest.approx(first + gap + rest, abs=2 * NEAR_US)
        pulses.wait(PERIOD_US)


def test_25_ms_after_the_last_rise_there_is_none(pulses: Pulses) -> None:
    pulses.pulse(1500)
    pulses.wait(20_000)
    assert pulses.seen[0] == pytest.approx(1500, abs=NEAR_US)
    pulses.wait(10_500)  # beyond 25 ms, and the next tick
    assert pulses.seen[0] == 0


def test_a_long_level_is_no_pulse_of_a_shorter_one(pulses: Pulses) -> None:
    """6.5 ms are not 1.5: a width is counted over ticks."""
    pulses.pulse(6500)
    pulses.wait(5100)
    assert pulses.seen[0] == pytest.approx(6500, abs=NEAR_US)
    pulses.level(int(Inputs.EXTEND_1))
    pulses.wait(40_000)
    assert pulses.seen[0] == 0
    pulses.level(0)
    pulses.wait(5100)
    assert pulses.seen[0] == 0 or pulses.seen[0] > 20_000


def test_noise_on_the_wire_takes_no_more_than_a_pulse_in_a_tick(pulses: Pulses) -> None:
    """100 kHz on the pin: the loop still sees every tick, and most of its time is its own."""
    chip = pulses.chip
    chip.call("measure")
    for _ in range(500):
        pulses.pulse(5)
        pulses.wait(5)
    assert chip.call("worst_tick") < TICK_CYCLES // 20
    assert chip.call("longest_off") < INTERRUPT_CYCLES
    pulses.wait(10_000)
    pulses.pulse(1500)
    pulses.wait(5100)
    assert pulses.seen[0] == pytest.approx(1500, abs=NEAR_US)
