"""What a rod has to push through its whole travel, in N along the rod.

Sign: positive presses the rod together (resists extending), negative pulls it apart. Statics of a
body on a slope: weight W along the slope is W sin(angle), friction mu W cos(angle) (any text).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
GRAVITY = 9.80665  # m/s2, standard
POINTS = 200
# Which way the wind may press: against raising, with it, or either.
WINDS = {"both": (1.0, -1.0), "against": (1.0,), "with": (-1.0,)}


@dataclass(frozen=True, slots=True)
class Carried:
    """What is moved. Wind presses square to the area, snow lies on it (its plan for a slope).

    `along_n` is a force along the rod at the short and at the long end of the travel, a straight
    line in between; `friction_n` opposes either way. Pressures with `rest_` hold at rest only,
    where they are the greater; `rest_force_n` may act either way at rest.
    """

    mass_kg: float = 0.0
    area_m2: float = 0.0
    wind_pa: float = 0.0
    wind_way: str = "both"
    snow_pa: float = 0.0
    along_n: tuple[float, float] = (0.0, 0.0)
    friction_n: float = 0.0
    rest_wind_pa: float = 0.0
    rest_snow_pa: float = 0.0
    rest_force_n: float = 0.0
    rods: int = 1
    uneven: float = 1.0  # the most loaded of several rods bears this times its even share


@dataclass(frozen=True, slots=True)
class Travel:
    """Forces on one rod at evenly spaced places: greatest and least without friction, friction
    that opposes motion, and the same at rest. `pins_mm` is the distance between the pins, None
    where the job does not say; `turned_deg` is how far a flap has turned, None for a straight job.
    """

    place_mm: Array
    high_n: Array
    low_n: Array
    friction_n: Array
    rest_high_n: Array
    rest_low_n: Array
    pins_mm: Array | None = None
    turned_deg: Array | None = None

    @property
    def way_mm(self) -> float:
        """How far the rod moves."""
        return float(self.place_mm[-1] - self.place_mm[0])

    @property
    def extend_n(self) -> Array:
        """What the rod must push to extend; below zero the load pulls it out."""
        return self.high_n + self.friction_n

    @property
    def retract_n(self) -> Array:
        """What the rod must pull to retract; below zero the load pushes it in."""
        return self.friction_n - self.low_n

    @property
    def aiding_n(self) -> tuple[Array, Array]:
        """What drives the rod the way it goes, extending and retracting; friction is not counted
        on, as it may be gone tomorrow."""
        return np.maximum(-self.low_n, 0.0), np.maximum(self.high_n, 0.0)

    @property
    def rest_n(self) -> Array:
        """The greater of both ways, at rest."""
        return np.maximum(np.abs(self.rest_high_n), np.abs(self.rest_low_n))

    @property
    def pressed_n(self) -> Array:
        """What presses the rod together, moving or at rest; 0 where nothing does."""
        return np.maximum(np.maximum(self.extend_n, self.rest_high_n), 0.0)


@dataclass(frozen=True, slots=True)
class Slope:
    """A straight way: 0 deg is level, 90 deg straight up. `raises` is 1 when extending raises."""

    way_mm: float
    angle_deg: float
    friction: float = 0.0
    raises: int = 1
    shortest_mm: float | None = None  # between the pins, where the rod is shortest


def straight(carried: Carried, slope: Slope, points: int = POINTS) -> Travel:
    """Forces along a straight way."""
    place = np.linspace(0.0, slope.way_mm, points)
    angle = np.radians(slope.angle_deg)
    up = slope.raises * np.sin(angle) * np.ones(points)
    weight = carried.mass_kg * GRAVITY
    snow = carried.snow_pa * carried.area_m2
    slides = slope.friction * (weight + snow) * abs(np.cos(angle))
    pins = None if slope.shortest_mm is None else slope.shortest_mm + place
    wind = slope.raises * carried.area_m2 * np.ones(points)
    return combined(carried, place, up * weight, carried.area_m2 * up, wind, slides, pins)


def combined(
    carried: Carried,
    place_mm: Array,
    weight_n: Array,
    snow_per_pa: Array,
    wind_per_pa: Array,
    friction_n: Array | float,
    pins_mm: Array | None = None,
    turned_deg: Array | None = None,
) -> Travel:
    """The loads in every combination, shared out over the rods; all forces along the rod."""
    base = weight_n + np.linspace(*carried.along_n, place_mm.size)
    ways = WINDS[carried.wind_way]

    def spread(snow_pa: float, wind_pa: float) -> tuple[Array, Array]:
        winds = [way * wind_pa * wind_per_pa for way in ways]
        return _spread(base, [snow_pa * snow_per_pa], winds)

    high, low = spread(carried.snow_pa, carried.wind_pa)
    rest_high, rest_low = spread(
        max(carried.snow_pa, carried.rest_snow_pa), max(carried.wind_pa, carried.rest_wind_pa)
    )
    share = carried.uneven / carried.rods if carried.rods > 1 else 1.0
    return Travel(
        place_mm=place_mm,
        high_n=share * high,
        low_n=share * low,
        friction_n=share * (carried.friction_n + friction_n) * np.ones(place_mm.size),
        rest_high_n=np.maximum(share * rest_high, carried.rest_force_n),
        rest_low_n=np.minimum(share * rest_low, -carried.rest_force_n),
        pins_mm=pins_mm,
        turned_deg=turned_deg,
    )


def _spread(base: Array, *groups: list[Array]) -> tuple[Array, Array]:
    """Greatest and least sum when of each group one or none acts."""
    high, low = base, base
    for group in groups:
        one_or_none = np.stack([np.zeros_like(base), *group])
        high, low = high + one_or_none.max(axis=0), low + one_or_none.min(axis=0)
    return high, low
