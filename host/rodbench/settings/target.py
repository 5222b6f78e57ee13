"""Where a move goes: a name, a length, degrees or a share of the way, in mm on one rod."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rodbench.errors import Refused, SettingsError, UsageError
from rodbench.settings import amounts

if TYPE_CHECKING:
    from rodbench.settings.machine import MachineFile
    from rodbench.settings.positions import Place, Way
    from rodbench.settings.units import Units


@dataclass(frozen=True, slots=True)
class Target:
    """A place in mm on the rod, the way that it lies on, and how an error calls it."""

    mm: float
    way: Way
    units: Units
    said: str

    def shown(self, mm: float | None = None) -> str:
        """A position as a person reads it: `183.4 mm`, with its angle where there is one."""
        at = self.mm if mm is None else mm
        angle = self.angle_deg(at)
        length = self.units.length(at)
        return length if angle is None else f"{length}, {angle:.1f} deg"

    @contextlib.contextmanager
    def refused(self) -> Iterator[None]:
        """While the board may refuse it: the refusal then says where the soft stops are."""
        try:
            yield
        except Refused as error:
            if error.status_name == "outside":
                stops = self.units.span(self.way.low_mm, self.way.high_mm)
                error.hint = f"{self.said}: the soft stops are at {stops}"
            raise

    def angle_deg(self, mm: float) -> float | None:
        """The linkage's angle at a position; None without a linkage that reaches there."""
        if self.way.linkage is None or not self.way.linkage.holds(mm):
            return None
        return self.way.linkage.angle_deg(mm)


def find(
    machine: MachineFile | SettingsError | None,
    axis: int,
    text: str,
    live: Mapping[str, int],
    units: Units,
) -> Target:
    """The place that `text` means on this axis, by the settings in force (wire integers).

    `machine` None: there is no machine file; an error: why it does not hold, which matters only
    where its names are needed. Raises UsageError when the text means no place, that error when it
    would need the file. Whether it lies between the soft stops is the board's to say.
    """
    broken = machine if isinstance(machine, SettingsError) else None
    machine = None if isinstance(machine, SettingsError) else machine
    place, said = _place(machine, broken, text.strip(), units)
    way = _way(machine, axis, live)
    try:
        mm = way.mm(place)
    except ValueError as error:
        hint = broken.message if broken else None
        raise UsageError(f"{said}: {error}", kept=amounts.NOTHING, hint=hint) from None
    return Target(mm, way, units, said)


def _place(
    machine: MachineFile | None, broken: SettingsError | None, text: str, units: Units
) -> tuple[Place, str]:
    """The place, and how an error calls it."""
    from rodbench.settings.positions import wrong_name

    names = {} if machine is None else machine.positions
    if machine is not None and text in names:
        named = names[text]
        return named.place, f'{text} = "{named.place.text}" ({machine.path}:{named.line})'
    try:
        return amounts.place(text, units.name), text
    except UsageError:
        if wrong_name(text):
            raise
        if broken is not None:
            raise broken from None
        raise UsageError(
            f"'{text}' is not a position", kept=amounts.NOTHING, hint=_known(machine, text)
        ) from None


def _known(machine: MachineFile | None, text: str) -> str:
    """What a move could go to, by name where the machine file has names."""
    from rodbench.settings.positions import near

    example = 'for example "101.5 mm", "4 in" or "50 %"'
    if machine is None or not machine.positions:
        return f"{example}; names and degrees come from the machine file"
    meant = near(text, machine.positions)
    known = ", ".join(machine.positions)
    return f"{known}, or {example}" + (f". Did you mean '{meant}'?" if meant else "")


def _way(machine: MachineFile | None, axis: int, live: Mapping[str, int]) -> Way:
    from rodbench.settings.positions import Way

    low, high = live["soft_stop_min_um"] / 1000, live["soft_stop_max_um"] / 1000
    if machine is None:
        return Way(low, high)
    try:
        return machine.way_of(axis, live)
    except ValueError as error:
        return Way(low, high, why_no_angle=str(error))
