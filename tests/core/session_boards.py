"""The native core and the twin, as boards for the scripted sessions."""

from __future__ import annotations

from typing import Any

from rodbench.emulator.signals import Readings
from rodbench.emulator.twin.core import Twin
from rodbench.emulator.twin.noinit import NoInit

from tests.core.native import Board, library


class NativeSessionBoard:
    """The C core; bytes for the memory are written after the tick."""

    def __init__(self) -> None:
        self.board = Board(library())
        self._incoming = b""
        self._sent = b""

    def start(self, reset_flags: int, nonce_seed: int, power_lost: bool) -> None:
        """Boot; a power loss leaves 0x5A in all of the RAM."""
        if power_lost:
            self.board.noinit[:] = b"\x5a" * len(self.board.noinit)
        self.board.boot(reset_flags, nonce_seed)

    def receive(self, data: bytes) -> None:
        """Bytes for the next tick."""
        self._incoming += data

    def tick(self, readings: dict[str, Any]) -> dict[str, Any]:
        """One tick."""
        self.board.set_readings(**readings)
        self.board.tick(self._incoming)
        self._incoming = b""
        self._sent += self.board.sent()
        out = self.board.outputs()
        if out.ee_write:
            self.board.eeprom[out.ee_address] = out.ee_value
        return {"drive": [out.drive[0], out.drive[1]], "restart": out.restart}

    def transmit(self) -> bytes:
        """What was sent since the last call."""
        sent, self._sent = self._sent, b""
        return sent


class TwinSessionBoard:
    """The twin."""

    def __init__(self) -> None:
        self.eeprom = bytearray(b"\xff" * 1024)
        self.noinit: NoInit | None = None

    def start(self, reset_flags: int, nonce_seed: int, power_lost: bool) -> None:
        """Boot."""
        kept = None if power_lost else self.noinit
        self.twin = Twin(self.eeprom, kept, reset_flags, nonce_seed)
        self.noinit = self.twin.noinit

    def receive(self, data: bytes) -> None:
        """Bytes for the next tick."""
        self.twin.receive(data)

    def tick(self, readings: dict[str, Any]) -> dict[str, Any]:
        """One tick."""
        out = self.twin.tick(Readings(**readings))
        if out.ee_write:
            self.eeprom[out.ee_address] = out.ee_value
        return {"drive": out.drive, "restart": out.restart}

    def transmit(self) -> bytes:
        """What was sent since the last call."""
        return self.twin.transmit()
