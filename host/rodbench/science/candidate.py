"""What data sheets say of rods, and the same as columns to reckon with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from .loads import Array
from .screw import Screw
from .stall import Point, resistance


@dataclass(frozen=True, slots=True)
class Sheet:
    """One rod's data sheet; None where it does not say. At least one of the two speeds is known."""

    name: str
    stroke_mm: float
    force_n: float  # rated dynamic
    volts: float
    retracted_mm: float | None = None  # pin to pin
    static_n: float | None = None
    speed_free_mm_s: float | None = None
    speed_rated_mm_s: float | None = None
    amps_free: float | None = None
    amps_rated: float | None = None
    duty: float | None = None
    window_s: float | None = None
    rod_mm: float | None = None
    pot: bool | None = None
    pot_ohm: float | None = None
    screw: Screw | None = None
    self_locking: bool | None = None
    motor: str = ""


@dataclass(frozen=True, slots=True)
class Assumed:
    """Factors that the job asks for, and what is assumed where a sheet is silent.

    The factors are common practice, no source: half as much again for force, four for a slender
    rod. Shares: a loaded rod runs at about 0.7 of its free speed and an idle one draws about a
    third of its rated current; 25 % duty is read as 5 min on in 20.
    """

    force_factor: float = 1.5
    static_factor: float = 1.5
    time_factor: float = 1.1
    duty_factor: float = 1.2
    current_factor: float = 1.2
    buckling_factor: float = 4.0
    spare_mm: float = 3.0  # at each end, for soft stops
    over_voltage: float = 1.2  # 14.4 V of a battery that is charged, on a 12 V rod
    thread_friction: float = 0.1  # greased; low, as the question is whether it still holds
    rated_speed_share: float = 0.7
    free_current_share: float = 0.33
    duty: float = 0.25
    window_s: float = 1200.0
    modulus_gpa: float = 200.0  # steel
    yield_mpa: float = 235.0  # the mildest


@dataclass(frozen=True, slots=True)
class Columns:
    """The sheets as columns of shape (candidates,); NaN where nothing is known or assumed.

    `speed_cap_mm_s`: where only the speed under load is known, a lighter load is not taken to run
    any faster. Between no load and rated load, speed and current follow a straight line. `ohms` is
    known where the sheet has both speeds and both currents; elsewhere the volts that friction takes
    are left out of `constant_v_s_per_mm`.
    """

    stroke_mm: Array
    retracted_mm: Array
    force_n: Array
    static_n: Array
    volts: Array
    speed_free_mm_s: Array
    speed_rated_mm_s: Array
    speed_cap_mm_s: Array
    amps_free: Array
    amps_rated: Array
    duty: Array
    window_s: Array
    rod_mm: Array
    ohms: Array
    constant_v_s_per_mm: Array

    def __len__(self) -> int:
        return int(self.stroke_mm.size)


def columns(sheets: Sequence[Sheet], assumed: Assumed) -> Columns:
    """The sheets as columns, gaps filled with what is assumed."""
    read = {
        name: np.array([getattr(sheet, name) for sheet in sheets], dtype=float)
        for name in (f.name for f in fields(Columns))
        if name in Sheet.__dataclass_fields__
    }
    free, rated = read["speed_free_mm_s"], read["speed_rated_mm_s"]
    share, amps = assumed.rated_speed_share, read["amps_rated"]
    ohms = np.array([_ohms(sheet) for sheet in sheets])
    idle_v = np.nan_to_num(ohms * read["amps_free"])
    read |= {
        "static_n": _else(read["static_n"], read["force_n"]),
        "speed_free_mm_s": _else(free, rated / share),
        "speed_rated_mm_s": _else(rated, free * share),
        "amps_free": _else(read["amps_free"], amps * assumed.free_current_share),
        "duty": _else(read["duty"], assumed.duty),
        "window_s": _else(read["window_s"], assumed.window_s),
    }
    return Columns(
        speed_cap_mm_s=np.where(np.isnan(free), rated, np.inf),
        ohms=ohms,
        constant_v_s_per_mm=(read["volts"] - idle_v) / read["speed_free_mm_s"],
        **read,
    )


def _ohms(sheet: Sheet) -> float:
    """Winding and driver, from the two points of the sheet; NaN where they do not settle it."""
    free_a, rated_a = sheet.amps_free, sheet.amps_rated
    free, rated = sheet.speed_free_mm_s, sheet.speed_rated_mm_s
    if free_a is None or rated_a is None or free is None or rated is None:
        return float("nan")
    found = resistance(Point(sheet.volts, free_a, free), Point(sheet.volts, rated_a, rated))
    return float("nan") if found is None else found


def _else(given: Array, otherwise: Array | float) -> Array:
    return np.where(np.isnan(given), otherwise, given)
