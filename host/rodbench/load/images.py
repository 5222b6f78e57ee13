"""The HEX files that come with rodbench. `make -C firmware_reference package` makes them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from rodbench.errors import UsageError

FOLDER = Path(__file__).resolve().parents[1] / "firmware"
KIND = "atmega328p-5v"


@dataclass(frozen=True, slots=True)
class Bootloader:
    """A kind of bootloader: what it is called, at how many baud it listens, and which program goes
    beside it (empty: the usual one)."""

    word: str
    baud: int
    name: str
    program: str = ""


NEW = Bootloader("new", 115_200, "newer bootloader")
OLD = Bootloader("old", 57_600, "old bootloader")
BOOTLOADERS = {b.word: b for b in (NEW, OLD)}
# More than 30 720 bytes: it needs a bootloader of 512 bytes.
WHOLE = Bootloader("new", 115_200, "newer bootloader of 512 bytes", "-whole")


@dataclass(frozen=True, slots=True)
class About:
    """Which firmware the files hold."""

    firmware: str
    protocol_major: int
    protocol_minor: int
    schema_digest: int

    def __str__(self) -> str:
        return f"{self.firmware}, protocol {self.protocol_major}.{self.protocol_minor}"


def about() -> About:
    """The firmware that comes with this rodbench."""
    return About(**json.loads((FOLDER / "about.json").read_text("utf-8")))


def hex_file(line_baud: int, bootloader: Bootloader) -> Path:
    """The file for a line's speed and a bootloader. Raises UsageError when there is none."""
    path = FOLDER / f"{KIND}-{line_baud}-baud-{bootloader.word}-bootloader{bootloader.program}.hex"
    if not path.exists():
        raise UsageError(
            f"there is no firmware for {line_baud} baud",
            kept="nothing was changed",
            hint="250000 or 115200, set by RODBENCH_BAUD",
        )
    return path
