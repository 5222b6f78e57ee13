"""`rodbench load` with the installed avrdude against a simulated board, as a person runs it."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rodbench.load.images import Bootloader, hex_file

from tests.board import first_release
from tests.board.bootloaders import FLASH_BYTES, program
from tests.board.flashed_board import FlashedBoard, serve

FIRST = program(first_release.PROGRAM)
LINE_BAUD = 250_000
DEADLINE_S = 120


@dataclass
class Ended:
    """How a command ended."""

    code: int
    out: str
    said: str

    @property
    def data(self) -> Any:
        """The result of a command with --json."""
        return json.loads(self.out)


class Bench:
    """A board behind a pty, and a machine folder."""

    def __init__(self, board: FlashedBoard, port: str, folder: Path) -> None:
        self.board = board
        self.port = port
        self.folder = folder
        self.before = board.chip.flash

    def start(self, *words: str, **environment: str) -> subprocess.Popen[str]:
        """Start a rodbench command in the folder."""
        runtime = {"RODBENCH_RUNTIME": str(self.folder / "run"), "RODBENCH_OWNER_IDLE": "1"}
        return subprocess.Popen(
            [sys.executable, "-m", "rodbench.cli.main", *words],
            cwd=self.folder,
            env={**os.environ, **runtime, "RODBENCH_PORT": self.port, **environment},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, *words: str, **environment: str) -> Ended:
        """Run a rodbench command to its end."""
        process = self.start(*words, **environment)
        out, said = process.communicate(timeout=DEADLINE_S)
        return Ended(process.returncode, out, said)

    def holds(self, bootloader: Bootloader) -> bool:
        """Whether the program for this bootloader is in flash, all of it."""
        code = program(hex_file(LINE_BAUD, bootloader))
        return self.board.chip.flash[: len(code)] == code

    @property
    def untouched(self) -> bool:
        """Whether flash is as it was."""
        return self.board.chip.flash == self.before

    def entries(self) -> list[dict[str, Any]]:
        """The logbook's entries about loading."""
        lines = (self.folder / "logbook" / "log.jsonl").read_text().splitlines()
        return [e for e in map(json.loads, lines) if e["kind"] == "load"]

    def kept(self) -> list[dict[str, Any]]:
        """Settings in the folder of what was pulled."""
        files = sorted((self.folder / "logbook" / "backup").glob("*-settings-*.json"))
        return [json.loads(f.read_text()) for f in files]


@contextlib.contextmanager
def bench(board: FlashedBoard) -> Iterator[Bench]:
    """The board on its pty, in real time."""
    served = serve(board)
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "machine.toml").write_text('machine_file = 1\nname = "load"\n')
        yield Bench(board, served.door.address, Path(folder))
    served.close()
    if served.paced.broken is not None:
        raise served.paced.broken


def first_release_board(bootloader: Path | None, **options: Any) -> FlashedBoard:
    """A board that the first release runs on, with its settings stored."""
    return FlashedBoard(FIRST, bootloader, first_release.eeprom(), **options)


def blank_board(bootloader: Path | None) -> FlashedBoard:
    """A new board: a bootloader and nothing else."""
    return FlashedBoard(b"", bootloader)


__all__ = ["FLASH_BYTES", "Bench", "bench", "blank_board", "first_release_board"]
