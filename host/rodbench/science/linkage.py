"""A hinged vent as a triangle: hinge, frame pin, vent pin, and the rod between the two pins.

Law of cosines (any geometry textbook): the angle at the hinge between the two pins is
acos((a² + b² - s²) / (2ab)), with the rod's pin-to-pin length s opposite to it. It grows with s.
The vent's own angle counts from where the vent is closed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any


def length_squared(a: float, b: float, cosine: Any) -> Any:
    """Square of the rod's length between pins at a and b from the hinge; a number or an array."""
    return a * a + b * b - 2.0 * a * b * cosine


def cosine(a: float, b: float, length: Any) -> Any:
    """Cosine of the angle at the hinge that a rod of this length makes; a number or an array."""
    return (a * a + b * b - length * length) / (2.0 * a * b)


@dataclass(frozen=True, slots=True)
class Linkage:
    """Lengths in mm. Position 0 of the rod is its retracted end, where it is `retracted_mm` from
    pin to pin; 0 deg is where it stands at `closed_at_mm`. `opens` is 1 when extending opens the
    vent, -1 when retracting does."""

    frame_mm: float
    vent_mm: float
    retracted_mm: float
    closed_at_mm: float = 0.0
    opens: int = 1

    def holds(self, position_mm: float) -> bool:
        """Whether the three lengths make a triangle at this position."""
        length = self.retracted_mm + position_mm
        return abs(self.frame_mm - self.vent_mm) < length < self.frame_mm + self.vent_mm

    def room_mm(self) -> tuple[float, float]:
        """The positions between which the lengths make a triangle, both excluded."""
        short = abs(self.frame_mm - self.vent_mm)
        return short - self.retracted_mm, self.frame_mm + self.vent_mm - self.retracted_mm

    def angle_deg(self, position_mm: float) -> float:
        """The vent's angle. Raises ValueError where there is no triangle."""
        return self.opens * (self._hinge_deg(position_mm) - self._hinge_deg(self.closed_at_mm))

    def position_mm(self, angle_deg: float) -> float:
        """Where the rod stands at this angle. Raises ValueError where the pins lie in one line or
        the vent would have to turn through itself."""
        hinge = self._hinge_deg(self.closed_at_mm) + self.opens * angle_deg
        if not 0.0 < hinge < 180.0:
            raise ValueError(f"the two pins would be {hinge:.1f} deg apart at the hinge")
        a, b = self.frame_mm, self.vent_mm
        turned = math.cos(math.radians(hinge))
        return math.sqrt(length_squared(a, b, turned)) - self.retracted_mm

    def span_deg(self, low_mm: float, high_mm: float) -> tuple[float, float]:
        """Least and greatest angle between two positions. Raises ValueError without a triangle."""
        first, last = sorted((self.angle_deg(low_mm), self.angle_deg(high_mm)))
        return first, last

    def _hinge_deg(self, position_mm: float) -> float:
        if not self.holds(position_mm):
            low, high = self.room_mm()
            raise ValueError(
                f"at {position_mm:.1f} mm the pins make no triangle: only from {low:.1f} to "
                f"{high:.1f} mm"
            )
        length = self.retracted_mm + position_mm
        return math.degrees(math.acos(cosine(self.frame_mm, self.vent_mm, length)))
