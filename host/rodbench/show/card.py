"""The card for the lid, A6: what a person needs who stands before the machine without a computer,
and a code with everything that a new board needs."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from rodbench_protocol.names import Feedback

from rodbench.settings.card import of_machine
from rodbench.settings.machine import MachineFile
from rodbench.settings.units import Units
from rodbench.show import report_wiring
from rodbench.show.card_code import Code, code
from rodbench.show.page import page
from rodbench.show.report import duty, soft_stops

CAUTIONS = (
    "Crushes hands. May start by itself.",
    "D8 is no emergency stop: the switch is.",
    "{fuse}",
    "Wire with the supply off.",
    "Local codes come first.",
)
_FUSE = {True: "No fuse but of this size.", False: "Fit a fuse at the supply end."}


def card(machine: MachineFile, now: datetime) -> tuple[str, Code]:
    """The page, and the code on it. Raises SettingsError where it cannot hold the machine."""
    units = Units(machine.show_units)
    made = code(of_machine(machine, now.date()))
    label = "QR code with all settings: rodbench settings restore reads a photo of it"
    html = page(
        "card.html.j2",
        name=machine.name,
        date=now.astimezone().strftime("%Y-%m-%d"),
        digest=f"{machine.digest():08X}",
        fuse=_fuse(machine),
        supply=f"{machine.scope(0)['supply_nominal_mv'] / 1000:g} V",
        axes=[_axis(machine, axis, units) for axis in machine.axes],
        cautions=[line.format(fuse=_FUSE[machine.says("fuse_a", ("board",))]) for line in CAUTIONS],
        code=made.svg(label),
        left_out=", ".join(made.left_out),
    )
    return html, made


def _fuse(machine: MachineFile) -> str:
    fuse = machine.host("fuse_a", ("board",))
    return "not said" if fuse is None else f"{fuse:g} A"


def _axis(machine: MachineFile, axis: int, units: Units) -> dict[str, Any]:
    values = machine.scope(axis)
    trip = f"{values['trip_ma'] / 1000:g} A" if values["current_sensor"] else "none: no sensor"
    return {
        "number": axis,
        "rod": machine.rod_of(axis),
        "facts": [
            ("soft stops", _stops(values, units)),
            ("trip", trip),
            ("duty", duty(values)),
        ],
        "wires": _wires(machine, axis),
    }


def _stops(values: dict[str, int], units: Units) -> str:
    if values["feedback"] != Feedback.POT:
        return "none: no pot"
    if not values["calibrated"]:
        return "none: not calibrated"
    return soft_stops(values, units)


def _wires(machine: MachineFile, axis: int) -> list[tuple[str, str, str]]:
    """Number, pin, and where it goes in few words."""
    made = report_wiring.wired(machine, axis)
    if isinstance(made, str):
        return []
    return [(w.number, w.pin, _short(w.to, axis)) for w in report_wiring.numbered(made)]


def _short(to: str, axis: int) -> str:
    """`current sensor 1, output (in one motor lead)` -> `current sensor, output`."""
    return to.split(" (")[0].replace(f" {axis},", ",")
