"""Candidates against a job: numpy arrays of (candidates, places of the travel).

Speed and current under load: a brushed motor behind a gear and a screw has V = I R + K v and a
current in proportion to the force (any machines textbook), so both follow straight lines from no
load to rated load. At another voltage the speed changes by the volts over K, and what a given load
takes off stays the same: without load, speed in proportion to voltage but for friction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .candidate import Assumed, Columns, Sheet, columns
from .column import critical_n, least_rod_mm
from .loads import Array, Travel
from .trapezoid import least_time

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Demand:
    """What the job asks for: seconds allowed each way, cycles an hour, the supply, ramps, and
    whether the machine itself keeps the load from driving the rod."""

    extend_s: float
    retract_s: float
    cycles_per_hour: float
    volts: float
    source_ohm: float = 0.0
    limit_a: float | None = None
    acceleration_mm_s2: float = 20.0
    deceleration_mm_s2: float = 20.0
    brake: bool = False


@dataclass(frozen=True, slots=True)
class Check:
    """One question to every candidate. `margin` is have over need (mm where `in_mm`), NaN where
    nothing is known; it must reach `wanted`."""

    name: str
    have: Array
    need: Array
    margin: Array
    wanted: float
    in_mm: bool = False

    @property
    def holds(self) -> Bools:
        """True where it is reached, or cannot be judged."""
        return np.isnan(self.margin) | (self.margin >= self.wanted)


@dataclass(frozen=True, slots=True)
class Sized:
    """Everything about every candidate. Speeds (candidates, places); the rest (candidates,)."""

    columns: Columns
    speed_extend_mm_s: Array
    speed_retract_mm_s: Array
    extend_s: Array
    retract_s: Array
    peak_a: Array
    stall_n: Array
    stall_a: Array
    free_mm_s: Array  # without load, at this supply
    energy_wh: Array  # from the supply, one cycle
    duty: Array  # needed
    least_rod_mm: Array
    power_w: Array  # rated force times rated speed
    checks: tuple[Check, ...]

    @property
    def fits(self) -> Bools:
        """True where no check fails."""
        all_hold: Bools = np.logical_and.reduce([check.holds for check in self.checks])
        return all_hold

    @property
    def closest(self) -> Array:
        """The least margin over what is wanted, of all that are ratios: how near it comes."""
        ratios = [c.margin / c.wanted for c in self.checks if not c.in_mm]
        least: Array = np.fmin.reduce(ratios)
        return least


def current(c: Columns, force_n: Array) -> Array:
    """A, on the line from no load to rated load; an aiding load draws what no load draws."""
    share = np.maximum(force_n, 0.0) / c.force_n[:, None]
    return c.amps_free[:, None] + (c.amps_rated - c.amps_free)[:, None] * share


def speed(c: Columns, force_n: Array, volts: float, source_ohm: float = 0.0) -> Array:
    """mm/s at a supply of `volts` behind `source_ohm`; 0 where it stalls. An aiding load is not
    taken to make it faster."""
    share = np.maximum(force_n, 0.0) / c.force_n[:, None]
    lost = source_ohm * np.nan_to_num(current(c, force_n))
    taken = (c.speed_free_mm_s - c.speed_rated_mm_s)[:, None] * share
    more = (volts - lost - c.volts[:, None]) / c.constant_v_s_per_mm[:, None]
    cap = c.speed_cap_mm_s[:, None] * (volts - lost) / c.volts[:, None]
    return np.maximum(np.minimum(c.speed_free_mm_s[:, None] + more - taken, cap), 0.0)


def stall_force(c: Columns, volts: float, source_ohm: float = 0.0) -> Array:
    """N at which the line of speed comes to zero."""
    constant, idle_a = c.constant_v_s_per_mm, np.nan_to_num(c.amps_free)
    free = c.speed_free_mm_s + (volts - source_ohm * idle_a - c.volts) / constant
    more_a = np.nan_to_num(c.amps_rated) - idle_a
    taken = c.speed_free_mm_s - c.speed_rated_mm_s + source_ohm * more_a / constant
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(free > 0.0, c.force_n * free / taken, 0.0)


def size(travel: Travel, duty: Demand, sheets: Sequence[Sheet], assumed: Assumed) -> Sized:
    """Every candidate through the whole travel."""
    c = columns(sheets, assumed)
    supply = (duty.volts, duty.source_ohm)
    ways = [speed(c, force, *supply) for force in (travel.extend_n, travel.retract_n)]
    amps = [current(c, force) for force in (travel.extend_n, travel.retract_n)]
    times = (_time(travel, ways[0], duty), _time(travel, ways[1], duty))
    needed = duty.cycles_per_hour * (times[0] + times[1]) / 3600.0
    pins = _pins(travel, c)
    thinnest = least_rod_mm(
        travel.pressed_n, pins, assumed.buckling_factor, assumed.modulus_gpa, assumed.yield_mpa
    ).max(axis=1)
    stall_n, peak_a = stall_force(c, *supply), np.maximum(amps[0].max(axis=1), amps[1].max(axis=1))
    return Sized(
        columns=c,
        speed_extend_mm_s=ways[0],
        speed_retract_mm_s=ways[1],
        extend_s=times[0],
        retract_s=times[1],
        peak_a=peak_a,
        stall_n=stall_n,
        stall_a=duty.volts / (c.ohms + duty.source_ohm),
        free_mm_s=speed(c, np.zeros(1), *supply)[:, 0],
        energy_wh=_energy(travel, amps[0], ways[0], duty.volts)
        + _energy(travel, amps[1], ways[1], duty.volts),
        duty=needed,
        least_rod_mm=thinnest,
        power_w=c.force_n * c.speed_rated_mm_s / 1000.0,
        checks=_checks(travel, duty, sheets, c, assumed, (*times, needed), stall_n, peak_a),
    )


def _weights(travel: Travel) -> Array:
    """Of the trapezium rule over the travel, in mm."""
    weights = np.full(travel.place_mm.size, travel.way_mm / (travel.place_mm.size - 1))
    weights[[0, -1]] /= 2.0
    return weights


def _over_speed(travel: Travel, of: Array | float, way: Array) -> Array:
    """Integral of `of` / speed over the travel; infinite where it stalls."""
    with np.errstate(divide="ignore"):
        return (of / way) @ _weights(travel)


def _time(travel: Travel, way: Array, duty: Demand) -> Array:
    """Seconds for the whole travel, rest to rest."""
    steady, ramps = (
        _over_speed(travel, 1.0, way),
        (duty.acceleration_mm_s2, duty.deceleration_mm_s2),
    )
    mean = [travel.way_mm / seconds if np.isfinite(seconds) else 0.0 for seconds in steady]
    return np.array(
        [least_time(travel.way_mm, v, *ramps) if v > 0.0 else float("inf") for v in mean]
    )


def _energy(travel: Travel, amps: Array, way: Array, volts: float) -> Array:
    return volts * _over_speed(travel, amps, way) / 3600.0


def _pins(travel: Travel, c: Columns) -> Array:
    """Distance between the pins, (candidates, places): the job's own, else the rod's."""
    if travel.pins_mm is not None:
        return np.broadcast_to(travel.pins_mm, (len(c), travel.place_mm.size))
    return c.retracted_mm[:, None] + travel.place_mm


def _checks(
    travel: Travel,
    duty: Demand,
    sheets: Sequence[Sheet],
    c: Columns,
    assumed: Assumed,
    spent: tuple[Array, Array, Array],
    stall_n: Array,
    peak_a: Array,
) -> tuple[Check, ...]:
    extend_s, retract_s, needed = spent
    worst = max(travel.extend_n.max(), travel.retract_n.max())
    late = np.maximum(extend_s / duty.extend_s, retract_s / duty.retract_s)
    times = np.where(extend_s / duty.extend_s >= late, duty.extend_s, duty.retract_s)
    checks = [
        _ratio("force", np.minimum(c.force_n, stall_n), worst, assumed.force_factor),
        _ratio("static", c.static_n, travel.rest_n.max(), assumed.static_factor),
        _ratio("time", times, times * late, assumed.time_factor),
        _ratio("duty", c.duty, needed, assumed.duty_factor),
        _ratio("run", c.duty * c.window_s, np.maximum(extend_s, retract_s), 1.0),
        *_room(travel, c),
        _buckling(travel, c, assumed),
        _held(travel, duty, sheets),
    ]
    if duty.limit_a is not None:
        checks.append(
            _ratio("current", np.full(len(c), duty.limit_a), peak_a, assumed.current_factor)
        )
    return tuple(checks)


def _ratio(name: str, have: Array, need: Array | float, wanted: float) -> Check:
    """have / need; infinite where nothing is needed."""
    needs = np.broadcast_to(np.asarray(need, dtype=float), have.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        margin = np.where(needs <= 0.0, np.inf, have / needs)
    return Check(name, have, needs, margin, wanted)


def _room(travel: Travel, c: Columns) -> list[Check]:
    """Stroke against the way, and the rod's lengths against the pins' distances, in mm."""
    way = np.full(len(c), travel.way_mm)
    checks = [Check("stroke", c.stroke_mm, way, c.stroke_mm - way, 0.0, in_mm=True)]
    if travel.pins_mm is not None:
        short, long = np.full(len(c), travel.pins_mm[0]), np.full(len(c), travel.pins_mm[-1])
        extended = c.retracted_mm + c.stroke_mm
        checks.append(
            Check("short", c.retracted_mm, short, short - c.retracted_mm, 0.0, in_mm=True)
        )
        checks.append(Check("long", extended, long, extended - long, 0.0, in_mm=True))
    return checks


def _buckling(travel: Travel, c: Columns, assumed: Assumed) -> Check:
    """At the worst place: where the force comes nearest to what the rod bears at that length."""
    bears = critical_n(_pins(travel, c), c.rod_mm[:, None], assumed.modulus_gpa, assumed.yield_mpa)
    pressed = np.maximum(travel.pressed_n, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        margin = np.where(pressed > 0.0, bears / pressed, np.where(np.isnan(bears), np.nan, np.inf))
    at = margin.argmin(axis=1)
    rows = np.arange(len(c))
    return Check(
        "buckling", bears[rows, at], pressed[at], margin[rows, at], assumed.buckling_factor
    )


def _held(travel: Travel, duty: Demand, sheets: Sequence[Sheet]) -> Check:
    """Whether the load may turn the rod, by the sheet's own word; a brake settles it."""
    driven = not duty.brake and travel.rest_n.max() > 0.0
    margins = {True: np.inf, False: 0.0, None: np.nan}
    margin = np.array([margins[s.self_locking] if driven else np.inf for s in sheets])
    return Check("held", np.ones(len(sheets)), np.ones(len(sheets)), margin, 1.0)
