"""Under the two bootloaders of the common boards: start, watchdog bite, and what the old one does.

The images are Debian's (arduino-core-avr). Source of what they do: their behaviour in the
simulator, shown here; README.md's table says the same.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.emulator.signals import DRIVE, OFF
from rodbench_protocol import framing
from rodbench_protocol.messages import Message, pack, parse
from rodbench_protocol.names import ResetCause

from tests.board import build
from tests.board.bootloaders import NEW, OLD, image
from tests.board.host import AXIS_KEYS
from tests.board.session_board import codes_of
from tests.board.simboard import EXTERNAL, OK, POWER_ON, RESET, TICK_CYCLES, Chip

SECOND = 16_000_000
READINGS = {"pot": [4000, 4000], "current": [0, 0], "supply": 431, "bandgap": 225}
HANG = 77


class Loaded:
    """A chip with a bootloader, and a word or two with its program."""

    def __init__(self, bootloader: Path, flags: int, **options: bool | str) -> None:
        self.chip = Chip(build.firmware(**options), flags=flags)
        self.chip.bootloader(*image(bootloader))
        self.chip.codes(codes_of(READINGS))
        self.seq = 0

    def start(self) -> float:
        """Through the bootloader to the program's first tick; seconds that it took."""
        began = self.chip.call("now")
        while (state := self.chip.tick(4 * SECOND)) == RESET:
            pass
        assert state == OK
        took = (self.chip.call("now") - began) / SECOND
        for _ in range(3):  # what the start has to tell goes out
            self.chip.tick()
        self.chip.take()
        self.splitter = framing.Splitter()
        return took

    def ask(self, name: str, session: int = 5, **fields: int | list[dict[str, int]]) -> Message:
        self.seq += 1
        self.chip.send(framing.encode(pack(name, session, self.seq % 256, **fields)))
        for _ in range(12):
            self.chip.tick()
            for frame in self.splitter.feed(self.chip.take()):
                message = parse(framing.decode(frame))
                if message.name == name:
                    return message
        raise AssertionError(f"no answer to {name}")

    def cause(self) -> ResetCause:
        return ResetCause(self.ask("hello").fields["reset_cause"])

    def hang(self) -> None:
        """Let the test build hang in a motion of axis 2."""
        nonce = self.ask("hello").fields["boot_nonce"]
        self.seq = 0
        self.ask("open", boot_nonce=nonce, protocol_major=1, protocol_minor=0)
        self.ask("draft_begin", scope=2)
        self.ask("draft_set", scope=2, items=[{"key": AXIS_KEYS["feedback"], "value": 1}])
        self.ask("draft_commit", scope=2)
        self.chip.send(framing.encode(pack("jog", 5, self.seq + 1, axis=2, unit=0, value=HANG)))
        while self.chip.tick() == OK:
            pass
        assert self.chip.axis(1)[0] == DRIVE
        while self.chip.axis(1)[0] == DRIVE:
            self.chip.run("cycles", 1000)
        assert self.chip.axis(0)[0] == self.chip.axis(1)[0] == OFF


@pytest.mark.parametrize("bootloader", [NEW, OLD], ids=["new", "old"])
def test_the_program_starts_with_outputs_low(bootloader: Path) -> None:
    loaded = Loaded(bootloader, EXTERNAL)
    assert loaded.start() < 2.5  # the bootloader listens first
    assert [loaded.chip.axis(index)[0] for index in (0, 1)] == [OFF, OFF]


def test_power_on_under_the_new_one_is_power_on_or_unknown() -> None:
    """It clears the flags and passes nothing on: the record says no more than it knows."""
    loaded = Loaded(NEW, POWER_ON)
    loaded.start()
    assert loaded.cause() in (ResetCause.UNKNOWN, ResetCause.POWER_ON)


def test_a_bite_under_the_new_one() -> None:
    loaded = Loaded(NEW, POWER_ON, hang=True)
    loaded.start()
    loaded.hang()
    loaded.start()
    assert loaded.chip.call("resets") >= 1
    assert loaded.cause() is ResetCause.WATCHDOG


def test_a_bite_under_the_old_one_with_its_own_build() -> None:
    loaded = Loaded(OLD, POWER_ON, hang=True, watchdog="noreset")
    loaded.start()
    loaded.hang()
    assert loaded.start() < 0.1  # no reset: the bootloader is not even asked
    assert loaded.chip.call("resets") == 0
    assert loaded.cause() is ResetCause.WATCHDOG


def test_the_old_one_resets_for_ever_after_a_hardware_bite() -> None:
    """Why WATCHDOG=noreset exists: with the usual build the program never comes back."""
    loaded = Loaded(OLD, POWER_ON, hang=True)
    loaded.start()
    loaded.hang()
    resets = loaded.chip.call("resets")
    end = loaded.chip.call("now") + SECOND
    while loaded.chip.call("now") < end:
        assert loaded.chip.run("to_tick", TICK_CYCLES) != OK
    assert loaded.chip.call("resets") - resets > 20
