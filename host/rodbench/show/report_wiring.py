"""Wiring, fuse and supply of a machine for a page: numbered wires, and a picture of each axis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rodbench_protocol.names import Feedback

from rodbench.errors import UsageError
from rodbench.science.wiring import Connection, Wired
from rodbench.settings.keys import by_wire
from rodbench.settings.machine import MachineFile
from rodbench.show.wiring import plan as connections

if TYPE_CHECKING:
    from markupsafe import Markup

    from rodbench.science.power import Plan

_PICTURE_MM = 176.0
NO_FUSE = "not said: fit one at the supply's end of the motor wires, and write fuse_a"


@dataclass(frozen=True, slots=True)
class Wire:
    """A connection with its number: axis, and place in the table of `rodbench wire`."""

    number: str
    pin: str
    to: str
    through: str
    in_reset: str


@dataclass(frozen=True, slots=True)
class Wiring:
    """The wiring of one axis, or why it cannot be told."""

    axis: int
    rod: str
    driver: str
    rows: list[Wire]
    remarks: tuple[str, ...] = ()
    picture: Markup | None = None
    problem: str = ""


def supply(machine: MachineFile, plan: Plan | None) -> list[tuple[str, str]]:
    """What feeds the motors and guards them; `plan`: what would suit, as `rodbench wire` says."""
    board, fuse = machine.scope(0), machine.host("fuse_a", ("board",))
    limits = [board["supply_low_mv"], board["supply_high_mv"]]
    watched = " .. ".join(f"{milli / 1000:g} V" if milli else "-" for milli in limits)
    stop = str(by_wire(machine.board_kind)["board", "stop_input"].to_file(board["stop_input"]))
    return [
        ("fuse, at the supply", NO_FUSE if fuse is None else f"{fuse:g} A"),
        *_suits(plan),
        ("motor supply", f"{board['supply_nominal_mv'] / 1000:g} V nominal"),
        ("watched", watched if any(limits) else "no limits are set"),
        ("stop input D8", f"{stop}; no emergency stop, which cuts motor power"),
        ("board", f"{machine.board_kind}, id {board['board_id'] or 'none yet'}"),
    ]


def _suits(plan: Plan | None) -> list[tuple[str, str]]:
    if plan is None:
        return []
    wires = [each.wire.name for each in (plan.by_mm2, plan.by_awg) if each is not None]
    least = plan.supply.least_a
    rows = [
        ("fuse that suits", f"{plan.fuse_a:g} A" if plan.fuse_a else ""),
        ("wire that suits", " or ".join(wires)),
        ("supply, for good", f"{least:.1f} A or more" if least else ""),
    ]
    return [row for row in rows if row[1]]


def wiring(machine: MachineFile, axis: int, plan: Plan | None) -> Wiring:
    """The numbered wires of an axis, with their picture."""
    from rodbench.show.page import inline
    from rodbench.show.power import figures
    from rodbench.show.schematic import picture
    from rodbench.show.sheet import INK, SOFT

    rod = machine.rod_of(axis) or ""
    made = wired(machine, axis)
    if isinstance(made, str):
        driver = word(machine, axis, "driver")
        return Wiring(axis, rod, driver, [], problem=made)
    beside = None if plan is None else figures(plan, axis)
    svg = picture(made, rod, beside).replace(SOFT, INK)  # its soft grey is too soft for small print
    drawn = inline(svg, _PICTURE_MM, f"Wiring of axis {axis}, as in the table")
    return Wiring(axis, rod, made.driver.kind, numbered(made), made.remarks, drawn)


def numbered(made: Wired) -> list[Wire]:
    """The wires of an axis, numbered in the order of their table."""
    return [_wire(made.axis, n, c) for n, c in enumerate(made.connections, start=1)]


def _wire(axis: int, number: int, c: Connection) -> Wire:
    return Wire(f"{axis}.{number}", c.pin, c.to, c.through, c.in_reset)


def wired(machine: MachineFile, axis: int) -> Wired | str:
    """The connections of an axis, or the sentence why there are none."""
    values = machine.scope(axis)
    try:
        return connections(
            axis,
            word(machine, axis, "driver"),
            word(machine, axis, "current_sensor"),
            bool(values["current_sensor_ratiometric"]),
            values["feedback"] == Feedback.POT,
            bool(machine.scope(0)["stop_input"]),
        )
    except UsageError as error:
        return error.message


def word(machine: MachineFile, axis: int, wire: str) -> str:
    """A setting of an axis in the file's word."""
    return str(by_wire(machine.board_kind)["axis", wire].to_file(machine.scope(axis)[wire]))
