"""A job: what is to be moved, how far, how fast, from which supply."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from rodbench.science.candidate import Assumed
from rodbench.science.hinge import Flap, below_of, turned
from rodbench.science.loads import Carried, Slope, Travel, straight
from rodbench.science.sizing import Demand
from rodbench.settings.job_keys import FACTORS_OF, JOB, TOP, UNEVEN
from rodbench.settings.parse import Parsed
from rodbench.settings.sheets import begin, read_table, stands, unknown_tables, value_of

_SLOPES = {"push": 0.0, "lift": 90.0}
_NEEDED_TABLES = ("load", "travel", "supply")
LEAST_TURN_DEG = 0.1
_HEAVY = ("mass_kg", "wind_pa", "snow_pa", "force_n", "force_end_n", "friction_force_n")


@dataclass(frozen=True, slots=True)
class Job:
    """A job that can be reckoned with."""

    name: str
    show_units: str
    kind: str
    carried: Carried
    way: Slope | Flap
    duty: Demand
    assumed: Assumed

    def travel(self) -> Travel:
        """Forces on one rod through the whole travel."""
        if isinstance(self.way, Flap):
            return turned(self.carried, self.way)
        return straight(self.carried, self.way)


def read_job(text: str, file: str) -> tuple[Job | None, Parsed]:
    """The job, or None with findings."""
    parsed, document = begin(text, file, "job_file")
    if document is None:
        return None, parsed
    unknown_tables(parsed, document, ["job_file", *(f.key.name for f in TOP), *JOB])
    read_table(parsed, (), {k: document[k] for k in ("name", "show_units") if k in document}, TOP)
    for name, fields in JOB.items():
        if name in document:
            read_table(parsed, (name,), document[name], fields)
        elif name in _NEEDED_TABLES:
            read_table(parsed, (name,), {}, fields)
    way = _way(parsed, document)
    _loads(parsed, document)
    return (None if parsed.findings or way is None else _job(parsed, way)), parsed


def _way(parsed: Parsed, document: Mapping[str, Any]) -> Slope | Flap | None:
    """How it moves; findings for what is missing, contradicts itself or cannot be."""
    kind = value_of(parsed, ("load",), "kind")
    if kind is None:
        return None
    if kind == "hinge":
        _not_for(parsed, kind, {"load": ("slope_deg", "raised_by", "friction"),
                                "travel": ("stroke_mm", "shortest_pin_to_pin_mm")})  # fmt: skip
        if "hinge" not in document:
            read_table(parsed, ("hinge",), {}, JOB["hinge"])
        return _flap(parsed)
    if "hinge" in document:
        parsed.add(("hinge",), f'[hinge] stands beside kind = "{kind}": keep one of them.')
    if kind == "slope" and parsed.get(("load",), "slope_deg") is None:
        parsed.add(("load",), "[load] has no slope_deg: of the way, from level.")
    if kind != "slope":
        _not_for(parsed, kind, {"load": ("slope_deg",)})
    if kind == "push":
        _not_for(parsed, kind, {"load": ("raised_by", "snow_pa")})
    return _slope(parsed, document, kind)


def _not_for(parsed: Parsed, kind: str, tables: Mapping[str, tuple[str, ...]]) -> None:
    for table, names in tables.items():
        for name in names:
            if found := parsed.get((table,), name):
                text = f'{found.said} has no meaning with kind = "{kind}": take it out.'
                parsed.add((table, found.name), text)


def _slope(parsed: Parsed, document: Mapping[str, Any], kind: str) -> Slope | None:
    load, travel = ("load",), ("travel",)
    way = value_of(parsed, travel, "stroke_mm")
    if way is None:
        if not stands(document, next(f for f in JOB["travel"] if f.key.name == "stroke_mm")):
            parsed.add(travel, "[travel] has no stroke_mm: how far it moves.")
        return None
    return Slope(
        way_mm=way,
        angle_deg=_SLOPES.get(kind, value_of(parsed, load, "slope_deg", 0.0)),
        friction=value_of(parsed, load, "friction", 0.0),
        raises=-1 if value_of(parsed, load, "raised_by") == "retracting" else 1,
        shortest_mm=value_of(parsed, travel, "shortest_pin_to_pin_mm"),
    )


def _flap(parsed: Parsed) -> Flap | None:
    """The flap, or None with findings for a geometry that cannot be."""
    at = ("hinge",)
    names = ("hinge_to_frame_pin_mm", "hinge_to_vent_pin_mm", "hinge_to_weight_mm",
             "closed_tilt_deg", "opens_deg")  # fmt: skip
    frame, pin, weight, closed, opens = (value_of(parsed, at, name) for name in names)
    below, length = (parsed.get(at, n) for n in ("frame_pin_below_deg", "closed_pin_to_pin_mm"))
    if below is None and length is None:
        parsed.add(at, "[hinge] has neither frame_pin_below_deg nor closed_pin_to_pin_mm: one of "
                   "them says where the frame pin is.")  # fmt: skip
    if below is not None and length is not None:
        parsed.add((*at, length.name), f"{length.said} and {below.said} (line {below.line}) say "
                   "the same thing: keep one.")  # fmt: skip
    if opens is not None and abs(opens) < LEAST_TURN_DEG:
        parsed.add((*at, "opens_deg"), f"opens_deg = {opens:g}: then nothing moves.")
        opens = None
    if None in (frame, pin, weight, closed, opens) or (below is None) == (length is None):
        return None
    area = value_of(parsed, at, "hinge_to_area_mm", weight)
    friction = value_of(parsed, at, "friction_nm", 0.0)
    if below is not None:
        angle = float(below.value)
    else:
        assert length is not None
        try:
            angle = below_of(frame, pin, float(length.value), closed)
        except ValueError as error:
            parsed.add((*at, length.name), f"{length.said}: {error}.")
            return None
    flap = Flap(frame, pin, weight, area, closed, opens, angle, friction)
    if why := flap.no_lever():
        parsed.add((*at, "opens_deg"), f"this cannot turn from {closed:g} by {opens:g} deg: {why}; "
                   "there the rod has no lever. Move a pin.")  # fmt: skip
        return None
    return flap


def _loads(parsed: Parsed, document: Mapping[str, Any]) -> None:
    """Pressures without an area, a part of a rod, and a job without any load."""
    area = parsed.get(("load",), "area_m2")
    for table in ("load", "rest"):
        for name in ("wind_pa", "snow_pa"):
            found = parsed.get((table,), name)
            if found is not None and float(found.value) > 0 and area is None:
                text = f"{found.said} presses on nothing: [load] has no area_m2."
                parsed.add((table, found.name), text)
    rods = parsed.get(("load",), "rods")
    if rods is not None and float(rods.value) % 1:
        parsed.add(("load", rods.name), f"{rods.said}: this is a whole number.")
    heavy = [field for field in JOB["load"] if field.key.name in _HEAVY]
    loads = [parsed.get(("load",), field.key.name) for field in heavy if stands(document, field)]
    if "load" in document and not any(found is None or found.value for found in loads):
        parsed.add(("load",), "[load] loads nothing: give mass_kg, force_n, friction_force_n or "
                   "a pressure.")  # fmt: skip


def _job(parsed: Parsed, way: Slope | Flap) -> Job:
    factors = {
        ours: value_of(parsed, ("factors",), theirs)
        for theirs, ours in FACTORS_OF.items()
        if parsed.get(("factors",), theirs)
    }
    if "window_s" in factors:
        factors["window_s"] *= 60.0
    return Job(
        name=value_of(parsed, (), "name", "job"),
        show_units=value_of(parsed, (), "show_units", "mm"),
        kind=value_of(parsed, ("load",), "kind"),
        carried=_carried(parsed),
        way=way,
        duty=_duty(parsed),
        assumed=replace(Assumed(), **factors),
    )


def _carried(parsed: Parsed) -> Carried:
    def load(name: str, default: float = 0.0, table: str = "load") -> float:
        return float(value_of(parsed, (table,), name, default))

    start = load("force_n")
    return Carried(
        mass_kg=load("mass_kg"),
        area_m2=load("area_m2"),
        wind_pa=load("wind_pa"),
        wind_way=value_of(parsed, ("load",), "wind_way", "both"),
        snow_pa=load("snow_pa"),
        along_n=(start, load("force_end_n", start)),
        friction_n=load("friction_force_n"),
        rest_wind_pa=load("wind_pa", table="rest"),
        rest_snow_pa=load("snow_pa", table="rest"),
        rest_force_n=load("force_n", table="rest"),
        rods=int(load("rods", 1)),
        uneven=load("uneven", UNEVEN, "factors"),
    )


def _duty(parsed: Parsed) -> Demand:
    travel, supply = ("travel",), ("supply",)
    time_s = value_of(parsed, travel, "time_s")
    ramps = {
        name: value_of(parsed, travel, name)
        for name in ("acceleration_mm_s2", "deceleration_mm_s2")
        if parsed.get(travel, name)
    }
    return Demand(
        extend_s=time_s,
        retract_s=value_of(parsed, travel, "time_retract_s", time_s),
        cycles_per_hour=value_of(parsed, travel, "cycles_per_hour"),
        volts=value_of(parsed, supply, "voltage_v"),
        source_ohm=value_of(parsed, supply, "source_ohm", 0.0),
        limit_a=value_of(parsed, supply, "current_a"),
        brake=value_of(parsed, ("rest",), "brake", False),
        **ramps,
    )
