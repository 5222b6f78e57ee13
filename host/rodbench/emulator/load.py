"""What the rod pushes: a constant force, a spring, or a hinged arm. Positive resists extending."""

from __future__ import annotations

import math
from dataclasses import dataclass

GRAVITY = 9.80665


@dataclass(slots=True)
class Load:
    """Force on the rod in N.

    "constant": force_n. "spring": force_n + spring_n_per_mm (position - spring_from_mm), and no
    less than force_n. "hinge": an arm of arm_kg, its weight at arm_weight_mm from the hinge; the
    rod's pin at arm_pin_mm on the arm, its other pin at frame_pin_mm from the hinge and
    frame_angle_deg below the horizontal; pin_to_pin_mm is the rod's length at position 0.
    """

    kind: str = "constant"
    force_n: float = 0.0
    spring_n_per_mm: float = 0.0
    spring_from_mm: float = 0.0
    arm_pin_mm: float = 150.0
    frame_pin_mm: float = 300.0
    frame_angle_deg: float = 60.0
    arm_weight_mm: float = 300.0
    arm_kg: float = 0.0
    pin_to_pin_mm: float = 260.0

    @property
    def constant(self) -> bool:
        """Whether the force is the same everywhere."""
        return self.kind == "constant"

    def at(self, position_mm: float) -> float:
        """Force in N at a position in mm."""
        if self.kind == "spring":
            pressed = max(0.0, position_mm - self.spring_from_mm)
            return self.force_n + self.spring_n_per_mm * pressed
        if self.kind == "hinge":
            return self.force_n + self._hinge(position_mm)
        return self.force_n

    def _hinge(self, position_mm: float) -> float:
        """F = m g c cos(theta) / h with h = a b sin(gamma) / s: statics, any textbook."""
        a, b, length = self.arm_pin_mm, self.frame_pin_mm, self.pin_to_pin_mm + position_mm
        cosine = (a * a + b * b - length * length) / (2.0 * a * b)
        gamma = math.acos(min(max(cosine, -0.9999), 0.9999))
        theta = gamma - math.radians(self.frame_angle_deg)
        lever = a * b * math.sin(gamma) / length
        return self.arm_kg * GRAVITY * self.arm_weight_mm * math.cos(theta) / lever
