"""The port as a process, and the records that stand for its pins (PORTING.md)."""

from __future__ import annotations

import contextlib
import os
import socket
import struct
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rodbench.emulator.signals import OFF, Readings

from tests.posix.build import program

OUT = struct.Struct("<IhBBBBxx")  # tick, drive, bridge, driver, alarm, state
IN = struct.Struct(
    "<HHHHHBB"
)  # two conversions of the pot, current, supply, bandgap, inputs, control
STARTS, RUNS, ENDS = range(3)
RESET = 1  # control: the reset line is pulled
ANSWER_S = 20.0  # nothing takes that long
LINE_ROOM = 65536


class Gone(RuntimeError):
    """The process ended; the text is what it said."""


@dataclass(slots=True)
class Record:
    """What the board put on its lines."""

    tick: int = 0
    drive: int = 0
    bridge: int = OFF
    driver: int = 0
    alarm: int = 0
    state: int = STARTS


def readings_record(readings: Readings, control: int = 0) -> bytes:
    """The conversions whose sums are these readings."""
    pot = readings.pot[0]
    return IN.pack(
        pot // 2, pot - pot // 2, readings.current[0], readings.supply, readings.bandgap,
        readings.inputs, control,
    )  # fmt: skip


class Process:
    """One process from power on to power off, through its own restarts. Starts at once."""

    def __init__(
        self,
        eeprom: Path,
        *words: str,
        lockstep: bool = True,
        own_line: bool = False,
    ) -> None:
        self.bench, theirs = socket.socketpair()
        self.line, their_line = socket.socketpair()
        self.bench.settimeout(ANSWER_S)
        self.line.setblocking(False)
        command = [str(program()), "--eeprom", str(eeprom), *words]
        command += ["--bench", str(theirs.fileno())]
        command += ["--lockstep"] * lockstep
        command += [] if own_line else ["--line", str(their_line.fileno())]
        self._said = tempfile.TemporaryFile("w+")  # noqa: SIM115  # closed in close()
        self.process = subprocess.Popen(
            command, pass_fds=[theirs.fileno(), their_line.fileno()], text=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=self._said,
        )  # fmt: skip
        theirs.close()
        their_line.close()
        self.first = self.outputs()

    def outputs(self) -> Record:
        """The next record of the board, waited for. Raises Gone when there is none."""
        data = b""
        while len(data) < OUT.size:
            part = b""
            with contextlib.suppress(ConnectionResetError):
                part = self.bench.recv(OUT.size - len(data))
            if not part:
                raise Gone(self.said())
            data += part
        return Record(*OUT.unpack(data))

    def tick(self, readings: Readings, rx: bytes = b"", control: int = 0) -> Record:
        """One tick in lockstep; the board's record of it."""
        if rx:
            self.line.sendall(rx)
        try:
            self.bench.sendall(readings_record(readings, control))
        except BrokenPipeError:
            raise Gone(self.said()) from None
        return self.outputs()

    def sent(self) -> bytes:
        """Bytes that the board has sent."""
        try:
            return self.line.recv(LINE_ROOM)
        except BlockingIOError:
            return b""

    def said(self) -> str:
        """What it wrote on standard error."""
        self.process.wait(ANSWER_S)
        self._said.seek(0)
        return self._said.read()

    def kill(self) -> None:
        """Power off."""
        self.process.kill()
        self.close()

    def close(self) -> None:
        """Take the bench away: it ends by itself. Safe to repeat."""
        self.bench.close()
        self.line.close()
        self.process.wait(ANSWER_S)
        if self.process.stdout:
            self.process.stdout.close()
        self._said.close()


def stored(eeprom: Path) -> bytes:
    """What the EEPROM holds."""
    return eeprom.read_bytes()


def refusal(words: Sequence[str]) -> tuple[int, str]:
    """Exit code and complaint of a start that cannot be."""
    done = subprocess.run(
        [str(program()), *words], capture_output=True, text=True, check=False, cwd=os.sep
    )
    return done.returncode, done.stderr
