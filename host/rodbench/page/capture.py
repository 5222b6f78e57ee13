"""Where an end is, taken from where the rod rests now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rodbench.board import RESTING
from rodbench.errors import UsageError
from rodbench.page.feed import RATE_HZ, Feed

TAKEN = RATE_HZ // 2  # samples, half a second
SPREAD_RAW = 40  # more than that is no rest
FAR = 0.05  # of the stroke: further from the end than a pot slips
ENDS = {"retracted": "raw_retracted", "extended": "raw_extended"}


@dataclass(frozen=True, slots=True)
class Captured:
    """Changes for a draft, and what they mean in words."""

    changes: Mapping[int, Mapping[str, int]]
    said: str

    def __str__(self) -> str:
        return self.said


def endpoint(feed: Feed, axis: int, which: str) -> Captured:
    """The place where the rod rests as its retracted or extended end. Raises UsageError."""
    sample, trace = feed.last_axis.get(axis), feed.traces.get(axis)
    if which not in ENDS:
        raise UsageError(f"an end is retracted or extended, not {which!r}")
    if sample is None or trace is None or len(trace) < TAKEN:
        raise UsageError(f"axis {axis}: nothing has been heard of it yet", kept="no change")
    raw = trace.raw[-TAKEN:]
    if sample.state not in RESTING or np.ptp(raw) > SPREAD_RAW:
        raise UsageError(
            f"axis {axis} does not rest", kept="no change", hint="wait until it does, then again"
        )
    value = round(float(np.mean(raw)))
    live = feed.scopes[axis]
    if live["calibrated"]:
        _near(feed, axis, which, sample.position_mm or 0.0)
    said = f"{which} end at raw {value}, was {live[ENDS[which]]}; noise {np.std(raw):.1f} raw"
    return Captured({axis: {ENDS[which]: value}}, said)


def _near(feed: Feed, axis: int, which: str, position_mm: float) -> None:
    """An end far from the one that was learned would shift every position and soft stop."""
    stroke = feed.scopes[axis]["stroke_um"] / 1000
    away = abs(position_mm - (stroke if which == "extended" else 0.0))
    if away > FAR * stroke:
        raise UsageError(
            f"axis {axis} rests {feed.units.length(away)} from its {which} end",
            kept="no change",
            hint=f"that would shift every position: `rodbench calibrate endpoints {axis}`",
        )
