"""The binary put through scripted sessions: the board that rodbench_protocol.replay asks for."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

from tests.board import build
from tests.board.simboard import BOOT_CYCLES, EEPROM_BYTES, OK, RAM_BYTES, Chip

RING = 128
UCSR0B, RECEIVES = 0xC1, 0x10
LINE_CYCLES = 2000  # at the start, until the program listens
SETTLE_CYCLES = 300  # after the outputs: by then a restart has begun, and the scan is at no supply
HANDLER_CYCLES = 1000  # more than any interrupt handler takes


def spread(total: int, count: int) -> list[int]:
    """`count` codes that add up to `total`, after one that is dropped."""
    codes = [(total + n) // count for n in range(count)]
    return [0, *codes]


def codes_of(readings: dict[str, Any]) -> dict[int, list[int]]:
    """The converter's codes, by channel, whose sums are these readings."""
    pot, current = readings["pot"], readings["current"]
    return {
        0: spread(pot[0], 8),
        1: spread(pot[1], 8),
        2: spread(current[0], 4),
        3: spread(current[1], 4),
        4: spread(readings["supply"], 1),
        5: spread(readings.get("local", (0, 0))[0], 1),
        6: spread(readings.get("local", (0, 0))[1], 1),
        14: [readings["bandgap"]] * 2,
    }


class ChipSession:
    """One chip through the resets of a session. `queued` is read from the core's own ring, tick by
    tick; `line` is what then came over the serial line: the one must be the other."""

    def __init__(self, elf: Path | None = None) -> None:
        self.elf = elf or build.firmware()
        self.ring = build.offset_of("tx.ring")
        self.head = build.offset_of("tx.head")
        self.chip: Chip | None = None
        self.queued = self.line = b""

    def start(self, reset_flags: int, nonce_seed: int, power_lost: bool) -> None:
        """Boot."""
        eeprom, ram = b"\xff" * EEPROM_BYTES, b""
        if self.chip is not None:
            eeprom, ram = self.chip.eeprom, self.chip.ram
            self.chip.close()
        if power_lost:
            ram = random.Random(nonce_seed).randbytes(RAM_BYTES)
        self.chip = Chip(self.elf, eeprom, ram, reset_flags)
        self.seen = 0
        self.queued = self.line = b""
        self.core = self.chip.symbols["core"][0]

    def receive(self, data: bytes) -> None:
        """Bytes from the host, paced: up to about 100 of them reach the next tick."""
        assert self.chip is not None
        while not self.chip.data[UCSR0B] & RECEIVES:  # before that the program does not listen
            self.chip.run("cycles", LINE_CYCLES)
        assert self.chip.call("waiting") == 0, "the step before had more bytes than its ticks carry"
        self.chip.send(data)

    def tick(self, readings: dict[str, Any]) -> dict[str, Any]:
        """One tick under these readings."""
        chip = self.chip
        assert chip is not None
        chip.codes(codes_of(readings))
        chip.inputs(readings.get("inputs", 0))
        assert chip.tick(BOOT_CYCLES) == OK
        restart = self._restarts(chip)
        drive = [chip.axis(index)[1] for index in (0, 1)]
        return {"drive": drive, "restart": int(restart)}

    @staticmethod
    def _restarts(chip: Chip) -> bool:
        """Whether interrupts go off for good. No longer than it takes: readings of a tick that come
        behind the scan's look at them count a tick late."""
        chip.run("cycles", SETTLE_CYCLES)
        while 0 < chip.call("off_for") < HANDLER_CYCLES:
            chip.run("cycles", SETTLE_CYCLES)
        return chip.call("off_for") > 0

    def transmit(self) -> bytes:
        """What this tick has queued."""
        chip = self.chip
        assert chip is not None
        head = chip.peek(self.core + self.head, 1)[0]
        ring = chip.peek(self.core + self.ring, RING)
        sent = bytes(ring[n % RING] for n in range(self.seen, self.seen + (head - self.seen) % 256))
        self.seen = head
        self.queued += sent
        self.line += chip.take()
        return sent
