"""The port in real time on its own pty, with the emulated machine at its pins."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
import threading
from pathlib import Path
from typing import Any

from rodbench.emulator.eye import Eye
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import Outputs

from tests.posix.process import STARTS, Gone, Process, Record, readings_record


class RealTime:
    """The process keeps the time; a thread answers each of its records with what the machine does
    in a tick. `records` are all that it told, `positions_mm` where the rod was then."""

    def __init__(self, machine: Machine, eeprom: Path | None = None, *words: str) -> None:
        self.machine = machine
        self.rig = Rig(machine)
        self.eye = Eye(self.rig)
        self.outputs = Outputs()
        self.records: list[Record] = []
        self.positions_mm: list[float] = []
        self._folder = tempfile.TemporaryDirectory(prefix="rodbench-posix-")
        file = eeprom or Path(self._folder.name) / "eeprom"
        self.process = Process(file, *words, lockstep=False, own_line=True)
        assert self.process.process.stdout is not None
        self.port: str = json.loads(self.process.process.stdout.readline())["listens"]
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._answer, name="machine", daemon=True)
        self._thread.start()

    def _answer(self) -> None:
        record = self.process.first
        with contextlib.suppress(Gone, OSError):
            while True:
                with self._lock:
                    self._step(record)
                record = self.process.outputs()

    def _step(self, record: Record) -> None:
        if record.state == STARTS:
            self.rig.restart_scan()
        self.outputs.drive[0], self.outputs.bridge[0] = record.drive, record.bridge
        self.records.append(record)
        readings = self.rig.step(self.outputs.drive, self.outputs.bridge)
        if 1 in self.rig.plants:
            self.positions_mm.append(self.rig.plants[1].position_mm)
        with contextlib.suppress(BlockingIOError):
            self.process.bench.sendall(readings_record(readings))

    @property
    def pid(self) -> int:
        """Of the process; it stays the same through restarts."""
        return self.process.process.pid

    def look(self, question_id: str, axis: int = 0) -> str | None:
        """What the machine's eye answers."""
        with self._lock:
            answer: Any = self.eye.look(question_id, axis)
        return None if answer is None else str(answer)

    def close(self) -> None:
        """Switch everything off."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, 9)
        self._thread.join(5.0)
        self.process.close()
        self._folder.cleanup()
