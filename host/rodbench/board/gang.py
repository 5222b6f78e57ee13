"""Two rods as one, as a board has it in force: how far one is ahead of the other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rodbench.board.types import AxisSample

if TYPE_CHECKING:
    from rodbench.board.board import Board


@dataclass(frozen=True, slots=True)
class Gang:
    """Both stop when they are `apart_trip_mm` apart, reckoned by share of stroke on the longer."""

    apart_trip_mm: float
    strokes_mm: tuple[float, float]

    @classmethod
    def of(cls, board: Board) -> Gang | None:
        """The gang that is in force on a board; None where each axis moves alone."""
        scopes = {0: board.read_scope(0)}
        if scopes[0].get("apart_trip_um"):
            scopes |= {axis: board.read_scope(axis) for axis in (1, 2)}
        return cls.by(scopes)

    @classmethod
    def by(cls, scopes: Mapping[int, Mapping[str, int]]) -> Gang | None:
        """The gang of these settings, wire integers by scope; None where each axis moves alone."""
        trip_um = scopes[0].get("apart_trip_um", 0)
        if not trip_um:
            return None
        strokes = [scopes[axis]["stroke_um"] / 1000 for axis in (1, 2)]
        return cls(trip_um / 1000, (strokes[0], strokes[1]))

    def ahead_mm(self, axis: int, samples: Mapping[int, AxisSample]) -> float | None:
        """How far `axis` is further out than the other, in mm of the longer rod, by the newest
        samples; None while one of the places is not known."""
        shares = []
        for number, stroke in zip((axis, 3 - axis), self._from(axis), strict=True):
            sample = samples.get(number)
            if sample is None or sample.position_mm is None:
                return None
            shares.append(sample.position_mm / stroke)
        return (shares[0] - shares[1]) * max(self.strokes_mm)

    def same_place_mm(self, axis: int, position_mm: float) -> float:
        """Where the other rod is when this one is there and both are level."""
        own, other = self._from(axis)
        return position_mm / own * other

    def _from(self, axis: int) -> tuple[float, float]:
        first, second = self.strokes_mm
        return (first, second) if axis == 1 else (second, first)
