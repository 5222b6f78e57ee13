"""What `measure motor` found, and how that stands beside what was known before."""

from __future__ import annotations

from dataclasses import dataclass

from .motor_fit import WAYS, Point, Value

SPEED_SHARE = 0.03  # a speed that differs by less agrees: load and supply are never quite the same
ZONE = 0.02  # of output, likewise
STALL_SHARE = 0.10  # two sigma of what an estimate allows for a winding's warmth


@dataclass(frozen=True, slots=True)
class Known:
    """By the settings in force: pairs are (extend, retract); 0: not known."""

    full_speed_mm_s: tuple[float, float]
    speed_supply_v: float
    dead_zone: tuple[float, float]
    stall_a: float
    trip_a: float


@dataclass(frozen=True, slots=True)
class MotorReport:
    """Each figure by name with its interval, the runs, what was said beforehand to be too coarse
    (names of figures), and how it was measured. `sensor_error`: the share that the current sensor's
    scale may be off, None: not known and not counted. `lifted`: the way in which the load pulled,
    "" without one. `metered`: a meter set the supply's scale."""

    figures: dict[str, Value]
    points: tuple[Point, ...]
    current_sensor: bool
    too_coarse: tuple[str, ...]
    metered: bool
    sensor_error: float | None
    force_n: float
    lifted: str
    turn_mm: float
    motor_s: float
    known: Known


@dataclass(frozen=True, slots=True)
class Check:
    """A figure beside what was known: what of, both in the same unit, and whether they agree."""

    what: str
    known: float
    found: float
    agrees: bool


def checks(report: MotorReport) -> list[Check]:
    """Speeds at the supply at which they were set, dead zones, and the stall where there is an
    estimate of it."""
    found, known = report.figures, report.known
    out = []
    for at, word in enumerate(WAYS.values()):
        if known.full_speed_mm_s[at]:
            speed = speed_at(report, word, known.speed_supply_v)
            room = SPEED_SHARE * speed + found[f"full_speed_{word}_mm_s"].half
            near = abs(speed - known.full_speed_mm_s[at]) <= room
            out.append(Check(f"full speed {word}", known.full_speed_mm_s[at], speed, near))
    for at, word in enumerate(WAYS.values()):
        zone = found[f"dead_zone_{word}"]
        near = abs(zone.best - known.dead_zone[at]) <= ZONE + zone.half
        out.append(Check(f"dead zone {word}", known.dead_zone[at], zone.best, near))
    if known.stall_a and "stall_a" in found:
        stall = found["stall_a"]
        near = abs(stall.best - known.stall_a) <= STALL_SHARE * stall.best + stall.half
        out.append(Check("stall", known.stall_a, stall.best, near))
    return out


def speed_at(report: MotorReport, word: str, volts: float) -> float:
    """Speed in mm/s at so many volts at the motor."""
    found = report.figures
    if not report.current_sensor:
        return (volts - found[f"lost_{word}_v"].best) * found[f"speed_{word}_mm_s_per_v"].best
    ohm, constant = found["resistance_ohm"].best, found["constant_v_s_per_mm"].best
    lost = ohm * found[f"friction_{word}_a"].best
    return (volts - lost) / (constant + ohm * found[f"friction_rise_{word}_a_s_per_mm"].best)


def never_trips(report: MotorReport) -> bool:
    """Whether the trip lies where a stalled motor may not come to it."""
    stall = report.figures.get("stall_a")
    return stall is not None and report.known.trip_a > 0.9 * (stall.best - stall.half)
