"""The keys of a job and of a list of candidates, once: reader and `size --keys` use them."""

from __future__ import annotations

from rodbench.science.candidate import Assumed
from rodbench.settings.sheets import MOST, Field, number, plain, word

KINDS = ("push", "lift", "slope", "hinge")
WAYS = ("extending", "retracting")
THREADS = ("square", "acme", "trapezoidal")
ANY = {"low": -MOST["N"]}
ABOVE = {"above": True}
NEEDED = {"needed": True, **ABOVE}

TOP = (
    plain("", "name", "text", "what the job is called"),
    word("", "show_units", ("mm", "in"), "units of the screen: mm and N, or in and lbf"),
)
LOAD = (
    word("load", "kind", KINDS, "push (level), lift (straight up), slope or hinge", needed=True),
    number("load", "mass_kg", "kg", "what is moved, all of it"),
    number("load", "area_m2", "m2", "that wind and snow press on; of a slope its plan"),
    number("load", "wind_pa", "Pa", "wind while it moves, square to the area"),
    word("load", "wind_way", ("both", "against", "with"), "wind against raising, with it, or both"),
    number("load", "snow_pa", "Pa", "snow while it moves, straight down"),
    number("load", "force_n", "N", "a force along the rod; above 0 it resists extending", **ANY),
    number("load", "force_end_n", "N", "the same at the long end of a straight line", **ANY),
    number("load", "friction", "", "coefficient, of what slides on a level or a slope", high=2.0),
    number("load", "friction_force_n", "N", "friction along the rod, either way"),
    number("load", "slope_deg", "deg", "of the way, from level", low=-90.0, high=90.0),
    word("load", "raised_by", WAYS, "of lift and slope; extending when left out"),
    number("load", "rods", "", "how many rods share the load", low=1.0, high=8.0),
)
HINGE = (
    number("hinge", "hinge_to_frame_pin_mm", "mm", "measure it, centre to centre", **NEEDED),
    number("hinge", "hinge_to_vent_pin_mm", "mm", "to the rod's pin on what turns", **NEEDED),
    number("hinge", "hinge_to_weight_mm", "mm", "to the centre of the weight", needed=True),
    number("hinge", "hinge_to_area_mm", "mm", "to the centre of the area; else as the weight"),
    number(
        "hinge", "closed_tilt_deg", "deg", "what turns, closed: deg above level, below 0 under it",
        needed=True, low=-90.0, high=90.0,
    ),
    number(
        "hinge", "opens_deg", "deg", "how far it turns; below 0: the free edge goes down",
        needed=True, low=-180.0, high=180.0,
    ),
    number(
        "hinge", "frame_pin_below_deg", "deg", "frame pin seen from the hinge, deg below level",
        low=-180.0, high=180.0,
    ),
    number(
        "hinge", "closed_pin_to_pin_mm", "mm", "in its place, that pin below: pin to pin, closed",
        **ABOVE,
    ),
    number("hinge", "friction_nm", "N m", "of the hinge itself"),
)  # fmt: skip
TRAVEL = (
    number("travel", "stroke_mm", "mm", "of push, lift and slope: how far it moves", **ABOVE),
    number("travel", "shortest_pin_to_pin_mm", "mm", "room for the rod where it is short", **ABOVE),
    number("travel", "time_s", "s", "time allowed, each way", **NEEDED),
    number("travel", "time_retract_s", "s", "time allowed to retract, if another", **ABOVE),
    number("travel", "cycles_per_hour", "", "there and back again, an hour", **NEEDED),
    number("travel", "acceleration_mm_s2", "mm/s2", "ramp up of the board", **ABOVE),
    number("travel", "deceleration_mm_s2", "mm/s2", "ramp down", **ABOVE),
)
SUPPLY = (
    number("supply", "voltage_v", "V", "of the motor supply, under load", **NEEDED),
    number("supply", "source_ohm", "ohm", "supply and leads together: makes it sag"),
    number("supply", "current_a", "A", "what supply and driver give, for one rod", **ABOVE),
)
REST = (
    number("rest", "wind_pa", "Pa", "wind at rest, where it is more"),
    number("rest", "snow_pa", "Pa", "snow at rest, where it is more"),
    number("rest", "force_n", "N", "a load on each rod at rest, either way, where it is more"),
    plain("rest", "brake", "bool", "the machine has a brake of its own"),
)
FACTORS = (
    number("factors", "force", "", "rated dynamic force over the worst force", low=1.0),
    number("factors", "static", "", "rated static force over the load at rest", low=1.0),
    number("factors", "time", "", "time allowed over time needed", low=1.0),
    number("factors", "duty", "", "rated duty over duty needed", low=1.0),
    number("factors", "current", "", "current available over the most that is drawn", low=1.0),
    number("factors", "buckling", "", "what a slender rod bears over what presses it", low=1.0),
    number("factors", "spare_mm", "mm", "stroke left over at each end, for soft stops"),
    number("factors", "uneven", "", "most loaded of several rods, of its even share", low=1.0),
    number("factors", "over_voltage", "", "supply over rated voltage, without a remark", low=1.0),
    number("factors", "thread_friction", "", "for a screw whose lead is known", **ABOVE, high=1.0),
    number(
        "factors", "rated_speed_share", "", "loaded over free speed, where a sheet has but one",
        **ABOVE, high=1.0,
    ),
    number(
        "factors", "no_load_current_share", "", "free over rated current, where not said", high=1.0
    ),
    number("factors", "duty_share", "", "duty, where not said", **ABOVE, high=1.0),
    number("factors", "duty_window_min", "min", "in what time, where not said", **ABOVE),
    number("factors", "rod_modulus_gpa", "GPa", "stiffness of the rod: steel", **ABOVE),
    number("factors", "rod_yield_mpa", "MPa", "where it yields: mild steel", **ABOVE),
)  # fmt: skip
JOB = {
    "load": LOAD, "hinge": HINGE, "travel": TRAVEL, "supply": SUPPLY, "rest": REST,
    "factors": FACTORS,
}  # fmt: skip
# Key of [factors]: field of Assumed, which has the default.
FACTORS_OF = {
    "force": "force_factor",
    "static": "static_factor",
    "time": "time_factor",
    "duty": "duty_factor",
    "current": "current_factor",
    "buckling": "buckling_factor",
    "spare_mm": "spare_mm",
    "over_voltage": "over_voltage",
    "thread_friction": "thread_friction",
    "rated_speed_share": "rated_speed_share",
    "no_load_current_share": "free_current_share",
    "duty_share": "duty",
    "duty_window_min": "window_s",
    "rod_modulus_gpa": "modulus_gpa",
    "rod_yield_mpa": "yield_mpa",
}
UNEVEN = 1.2  # two rods on one bar: neither pushes just half (common practice, no source)
_EACH = "candidates.NAME"
CANDIDATE = (
    number(_EACH, "stroke_mm", "mm", "it stands on every data sheet", **NEEDED),
    number(_EACH, "retracted_pin_to_pin_mm", "mm", "hole to hole, fully retracted", **ABOVE),
    number(_EACH, "dynamic_force_n", "N", "rated force while it moves", **NEEDED),
    number(_EACH, "static_force_n", "N", "rated force at rest", **ABOVE),
    number(_EACH, "speed_no_load_mm_s", "mm/s", "speed without load", **ABOVE),
    number(_EACH, "speed_rated_mm_s", "mm/s", "speed at the rated dynamic force", **ABOVE),
    number(_EACH, "voltage_v", "V", "for which its speeds and currents hold", **NEEDED),
    number(_EACH, "current_no_load_a", "A", "without load"),
    number(_EACH, "current_rated_a", "A", "at the rated dynamic force", **ABOVE),
    number(_EACH, "duty_share", "", "share of the time that it may run", **ABOVE, high=1.0),
    number(_EACH, "duty_window_min", "min", "in what time; 20 min when left out", **ABOVE),
    number(_EACH, "rod_diameter_mm", "mm", "of the rod that comes out", **ABOVE),
    word(_EACH, "feedback", ("pot", "none"), "whether it tells its position"),
    number(_EACH, "pot_ohm", "ohm", "the whole track", **ABOVE),
    number(_EACH, "screw_diameter_mm", "mm", "mean diameter of its thread", **ABOVE),
    number(_EACH, "screw_lead_mm", "mm", "travel for a turn: pitch times starts", **ABOVE),
    word(_EACH, "screw_thread", THREADS, "square when left out"),
    plain(_EACH, "self_locking", "bool", "the maker says that no load turns it"),
    plain(_EACH, "motor", "text", "the same word for the same motor with another gear"),
)


