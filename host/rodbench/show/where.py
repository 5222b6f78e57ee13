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


def uncalibrated_words(axis: Mapping[str, int]) -> str:
    """What an axis without positions can do, after "axis 1", by its settings."""
    if has_pot(axis):
        return "is not calibrated: jog only"
    timed = axis["stroke_time_extend_cs"] and axis["stroke_time_retract_cs"]
    if timed and axis["current_sensor"]:
        return "has a rod without a pot: jog, and runs to its ends"
    return "has a rod without a pot: jog only"


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
