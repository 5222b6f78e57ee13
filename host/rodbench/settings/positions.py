"""Places along the stroke as a person writes them: "3 mm", "1.2 in", "30 deg", "50 %"."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from rodbench.science.linkage import Linkage
from rodbench.settings.quantity import QuantityError, convert, split

_TURNS = {"deg", "degree", "degrees", "°"}
_NAME = re.compile(r"[^\W\d_][\w -]{0,39}")
_WIRE_MM = 0.001  # the board counts in um: what misses a soft stop by less is meant to be at it


class Measure(Enum):
    """What the number of a place counts."""

    MM = "mm from the retracted end"
    SHARE = "share of the way between the soft stops"
    DEG = "degrees of the linkage"


@dataclass(frozen=True, slots=True)
class Place:
    """A place as it was written, and what it means."""

    text: str
    measure: Measure
    value: float


def read_place(text: str) -> Place:
    """Raises QuantityError for what is no place."""
    number, unit = split(text)
    if unit == "%":
        return Place(text, Measure.SHARE, number / 100)
    if unit.lower() in _TURNS:
        return Place(text, Measure.DEG, number)
    try:
        return Place(text, Measure.MM, convert(text, "mm"))
    except QuantityError:
        raise QuantityError(f"'{unit}' is no length, nor deg, nor %") from None


def wrong_name(name: str) -> str | None:
    """Why a position cannot be called so; None when it can."""
    if _NAME.fullmatch(name):
        return None
    return "a name of a position begins with a letter; letters, digits, spaces, - and _ may follow"


def near(name: str, names: Iterable[str]) -> str:
    """Of the names that are there, the one that was probably meant; empty when none is near."""
    found = difflib.get_close_matches(name, list(names), n=1, cutoff=0.6)
    return found[0] if found else ""


@dataclass(frozen=True, slots=True)
class Way:
    """The way of one axis: its soft stops in mm, and its linkage, or why there is none."""

    low_mm: float
    high_mm: float
    linkage: Linkage | None = None
    why_no_angle: str = "degrees need a [linkage] in the machine file"

    def mm(self, place: Place) -> float:
        """The place in mm from the retracted end, whether or not it lies between the soft stops.

        Raises ValueError, with the reason to put behind the place, for degrees that cannot be had
        and for a share of the way that is none.
        """
        if place.measure is Measure.MM:
            return place.value
        if place.measure is Measure.SHARE:
            return self._share_mm(place)
        return self._angle_mm(place)

    def holds(self, mm: float) -> bool:
        """Whether a position lies between the soft stops."""
        return self.low_mm - _WIRE_MM < mm < self.high_mm + _WIRE_MM

    def reach(self) -> str:
        """The angles between the soft stops, rounded inwards: `0.5 to 30.8 deg`.

        Raises ValueError where the linkage makes no triangle there.
        """
        assert self.linkage is not None
        try:
            low, high = self.linkage.span_deg(self.low_mm, self.high_mm)
        except ValueError:
            raise ValueError(
                "the linkage makes no triangle all the way; settings check says why"
            ) from None
        return f"{math.ceil(10 * low) / 10:.1f} to {math.floor(10 * high) / 10:.1f} deg"

    def _share_mm(self, place: Place) -> float:
        if not 0.0 <= place.value <= 1.0:
            raise ValueError("0 to 100 % is the way between the soft stops")
        return self.low_mm + place.value * (self.high_mm - self.low_mm)

    def _angle_mm(self, place: Place) -> float:
        if self.linkage is None:
            raise ValueError(self.why_no_angle)
        reach = self.reach()
        beyond = f"out of reach: between the soft stops there are {reach}"
        try:
            mm = self.linkage.position_mm(place.value)
        except ValueError:
            raise ValueError(beyond) from None
        if not self.holds(mm):
            raise ValueError(beyond)
        return min(self.high_mm, max(self.low_mm, mm))
