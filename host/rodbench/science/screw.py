"""Power screw: torque both ways, and whether the load can turn it.

Source: J. E. Shigley, Mechanical Engineering Design, chapter on screws (raise and lower torque of
a thread with mean diameter dm, lead l, friction f, half thread angle; collar friction fc at dc).
Any consistent units; angles in degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

HALF_ANGLES = {"square": 0.0, "acme": 14.5, "trapezoidal": 15.0}  # ASME B1.5, ISO 2904


@dataclass(frozen=True, slots=True)
class Screw:
    """A thread: mean diameter and lead (pitch times starts) in one unit, half thread angle."""

    mean: float
    lead: float
    half_angle_deg: float = 0.0

    @property
    def lead_angle_deg(self) -> float:
        """Slope of the thread, unrolled at its mean diameter."""
        return math.degrees(math.atan(self.lead / (math.pi * self.mean)))

    def raising(self, force: float, friction: float, collar: tuple[float, float] = (0, 0)) -> float:
        """Torque to move against the force. `collar` is (friction, mean diameter)."""
        slip = self._slip(friction)
        turned = (self.lead + math.pi * self.mean * slip) / (math.pi * self.mean - slip * self.lead)
        return force * self.mean / 2.0 * turned + _collar(force, collar)

    def lowering(
        self, force: float, friction: float, collar: tuple[float, float] = (0, 0)
    ) -> float:
        """Torque to move with the force; below zero the load turns the screw by itself."""
        slip = self._slip(friction)
        turned = (math.pi * self.mean * slip - self.lead) / (math.pi * self.mean + slip * self.lead)
        return force * self.mean / 2.0 * turned + _collar(force, collar)

    def efficiency(self, friction: float, collar: tuple[float, float] = (0, 0)) -> float:
        """Share of the turning work that arrives: F l / (2 pi T)."""
        return self.lead / (2.0 * math.pi * self.raising(1.0, friction, collar))

    def locks(self, friction: float) -> bool:
        """Whether thread friction alone holds the load: f / cos(half angle) >= l / (pi dm)."""
        return self._slip(friction) >= self.lead / (math.pi * self.mean)

    def back_efficiency(self, friction: float) -> float:
        """Share of the load's work that would arrive at the motor: tan(lead angle - friction
        angle) / tan(lead angle); at or below zero the screw locks."""
        angle = math.atan(self.lead / (math.pi * self.mean))
        return math.tan(angle - math.atan(self._slip(friction))) / math.tan(angle)

    def _slip(self, friction: float) -> float:
        return friction / math.cos(math.radians(self.half_angle_deg))


def _collar(force: float, collar: tuple[float, float]) -> float:
    friction, diameter = collar
    return force * friction * diameter / 2.0
