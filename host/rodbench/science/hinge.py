"""A hinged flap or arm that a rod turns: statics of the triangle hinge, frame pin, flap pin.

The flap stands at its tilt above the horizontal, the frame pin at `below_deg` below it, so that
the angle at the hinge is tilt + below. Equilibrium about the hinge (any text on statics): rod force
times lever = sum of moments, with lever = a b sin(angle) / s, and s by the law of cosines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .linkage import cosine, length_squared
from .loads import GRAVITY, POINTS, Array, Carried, Travel, combined

LEAST_DEG = 2.0  # nearer than this to one line with the hinge, the rod has no lever to speak of


@dataclass(frozen=True, slots=True)
class Flap:
    """Lengths in mm from the hinge, angles in degrees. A negative `below_deg` is a frame pin above
    the horizontal; `opens_deg` below zero turns the free edge down. Friction in N m."""

    frame_mm: float
    pin_mm: float
    weight_mm: float
    area_mm: float
    closed_deg: float
    opens_deg: float
    below_deg: float
    friction_nm: float = 0.0

    @property
    def hinge_deg(self) -> tuple[float, float]:
        """The angle between the two pins at the hinge, closed and open; negative with the frame
        pin on the upper side."""
        closed = self.closed_deg + self.below_deg
        return closed, closed + self.opens_deg

    def no_lever(self) -> str | None:
        """Why this cannot turn all the way, or None."""
        for angle, when in zip(self.hinge_deg, ("closed", "open"), strict=True):
            if not LEAST_DEG <= abs(angle) <= 180.0 - LEAST_DEG:
                return f"{when}, the two pins stand {angle:.1f} deg apart at the hinge"
        if self.hinge_deg[0] * self.hinge_deg[1] < 0:
            return "on its way the two pins come into one line with the hinge"
        return None

    def pins_mm(self) -> tuple[float, float]:
        """Distance between the pins, closed and open."""
        turned = np.cos(np.radians(np.array(self.hinge_deg)))
        closed, opened = np.sqrt(length_squared(self.frame_mm, self.pin_mm, turned))
        return float(closed), float(opened)


def below_of(frame_mm: float, pin_mm: float, closed_mm: float, closed_deg: float) -> float:
    """`below_deg` from the pins' distance when closed, frame pin on the lower side.

    Raises ValueError where the three lengths make no triangle.
    """
    short, long = abs(frame_mm - pin_mm), frame_mm + pin_mm
    if not short < closed_mm < long:
        raise ValueError(f"only from {short:.1f} to {long:.1f} mm do the lengths make a triangle")
    return float(np.degrees(np.arccos(cosine(frame_mm, pin_mm, closed_mm)))) - closed_deg


def turned(carried: Carried, flap: Flap, points: int = POINTS) -> Travel:
    """Forces on the rod, evenly spaced along it from where it is shortest."""
    short, long = sorted(flap.pins_mm())
    pins = np.linspace(short, long, points)
    side = 1.0 if flap.hinge_deg[0] > 0 else -1.0
    angle = side * np.arccos(cosine(flap.frame_mm, flap.pin_mm, pins))
    tilt = angle - np.radians(flap.below_deg)
    lever = lever_mm(flap.frame_mm, flap.pin_mm, angle, pins)
    level = np.cos(tilt)
    return combined(
        carried,
        pins - pins[0],
        weight_n=carried.mass_kg * GRAVITY * flap.weight_mm * level / lever,
        # Snow lies on the area's plan, cos(tilt) of it, and its lever shrinks by the same.
        snow_per_pa=carried.area_m2 * flap.area_mm * np.maximum(level, 0.0) ** 2 / lever,
        wind_per_pa=carried.area_m2 * flap.area_mm / lever,
        friction_n=1000.0 * flap.friction_nm / np.abs(lever),
        pins_mm=pins,
        turned_deg=np.degrees(tilt) - flap.closed_deg,
    )


def lever_mm(frame_mm: float, pin_mm: float, angle_rad: Array, pins_mm: Array) -> Array:
    """ds / d(angle): how far the rod moves for each radian; negative where it shortens."""
    return frame_mm * pin_mm * np.sin(angle_rad) / pins_mm
