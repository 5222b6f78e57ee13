"""What every board on an emulated machine has: the rig, the eye, and a serial line in between."""

from __future__ import annotations

from typing import Any

from rodbench.emulator.eye import Eye
from rodbench.emulator.line import Channel
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import Outputs


class BoardOnLine:
    """A board that is stepped tick by tick. `write` and `read` are the host's end of the line."""

    def __init__(self, machine: Machine, seed: int | None) -> None:
        self.machine = machine
        self.rig = Rig(machine, seed)
        self.eye = Eye(self.rig)
        self.outputs = Outputs()
        self.ticks = 0
        self.boots = 0
        self._seed = machine.seed if seed is None else seed
        line, faults = machine.line, self.rig.line_faults
        self._down = Channel(line.baud, faults, self._seed * 2 + 1, line.late_ms)
        self._up = Channel(line.baud, faults, self._seed * 2 + 2, line.late_ms)
        self._received = bytearray()
        self._silent = 0  # ticks of reset that are left

    def write(self, data: bytes) -> None:
        """Bytes from the host into the line."""
        self._down.push(bytes(data))

    def read(self) -> bytes:
        """Bytes that have reached the host."""
        data = bytes(self._received)
        self._received.clear()
        return data

    def step(self, ticks: int = 1) -> None:
        """Let `ticks` ticks of 5 ms pass."""
        for _ in range(ticks):
            self._tick()

    def look(self, **question: Any) -> dict[str, Any]:
        """What the eye sees: {"answer": word or None}. `id` is the question's."""
        return {"answer": self.eye.look(str(question.get("id", "")), question.get("axis", 0))}

    def _tick(self) -> None:
        raise NotImplementedError

    def _fall_silent(self, ticks: int) -> None:
        """Outputs off and nothing heard, for `ticks` and the time that a start takes."""
        self.outputs = Outputs()
        self._silent = ticks + max(1, round(self.machine.board.boot_ms / 5.0))
