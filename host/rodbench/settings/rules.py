"""Cross rules of a machine file: the schema's, and those that only the host can know."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench_protocol.rules import names_in
from rodbench_protocol.schema import load_schema
from rodbench_protocol.settings import check

from rodbench.settings import faults
from rodbench.settings.keys import by_wire
from rodbench.settings.lines import Place
from rodbench.settings.parse import Parsed, Written

Values = Mapping[str, int]


def axis_paths(parsed: Parsed, axis: int) -> dict[str, Place]:
    """Where the keys of an axis stand: table kind -> path. Without a rod no `rods`."""
    paths: dict[str, Place] = {
        "axes": ("axes", str(axis)),
        "limits": ("axes", str(axis), "limits"),
    }
    rod = parsed.get(paths["axes"], "rod")
    if rod is not None and rod.value in parsed.rods:
        paths["rods"] = ("rods", str(rod.value))
    return paths


def find_rods(parsed: Parsed) -> None:
    """Every axis names a rod that is there, and no rod is on two axes."""
    seen: dict[str, int] = {}
    for axis in parsed.axes:
        path = ("axes", str(axis))
        rod = parsed.get(path, "rod")
        if rod is None:
            parsed.add(path, f'axes.{axis} names no rod: write rod = "NAME" with [rods.NAME].')
        elif rod.value not in parsed.rods:
            parsed.add((*path, "rod"), _no_such_rod(parsed, str(rod.value)))
        elif str(rod.value) in seen:
            first = seen[str(rod.value)]
            text = f'rod = "{rod.value}": this rod is on axis {first} already.'
            parsed.add((*path, "rod"), text)
        else:
            seen[str(rod.value)] = axis


def _no_such_rod(parsed: Parsed, name: str) -> str:
    have = ", ".join(parsed.rods) or "none"
    return f'rod = "{name}": there is no [rods.{name}]. Rods in this file: {have}.'


def find_axis(parsed: Parsed, axis: int, values: Values) -> None:
    """The schema's rules for one axis, in the names and lines of the file."""
    paths = axis_paths(parsed, axis)
    for problem in check("axis", values):
        place = _place(paths, problem.key)
        used = _others(parsed, paths, problem.rule_id, problem.key)
        said = _said(parsed, paths, problem.key) or place[-1]
        hint = "`rodbench propose` gives a trip and says why." if "trip" in place[-1] else ""
        with_rest = f" ({used})" if used else ""
        parsed.add(place, f"{said}: {problem.text}{with_rest}.", hint)
    _stroke(parsed, paths, values)
    _trip(parsed, axis, values)


def find_board(parsed: Parsed, values: Values) -> None:
    """The schema's rules for the board."""
    for problem in check("board", values):
        key = by_wire()["board", problem.key]
        parsed.add(("board", key.name), f"{key.name}: {problem.text}.")


def _stroke(parsed: Parsed, paths: dict[str, Place], values: Values) -> None:
    if "rods" in paths and parsed.get(paths["rods"], "stroke_mm") is None:
        parsed.add(paths["rods"], f"{'.'.join(paths['rods'])} has no stroke: write stroke_mm = ...")


def _trip(parsed: Parsed, axis: int, values: Values) -> None:
    """A trip above the fuse, or above the stall, never trips."""
    trip = parsed.get(("axes", str(axis), "limits"), "trip_a")
    if trip is None or values["current_sensor"] == 0:
        return
    reasons = []
    fuse = parsed.get(("board",), "fuse_a")
    if fuse is not None and float(trip.value) > float(fuse.value):
        reasons.append(f"above {fuse.said} (line {fuse.line})")
    stall = values["stall_ma"] / 1000
    if stall and float(trip.value) > stall:
        reasons.append(f"above the estimated stall of {stall:g} A")
    if reasons:
        text = f"{trip.said} is {' and '.join(reasons)}: it would never trip."
        hint = f"`rodbench propose {axis}` gives a trip and says why."
        parsed.add((*trip.path, trip.name), text, hint)


def _place(paths: dict[str, Place], wire: str) -> Place:
    """Where a wire key stands, or would stand."""
    key = by_wire().get(("axis", wire))
    if key is None or key.table not in paths:
        return paths["axes"]
    return (*paths[key.table], key.name)


def _said(parsed: Parsed, paths: dict[str, Place], wire: str) -> str:
    found = _written(parsed, paths, wire)
    return found.said if found else ""


def _written(parsed: Parsed, paths: dict[str, Place], wire: str) -> Written | None:
    path = _place(paths, wire)
    return parsed.get(path[:-1], path[-1])


def _others(parsed: Parsed, paths: dict[str, Place], rule_id: int, wire: str) -> str:
    """The other keys that a rule reads, with their lines."""
    rule = next((r for r in load_schema().rules if r.id == rule_id), None)
    if rule is None:
        return ""
    parts = []
    for name in sorted(names_in(rule.expr) - {wire}):
        found = _written(parsed, paths, name)
        if found is not None:
            parts.append(f"{found.said}, line {found.line}")
        else:
            key = by_wire().get(("axis", name))
            if key is not None:
                parts.append(f"{key.name} = {faults.shown(key.to_file(int(key.default or 0)))}")
    return "; ".join(parts)
