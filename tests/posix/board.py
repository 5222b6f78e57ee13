"""The port under the emulated machine, with the surface of the emulator's board, in lockstep."""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

from rodbench.emulator.on_line import BoardOnLine
from rodbench.emulator.plant_file import Machine
from rodbench_protocol.framing import Splitter, decode
from rodbench_protocol.messages import parse

from tests.posix.process import ENDS, RESET, STARTS, Process

EEPROM_BYTES = 1024
KIND = "posix-3v3"


class PosixBoard(BoardOnLine):
    """A process on the emulated machine. `write` and `read` are the host's end of the line."""

    def __init__(
        self,
        machine: Machine,
        *,
        eeprom: bytes | None = None,
        seed: int | None = None,
    ) -> None:
        if machine.board.kind != KIND:
            raise ValueError(f"the port is a board of kind {KIND}, not {machine.board.kind}")
        super().__init__(machine, seed)
        self._folder = tempfile.TemporaryDirectory(prefix="rodbench-posix-")
        self._file = Path(self._folder.name) / "eeprom"
        self._file.write_bytes(eeprom or b"\xff" * EEPROM_BYTES)
        self._power = False
        self._splitter = Splitter()
        self.axis_state = 0  # enum axis_state of axis 1, by its telemetry
        self.process: Process
        self._start()

    @property
    def eeprom(self) -> bytes:
        """What the EEPROM holds now."""
        return self._file.read_bytes()

    # ------------------------------------------------------------ a tick

    def _tick(self) -> None:
        readings = self.rig.step(self.outputs.drive, self.outputs.bridge)
        arrived = self._down.pull()
        self._received += self._up.pull()
        self.ticks += 1
        if self._silent:
            self._silent -= 1
            if self._silent == 0:
                self._start()
            return
        record = self.process.tick(readings, arrived)
        self.outputs.drive[0], self.outputs.bridge[0] = record.drive, record.bridge
        self.outputs.alarm = record.alarm
        sent = self.process.sent()
        self._up.push(sent)
        if sent:
            self._listen(sent)
        if record.state == ENDS:
            self._restarted()

    def _listen(self, sent: bytes) -> None:
        for frame in self._splitter.feed(sent):
            message = parse(decode(frame))
            if message.name == "telemetry_axis":
                self.axis_state = int(message.fields["state"])

    # ------------------------------------------------------------ resets

    def reset(self, cause: str = "external") -> None:
        """Pull the reset line. Other causes come from the program itself."""
        if cause != "external":
            raise ValueError("a process starts anew by itself for other causes than the line")
        if self._power:  # the line of a board without power does nothing
            record = self.process.tick(self.rig._readings, control=RESET)
            assert record.state == ENDS, record
            self._restarted()

    def _restarted(self) -> None:
        """It has replaced itself and waits for the first readings."""
        first = self.process.outputs()
        assert first.state == STARTS, first
        self._up.drop()
        self._fall_silent(0)

    def power_cut(self, off_ticks: int = 100, torn: dict[int, int] | None = None) -> None:
        """Kill it, and start it again after `off_ticks`. `torn`: EEPROM bytes that then differ."""
        self.process.kill()
        self._power = False
        eeprom = bytearray(self.eeprom)
        for address, value in (torn or {}).items():
            eeprom[address] = value
        self._file.write_bytes(eeprom)
        self._down.drop()
        self._up.drop()
        self._fall_silent(off_ticks)

    def _start(self) -> None:
        self.boots += 1
        self.rig.restart_scan()
        if not self._power:
            seed = random.Random(f"{self._seed} boot {self.boots}").randrange(1, 65536)
            self.process = Process(self._file, "--seed", str(seed))
            self._power = True

    def close(self) -> None:
        """End the process, and forget the EEPROM."""
        self.process.close()
        self._folder.cleanup()
