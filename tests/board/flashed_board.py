"""A board with a bootloader, for loading: the chip alone, whatever program it holds, in real time.

Its line has a speed: what one side sends at another speed than the other listens at arrives as
nothing (at the chip, where a framing error hides the byte) or as something else (at the host).
Opening the port pulls the reset line each time. A real board has a modem line for that, which the
programmer also moves by itself; a pty has none.
"""

from __future__ import annotations

import struct
import time
from pathlib import Path
from typing import Any

from rodbench.emulator.serve import PtyDoor, Served

from tests.board import build
from tests.board.bootloaders import image
from tests.board.session_board import codes_of
from tests.board.simboard import EEPROM_BYTES, POWER_ON, Chip, Crash

SLICES = 5  # steps a tick: a programmer waits for each answer, so that they must come soon
STEP_CYCLES = 80_000 // SLICES
CLOCK_HZ = 16_000_000
UCSR0A, UBRR0L, DOUBLE_SPEED = 0xC0, 0xC4, 0x02
LIKE = 0.04  # speeds that understand each other
READINGS = {"pot": [4000, 4000], "current": [0, 0], "supply": 431, "bandgap": 225}
QUIET_STEPS = 300  # 0.3 s
PATIENCE_S = 3.0
SIMAVR_SLACK = 1.09  # its line takes up to so much longer for a byte (DIFFERENCES.md)


class FlashedBoard:
    """A chip in simavr. `bootloader` None: the program starts at once. `forgets`: the EEPROM is
    blank at the first reset after the program has changed."""

    def __init__(
        self,
        program: bytes,
        bootloader: Path | None = None,
        eeprom: bytes = b"\xff" * EEPROM_BYTES,
        forgets: bool = False,
    ) -> None:
        self.chip = Chip(build.firmware(), eeprom, flags=POWER_ON)
        self.chip.program(program)
        if bootloader is not None:
            self.chip.bootloader(*image(bootloader))
        self.chip.codes(codes_of(READINGS))
        self.host_baud = 0
        self._lost = False  # until a reset
        self._quiet = 0  # steps since the host's last byte, of a session that has begun
        self._heard_s = float("-inf")
        self._first = self.chip.flash if forgets else None

    @property
    def baud(self) -> float:
        """At what speed the program's line runs now."""
        data = self.chip.data
        per_bit = 8 if data[UCSR0A] & DOUBLE_SPEED else 16
        return CLOCK_HZ / (per_bit * (self.chip.word(UBRR0L) + 1))

    def write(self, data: bytes) -> None:
        """Bytes from the host."""
        if self._understood():
            self.chip.call("pace", round(SIMAVR_SLACK * 10 * CLOCK_HZ / self.baud))
            self.chip.send(data)
            self._quiet, self._heard_s = 0, time.monotonic()

    def read(self) -> bytes:
        """Bytes to the host."""
        data = self.chip.take()
        return data if self._understood() else bytes(byte ^ 0xA5 for byte in data)

    def _understood(self) -> bool:
        return abs(self.host_baud / self.baud - 1) < LIKE

    def step(self, ticks: int = 1) -> None:
        """Let fifths of ticks pass.

        While a programmer that has begun is silent for longer than it ever is by itself, this
        computer is busy: time stands still, up to PATIENCE_S, as else the bootloader would leave.
        """
        for _ in range(ticks):
            waits = time.monotonic() - self._heard_s < PATIENCE_S
            if not (self._quiet > QUIET_STEPS and waits):
                self._quiet += 1
                self._run()

    def _run(self) -> None:
        """Half a program may come to what is no instruction: then nothing goes on until a reset."""
        if not self._lost:
            try:
                self.chip.run("cycles", STEP_CYCLES)
            except Crash:
                self._lost = True

    def look(self, **question: Any) -> dict[str, Any]:
        """There is no machine to look at."""
        return {"answer": None}

    def reset(self, cause: str = "external") -> None:
        """Pull the reset line."""
        self._heard_s = float("-inf")
        if self._first not in (None, self.chip.flash):
            self._first = None
            self.chip.blank_eeprom()
        self._lost = False
        self.chip.call("pull_reset")

    def close(self) -> None:
        """Free the chip."""
        self.chip.close()


class ResettingDoor(PtyDoor):
    """A pty each of whose openings resets the board, and that knows the host's speed."""

    def __init__(self, board: FlashedBoard) -> None:
        super().__init__()
        self._chip_board = board

    def _has_hupcl(self) -> bool:
        return True

    def serve(self, board: Any, ending: Any) -> None:
        """Carry bytes; see PtyDoor."""
        carried = _Carried(board, self._note_speed)
        super().serve(carried, ending)  # type: ignore[arg-type]

    def _note_speed(self) -> None:
        import fcntl

        tcgets2 = 0x802C542A  # with the speed as a number; Linux
        told = fcntl.ioctl(self._master, tcgets2, bytes(44))
        self._chip_board.host_baud = struct.unpack_from("<I", told, 40)[0]


class _Carried:
    """A paced board that hears of the host's speed before each byte."""

    def __init__(self, board: Any, note_speed: Any) -> None:
        self._board, self._note_speed = board, note_speed

    def write(self, data: bytes) -> None:
        self._note_speed()
        self._board.write(data)

    def reset(self, cause: str) -> None:
        self._board.reset(cause)


def serve(board: FlashedBoard) -> Served:
    """The board behind a pty, in real time."""
    return Served(board, ResettingDoor(board), speed=SLICES)
