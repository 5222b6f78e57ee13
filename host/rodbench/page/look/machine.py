"""What the page takes from the machine file; a file that does not hold costs only its figures."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from rodbench.errors import SettingsError
from rodbench.settings.machine import MachineFile
from rodbench.settings.target import Target, find

if TYPE_CHECKING:
    from rodbench.page.feed import Feed


def machine_of(feed: Feed) -> MachineFile | None:
    """The machine file as it stands now; None without one that holds."""
    read = _read(feed)
    return None if isinstance(read, SettingsError) else read


def _read(feed: Feed) -> MachineFile | SettingsError | None:
    path = feed.machine_file
    try:
        return None if path is None else _loaded(path, path.stat().st_mtime_ns)
    except OSError:
        return None


@lru_cache(maxsize=2)
def _loaded(path: Path, written_ns: int) -> MachineFile | SettingsError:
    """Read once for each time it was written: a page asks ten times a second."""
    try:
        return MachineFile.load(path)
    except SettingsError as error:
        return error


def pin_to_pin_mm(feed: Feed) -> dict[int, float]:
    """Pin to pin, retracted, in mm, of the axes whose rod has it in the file."""
    machine = machine_of(feed)
    if machine is None:
        return {}
    found = {
        axis: machine.host("retracted_pin_to_pin_mm", ("rods", rod))
        for axis in machine.axes
        if (rod := machine.rod_of(axis))
    }
    return {axis: float(mm) for axis, mm in found.items() if mm}


def place(feed: Feed, axis: int, text: str) -> Target:
    """What a person typed: a name, a quantity, or a number in the feed's units.

    Raises UsageError for what is no place, SettingsError where a broken file would have to say."""
    return find(_read(feed), axis, text, feed.scopes[axis], feed.units)
