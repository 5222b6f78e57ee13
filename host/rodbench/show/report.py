"""The report of a machine as one page: what it is, how it is wired and set, what was proven."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from rodbench_protocol.names import Feedback, StopBy

from rodbench.record.logbook import Entry
from rodbench.science.wiring import CAUTIONS
from rodbench.settings.machine import MachineFile
from rodbench.settings.units import Units
from rodbench.show import report_settings, report_wiring
from rodbench.show.log import words
from rodbench.show.page import page
from rodbench.show.tables import fact_words

if TYPE_CHECKING:
    from rodbench.science.power import Plan
    from rodbench.show.report_proof import Proof
    from rodbench.show.report_recording import Recorded

BEFORE = (
    "A rod can crush a hand, and a board may start it by itself. Nobody in its way, nothing under "
    "it, whenever power is on.",
    "A switch that cuts motor power is within reach. No program, no stop key and no stop input is "
    "an emergency stop.",
    "A fuse sits at the supply's end of the motor wires. A rod that its load can push back has a "
    "mechanical brake.",
    "Local codes and those licensed for the work come first.",
)
# Daily work, told elsewhere or too much for paper; everything else is part of the history.
_NOT_HISTORY = frozenset({"move", "jog", "level", "clear", "caution", "trip", "report", "local"})
_MOST_HISTORY = 60
_MOST_TRIPS = 40
_MOST_FACTS = 8
_SAID = ("axis", "digest")  # in other columns


def report(
    machine: MachineFile,
    entries: Sequence[Entry],
    proofs: Sequence[Proof],
    *,
    now: datetime,
    version: str,
    not_guarded: Sequence[str] = (),
    left_out: Sequence[str] = (),
    plan: Plan | None = None,
    recorded: Recorded | None = None,
) -> str:
    """The page. `not_guarded`: a line for each axis, as motions say it; `left_out`: what is wrong
    with runs that could not be read; `plan`: what supply, fuse and wire would suit;
    `recorded`: a recording to tell."""
    units = Units(machine.show_units)
    wrong = [] if plan is None else [f"Does not go together: {why}." for why in plan.problems]
    attention = [*_learning(machine), *wrong, *not_guarded, *machine.remarks]
    history, earlier = _told([e for e in entries if e.kind not in _NOT_HISTORY], _MOST_HISTORY)
    trips, trips_earlier = _told([e for e in entries if e.kind == "trip"], _MOST_TRIPS)
    groups, usual = report_settings.groups(machine, units)
    return page(
        "report.html.j2",
        name=machine.name,
        date=now.astimezone().strftime("%Y-%m-%d %H:%M"),
        digest=f"{machine.digest():08X}",
        file=machine.path.name,
        version=version,
        cautions=BEFORE,
        attention=attention,
        rods=[{"axis": axis, "name": machine.rod_of(axis)} for axis in machine.axes],
        rod_rows=_rod_rows(machine, units),
        places=_places(machine, units),
        supply=report_wiring.supply(machine, plan),
        wirings=[report_wiring.wiring(machine, axis, plan) for axis in machine.axes],
        wire_cautions=CAUTIONS,
        settings=groups,
        left_out=usual,
        pushed=_pushed(machine, entries),
        proofs=proofs,
        proofs_more=left_out,
        recorded=recorded,
        history=[_row(entry, units) for entry in history],
        history_more=earlier,
        trips=[_row(entry, units) for entry in trips],
        trips_more=trips_earlier,
    )


def _learning(machine: MachineFile) -> list[str]:
    from rodbench.show.where import uncalibrated_words

    scopes = {axis: machine.scope(axis) for axis in machine.axes}
    return [
        f"Axis {axis} {uncalibrated_words(values)}."
        for axis, values in scopes.items()
        if not values["calibrated"]
    ]


def _told(entries: Sequence[Entry], most: int) -> tuple[Sequence[Entry], list[str]]:
    """The last entries, and a sentence about the earlier ones."""
    left = len(entries) - most
    if left <= 0:
        return entries, []
    return entries[-most:], [f"{left} earlier ones are in the logbook: rodbench log --all."]


def _row(entry: Entry, units: Units) -> dict[str, str]:
    when, told = words(entry, units)
    found = _found(entry.data.get("found"), units)
    told = f"{told}: {found}" if told and found else told
    return {"when": when, "kind": entry.kind, "told": told, "digest": entry.digest or ""}


def _found(found: Any, units: Units) -> str:
    """What a step of calibration found: the plain facts, as many as a cell bears."""
    if not isinstance(found, Mapping):
        return ""
    plain = {k: v for k, v in found.items() if _is_plain(v) and k not in _SAID}
    facts = fact_words(plain, units)[:_MOST_FACTS]
    return "; ".join(f"{name} {value}" for name, value in facts)


def _is_plain(value: Any) -> bool:
    parts = value if isinstance(value, list) else [value]
    told = 0 < len(parts) <= 3 and parts != [""]
    return told and all(isinstance(part, int | float | str) for part in parts)


def _pushed(machine: MachineFile, entries: Sequence[Entry]) -> str:
    """Whether the board was last given these settings, as far as the logbook knows."""
    digest = f"{machine.digest():08X}"
    given = [entry for entry in entries if entry.kind in ("push", "pull") and entry.digest]
    if not given:
        return "The logbook has no push: rodbench settings diff tells whether the board has them."
    last = given[-1]
    when = words(last, Units())[0]
    if last.digest == digest:
        return f"The last {last.kind}, {when}, was of these."
    return f"Changed since the last {last.kind}, {when}, which was of {last.digest}."


# ---------------------------------------------------------------- rods

_ENDS = {"end-switch": "end switch", "stall": "the motor stalls", "shown-by-hand": "shown by hand"}


def _rod_rows(machine: MachineFile, units: Units) -> list[tuple[str, list[str]]]:
    """A line for each fact, a cell for each axis; lines that say nothing are left out."""
    columns = [_rod_facts(machine, axis, units) for axis in machine.axes]
    names = list(dict.fromkeys(name for column in columns for name in column))
    rows = [(name, [column.get(name, "") for column in columns]) for name in names]
    return [row for row in rows if any(row[1])]


def _rod_facts(machine: MachineFile, axis: int, units: Units) -> dict[str, str]:
    rod, limits = ("rods", machine.rod_of(axis) or ""), ("axes", str(axis), "limits")
    values = machine.scope(axis)
    pot = values["feedback"] == Feedback.POT
    return {
        "label": _text(machine.host("label", rod)),
        "built for": _volts(machine.host("rated_supply_v", rod)),
        "position from": "pot" if pot else "none: two wires",
        "linearity table": f"{values['table_points']} points" if values["table_points"] else "",
        "stroke": units.length(values["stroke_um"] / 1000),
        "pin to pin, retracted": _length(machine.host("retracted_pin_to_pin_mm", rod), units),
        "travel ends, retracted": _end(machine.host("end_retracted", rod)),
        "travel ends, extended": _end(machine.host("end_extended", rod)),
        "ends repeat within": _length(machine.host("endpoint_spread_mm", rod), units),
        **_measured(values, units),
        "working end, retracting": _length(machine.host("working_end_min_mm", limits), units),
        "working end, extending": _length(machine.host("working_end_max_mm", limits), units),
        **(_way(values, units) if values["calibrated"] else {"calibrated": "no"}),
        "trip": f"{values['trip_ma'] / 1000:g} A" if values["current_sensor"] else "no sensor",
        "duty": duty(values),
    }


def _measured(values: Mapping[str, int], units: Units) -> dict[str, str]:
    both = [values[f"full_speed_{way}_um_s"] / 1000 for way in ("extend", "retract")]
    at = values["speed_supply_mv"]
    speeds = " out, ".join(units.speed(speed) for speed in both) + " in" if all(both) else ""
    return {
        "full speed, measured": speeds + (f", at {at / 1000:g} V" if at and speeds else ""),
        "running current": _amps(values["running_ma"]),
        "stall current": _amps(values["stall_ma"]),
        "rated current": _amps(values["rated_ma"]),
    }


def _way(values: Mapping[str, int], units: Units) -> dict[str, str]:
    return {
        "soft stops": soft_stops(values, units),
        "fastest": units.speed(values["speed_max_um_s"] / 1000),
    }


def soft_stops(values: Mapping[str, int], units: Units) -> str:
    """The span, and that a rod that coasts may pass it."""
    span = units.span(values["soft_stop_min_um"] / 1000, values["soft_stop_max_um"] / 1000)
    return f"{span}; not guarded: it coasts" if values["stop_by"] == StopBy.COAST else span


def duty(values: Mapping[str, int]) -> str:
    """`25 % in 20 min`."""
    return f"{values['duty_share_permille'] / 10:g} % in {values['duty_window_s'] / 60:g} min"


def _amps(milli: int) -> str:
    return f"{milli / 1000:g} A" if milli else ""


def _volts(value: Any) -> str:
    return "" if value is None else f"{value:g} V"


def _length(value: Any, units: Units) -> str:
    return "" if value is None else units.length(float(value))


def _end(value: Any) -> str:
    return "" if value is None else _ENDS.get(str(value), str(value))


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _places(machine: MachineFile, units: Units) -> list[dict[str, Any]]:
    """Named positions, and where each axis has them."""
    return [
        {
            "name": name,
            "text": named.place.text,
            "at": [_at(machine, axis, name, units) for axis in machine.axes],
        }
        for name, named in machine.positions.items()
    ]


def _at(machine: MachineFile, axis: int, name: str, units: Units) -> str:
    if not machine.scope(axis)["calibrated"]:
        return "-"
    way = machine.way_of(axis) if _has_way(machine, axis) else None
    if way is None:
        return "-"
    try:
        mm = way.mm(machine.positions[name].place)
    except ValueError as error:
        return str(error)
    return units.length(mm) if way.holds(mm) else f"{units.length(mm)}: outside the soft stops"


def _has_way(machine: MachineFile, axis: int) -> bool:
    try:
        machine.way_of(axis)
    except ValueError:
        return False
    return True
