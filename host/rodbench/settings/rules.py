"""Cross rules of a machine file: the schema's, and those that only the host can know."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench_protocol.rules import names_in
from rodbench_protocol.schema import load_schema
from rodbench_protocol.settings import Peer, check

from rodbench.settings import faults, pot_table
from rodbench.settings.keys import by_wire, kind_named
from rodbench.settings.limits import beyond_end, never_trips, trip_reasons
from rodbench.settings.lines import Place
from rodbench.settings.parse import Parsed, Written

Values = Mapping[str, int]


def paths(parsed: Parsed, scope: int) -> dict[str, Place]:
    """Where the keys of a scope stand: table kind -> path."""
    return axis_paths(parsed, scope) if scope else {"board": ("board",), "gang": ("gang",)}


def axis_paths(parsed: Parsed, axis: int) -> dict[str, Place]:
    """Where the keys of an axis stand: table kind -> path. Without a rod no `rods`."""
    paths: dict[str, Place] = {
        "axes": ("axes", str(axis)),
        "limits": ("axes", str(axis), "limits"),
        "local": ("axes", str(axis), "local"),
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


def find_axis(parsed: Parsed, axis: int, values: Values, other: Values) -> None:
    """The schema's rules for one axis beside the other, in the names and lines of the file."""
    paths = axis_paths(parsed, axis)
    kind = kind_named(parsed.board_kind).name
    alone = check("axis", values, kind=kind)
    both = check("axis", values, peer=Peer(axis, other), kind=kind)
    peers = [problem for problem in both if problem not in alone]
    # The same contradiction seen from the other axis says nothing new.
    said_before = axis == 2 and peers and 1 in parsed.axes
    for problem in alone if said_before else both:
        place = _place(paths, problem.key)
        used = _others(parsed, paths, problem.rule_id, problem.key)
        said = _said(parsed, paths, problem.key) or place[-1]
        hint = "`rodbench propose` gives a trip and says why." if "trip" in place[-1] else ""
        with_rest = f" ({used})" if used else ""
        parsed.add(place, f"{said}: {problem.text}{with_rest}.", hint)
    _stroke(parsed, paths, values)
    _trip(parsed, axis, values)
    _working_ends(parsed, axis, values)
    _learned(parsed, axis, values)


def find_board(parsed: Parsed, values: Values) -> None:
    """The schema's rules for the board."""
    for problem in check("board", values, kind=kind_named(parsed.board_kind).name):
        key = by_wire()["board", problem.key]
        parsed.add((key.table, key.name), f"{key.name}: {problem.text}.")


def _stroke(parsed: Parsed, paths: dict[str, Place], values: Values) -> None:
    if "rods" in paths and parsed.get(paths["rods"], "stroke_mm") is None:
        parsed.add(paths["rods"], f"{'.'.join(paths['rods'])} has no stroke: write stroke_mm = ...")


def _trip(parsed: Parsed, axis: int, values: Values) -> None:
    """A trip above the fuse, or above the stall, never trips."""
    trip = parsed.get(("axes", str(axis), "limits"), "trip_a")
    if trip is None or values["current_sensor"] == 0:
        return
    fuse = parsed.get(("board",), "fuse_a")
    reasons = trip_reasons(
        float(trip.value),
        None if fuse is None else float(fuse.value),
        values["stall_ma"] / 1000,
        0 if fuse is None else fuse.line,
    )
    if reasons:
        hint = f"`rodbench propose {axis}` gives a trip and says why."
        parsed.add((*trip.path, trip.name), never_trips(trip.said, reasons), hint)


def _working_ends(parsed: Parsed, axis: int, values: Values) -> None:
    """Rod end, working end, soft stop, soft stop, working end, rod end: in this order."""
    path = ("axes", str(axis), "limits")
    ends = [parsed.get(path, f"working_end_{side}_mm") for side in ("min", "max")]
    stroke = values["stroke_um"] / 1000
    low, high = (None if end is None else float(end.value) for end in ends)
    for end in ends:
        if end is not None and float(end.value) > stroke:
            text = f"{end.said} lies beyond the rod's own end: its stroke is {stroke:g} mm."
            parsed.add((*path, end.name), text)
    if ends[1] is not None and low is not None and high is not None and low >= high:
        parsed.add((*path, ends[1].name), f"{ends[1].said}: the working ends need min below max.")
    for end, name, way in zip(ends, ("soft_stop_min", "soft_stop_max"), (1, -1), strict=True):
        stop = parsed.get(path, f"{name}_mm")
        if end is None or not (stop or values["calibrated"]):
            continue
        at = values[f"{name}_um"] / 1000
        if way * (at - float(end.value)) < 0:
            said = stop.said if stop else f"{name}_mm = {at:g} (left out)"
            where = f"{end.raw if isinstance(end.raw, str) else f'{end.raw} mm'} (line {end.line})"
            parsed.add((*path, stop.name if stop else end.name), beyond_end(said, where))


def _learned(parsed: Parsed, axis: int, values: Values) -> None:
    """Which way is out was learned with the rod that was on this axis then."""
    path = ("axes", str(axis))
    with_rod, rod = parsed.get(path, "learned_with"), parsed.get(path, "rod")
    if with_rod is None or rod is None or with_rod.value == rod.value:
        return
    calibrated = parsed.get(path, "calibrated")
    if values["calibrated"] and calibrated:
        place, said, undo = calibrated.name, calibrated.said, "calibrated = false"
    elif values["feedback"] == 2:  # a rod without a pot is never calibrated, and still knows out
        place, said, undo = rod.name, rod.said, "motor_reversed and learned_with taken out"
    else:
        return
    parsed.add(
        (*path, place),
        f'{said}: which way is out was learned on this axis with rod "{with_rod.value}" (line '
        f'{with_rod.line}), and now it has rod "{rod.value}" (line {rod.line}).',
        f"Push with {undo}, then `rodbench calibrate polarity {axis}`, then calibrated = true. "
        "Endpoints, stroke and speeds belong to the rod and stay; look at the limits, they belong "
        f'to this place. The same rod by another name? Write learned_with = "{rod.value}".',
    )


def _place(paths: dict[str, Place], wire: str) -> Place:
    """Where a wire key stands, or would stand."""
    key = by_wire().get(("axis", wire))
    if wire == "table_points" and "rods" in paths:
        return (*paths["rods"], pot_table.NAME)
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
            key = by_wire(parsed.board_kind).get(("axis", name))
            if key is not None:
                parts.append(f"{key.name} = {faults.shown(key.to_file(int(key.default or 0)))}")
    return "; ".join(parts)
