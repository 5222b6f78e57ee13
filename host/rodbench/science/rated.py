"""What a rod without a label is made for: its motor from runs at low voltage, and a guess of the
voltage that it is rated for.

Brushed motor in steady motion: V = I R + K v (any machines textbook; v is the rod's speed). The
bands of what sound rods do are common practice, no source: they only weigh one voltage against
another, and the guess says how far it can be trusted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .stall import Point

PLAUSIBLE = 0.15  # a voltage that weighs at least this much is named
SURE = 0.8
# Voltages that rods are sold for, and how often one meets them: common practice, no source.
VOLTAGES = {6.0: 0.04, 12.0: 0.6, 24.0: 0.32, 36.0: 0.04}


@dataclass(frozen=True, slots=True)
class Motor:
    """Ohms (None without a current sensor), V per mm/s, and volts that friction takes."""

    resistance_ohm: float | None
    constant_v_s_per_mm: float
    friction_v: float

    def speed_mm_s(self, volts: float) -> float:
        """Free speed at a voltage."""
        return max(0.0, (volts - self.friction_v) / self.constant_v_s_per_mm)

    def stall_a(self, volts: float) -> float | None:
        """Current with the rod held."""
        return None if self.resistance_ohm is None else volts / self.resistance_ohm


@dataclass(frozen=True, slots=True)
class Guess:
    """The voltage that fits best, its share of the weight, every plausible one (the lowest first),
    and a line of reason for each thing looked at."""

    volts: float
    weight: float
    plausible: tuple[float, ...]
    reasons: tuple[str, ...]

    @property
    def sure(self) -> bool:
        """Whether it stands clear of the others."""
        return self.weight >= SURE

    @property
    def safe_v(self) -> float:
        """What every plausible rating can bear: a rod is only slower at less than its own."""
        return min(self.plausible)


@dataclass(frozen=True, slots=True)
class _Band:
    """What sound rods do: the middle, and the spread as a factor (one sigma of the logarithm)."""

    name: str
    middle: float
    factor: float
    unit: str
    words: str

    def off(self, value: float) -> float:
        """How many sigmas a value lies from the middle."""
        return math.log(max(value, 1e-6) / self.middle) / math.log(self.factor)


_FRICTION = _Band("friction", 0.11, 1.6, "%", "of it goes into friction (sound rods: 4 to 25 %)")
_SPEED = _Band("speed", 12.0, 2.4, "mm/s", "free speed (rods: 3 to 60 mm/s)")
_POWER = _Band("stall", 65.0, 2.2, "W", "into the stalled motor (rods this size: 15 to 250 W)")


def motor(points: Sequence[Point]) -> Motor:
    """The motor from steady runs, volts at the motor, both ways, least squares.

    Raises ValueError when the runs lie too close together to tell.
    """
    volts = np.array([p.volts for p in points])
    speed = np.array([p.speed_mm_s for p in points])
    current = np.array([p.current_a for p in points])
    if len(points) < 2 or speed.max() < 1.3 * max(speed.min(), 1e-9):
        raise ValueError("the runs lie too close together to tell the motor from them")
    if not current.any():
        (friction, constant), *_ = np.linalg.lstsq(
            np.column_stack([np.ones_like(speed), speed]), volts, rcond=None
        )
        return _sound(None, float(constant), float(friction))
    (ohms, constant), *_ = np.linalg.lstsq(np.column_stack([current, speed]), volts, rcond=None)
    return _sound(float(ohms), float(constant), float(ohms * current.mean()))


def _sound(ohms: float | None, constant: float, friction: float) -> Motor:
    if constant <= 0.0 or friction <= 0.0 or (ohms is not None and ohms <= 0.0):
        raise ValueError("the runs do not follow a motor's line")
    return Motor(ohms, constant, friction)


def guess(found: Motor) -> Guess:
    """The rated voltage that fits best, with reasons."""
    weights = {volts: share * _fit(found, volts) for volts, share in VOLTAGES.items()}
    total = sum(weights.values())
    weights = {volts: weight / total for volts, weight in weights.items()}
    best = max(weights, key=lambda volts: weights[volts])
    plausible = tuple(sorted(v for v, w in weights.items() if w >= PLAUSIBLE or v == best))
    other = max((v for v in weights if v != best), key=lambda volts: weights[volts])
    return Guess(best, weights[best], plausible, _reasons(found, best, other))


def _seen(found: Motor, volts: float) -> list[tuple[_Band, float]]:
    """What the rod would do at a voltage."""
    seen = [(_FRICTION, found.friction_v / volts), (_SPEED, found.speed_mm_s(volts))]
    stall = found.stall_a(volts)
    return seen if stall is None else [*seen, (_POWER, stall * volts)]


def _fit(found: Motor, volts: float) -> float:
    if found.friction_v >= volts:
        return 0.0
    return math.exp(-sum(band.off(value) ** 2 for band, value in _seen(found, volts)) / 2.0)


def _reasons(found: Motor, best: float, other: float) -> tuple[str, ...]:
    pairs = zip(_seen(found, best), _seen(found, other), strict=True)
    return tuple(
        f"at {best:g} V {_said(band, value)}, at {other:g} V {_said(band, elsewhere)} {band.words}"
        for (band, value), (_, elsewhere) in pairs
    )


def _said(band: _Band, value: float) -> str:
    shown = 100.0 * value if band.unit == "%" else value
    return f"{shown:.2g} {band.unit}" if shown < 100 else f"{shown:.0f} {band.unit}"
