"""Where a rod is, as far as anything tells it."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench_protocol.names import Feedback

from rodbench.board import AxisSample
from rodbench.settings.units import Units

_PLACES = {
    "retracted": "near the retracted end",
    "extended": "near the extended end",
    "between": "between the ends",
}
UNKNOWN = "place unknown"


def has_pot(axis: Mapping[str, int]) -> bool:
    """Whether a pot tells the position, by the axis's settings."""
    return axis["feedback"] != Feedback.NONE


def place_words(place: str | None) -> str:
    """Where a rod without a pot is, by a sample's `place`."""
    return UNKNOWN if place is None else _PLACES[place]


def where(sample: AxisSample, axis: Mapping[str, int], units: Units) -> str:
    """`101.5 mm`, `raw 4000` while uncalibrated, or, without a pot, `between the ends`."""
    if not has_pot(axis):
        return place_words(sample.place)
    if sample.position_mm is None:
        return f"raw {sample.raw}"
    return units.length(sample.position_mm)
