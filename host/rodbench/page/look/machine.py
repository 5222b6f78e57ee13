"""What the page takes from the machine file; a file that does not hold costs only its figures."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from rodbench.errors import SettingsError, UsageError
from rodbench.settings.machine import MachineFile
from rodbench.settings.positions import Way, read_place
from rodbench.settings.quantity import QuantityError

if TYPE_CHECKING:
    from rodbench.page.feed import Feed

EXAMPLE = 'for example "101.5 mm", "4 in", "30 deg" or "50 %"'


def machine_of(feed: Feed) -> MachineFile | None:
    """The machine file as it stands now; None without one that holds."""
    path = feed.machine_file
    try:
        return None if path is None else _loaded(path, path.stat().st_mtime_ns)
    except OSError:
        return None


@lru_cache(maxsize=2)
def _loaded(path: Path, written_ns: int) -> MachineFile | None:
    """Read once for each time it was written: a page asks ten times a second."""
    try:
        return MachineFile.load(path)
    except SettingsError:
        return None


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


def place_mm(feed: Feed, axis: int, text: str) -> float:
    """mm of what a person typed: a name, a quantity, or a number in the feed's units.

    Raises UsageError for what is no place."""
    machine = machine_of(feed)
    text = text.strip()
    way = _way(feed, machine, axis)
    try:
        if machine is not None and text in machine.positions:
            return way.mm(machine.positions[text].place)
        place = read_place(_with_unit(text, feed.units.name))
        return way.mm(replace(place, text=text))
    except (QuantityError, ValueError) as error:
        raise UsageError(
            f"'{text}' is no position here: {error}", kept="Nothing was sent.", hint=EXAMPLE
        ) from None


def _way(feed: Feed, machine: MachineFile | None, axis: int) -> Way:
    live = feed.scopes[axis]
    low, high = live["soft_stop_min_um"] / 1000, live["soft_stop_max_um"] / 1000
    if machine is None:
        return Way(low, high)
    try:
        return machine.way_of(axis, live)
    except ValueError as error:
        return Way(low, high, why_no_angle=str(error))


def _with_unit(text: str, unit: str) -> str:
    try:
        float(text)
    except ValueError:
        return text
    return f"{text} {unit}"