def fields_of(table: str) -> tuple[Field, ...]:
    """The fields of a table of the job, or of "candidates"."""
    return CANDIDATE if table == "candidates" else JOB[table]


def describe() -> list[dict[str, str]]:
    """Every key as text: file, table, key, what it may be, whether it must be there, meaning."""
    return [
        {
            "file": file,
            "table": field.key.table,
            "key": field.key.name,
            "needed": "needed" if field.needed else "",
            "allowed": _allowed(field),
            "default": _default(field.key.table, field.key.name),
            "meaning": field.key.doc,
        }
        for file, fields in (
            ("JOB", (*TOP, *(field for table in JOB.values() for field in table))),
            ("CANDIDATES", CANDIDATE),
        )
        for field in fields
    ]


def table_text() -> str:
    """The keys as plain text."""
    lines, shown = [], ("", "")
    for row in describe():
        if (row["file"], row["table"]) != shown:
            if row["file"] != shown[0]:
                lines += ["", f"{row['file']}: begins with {row['file'].lower()}_file = 1"]
            shown = (row["file"], row["table"])
            lines += ["", f"[{row['table']}]"] if row["table"] else []
        must = " (needed)" if row["needed"] else ""
        allowed = f" ({row['allowed']})" if row["allowed"] else ""
        default = f", {row['default']} when left out" if row["default"] else ""
        lines.append(f"  {row['key']:<24}{row['meaning']}{allowed}{default}{must}")
    lines += ["", 'A quantity may have its own unit: mass = "40 lb", speed_rated = "0.4 in/s".']
    return "\n".join(lines[1:])


def _allowed(field: Field) -> str:
    if field.key.kind == "word":
        return " | ".join(name for name, _ in field.key.words)
    if field.key.kind == "bool":
        return "true | false"
    if field.key.kind == "text" or field.high == MOST.get(field.key.unit):
        return ""
    return field.range


def _default(table: str, name: str) -> str:
    """What a factor is when the job does not say."""
    if table != "factors":
        return ""
    if name == "uneven":
        return f"{UNEVEN:g}"
    value = float(getattr(Assumed(), FACTORS_OF[name]))
    return f"{value / 60.0 if name == 'duty_window_min' else value:g}"
