"""What procedures ask of the place where the machine file is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class KnownRod:
    """What a calibration on the bench has found out about a rod: its own ends.

    `raw` at the (retracted, extended) end, as the board sums its conversions; mm.
    """

    stroke_mm: float
    raw: tuple[int, int]
    kinds: tuple[str, str]
    spread_mm: float
    retracted_pin_to_pin_mm: float | None


class Keeper(Protocol):
    """Where the machine file is kept."""

    def keep(
        self,
        axis: int,
        rod: str,
        settings: Mapping[str, int],
        file_only: Mapping[str, object],
        notes: Mapping[str, str],
    ) -> None:
        """Write the axis's wire settings and the file's own keys, saved when this returns."""
        ...

    def digest(self) -> int:
        """The digest that a board with the file's settings tells."""
        ...

    def wrong_rod(self, axis: int, name: str) -> str | None:
        """Why a rod of this name cannot be kept on the axis; None when it can."""
        ...

    def wrong_feedback(self, axis: int, word: str) -> str | None:
        """Why a rod with this feedback ("pot", "none") cannot be on the axis; None when it can."""
        ...

    def known_rod(self, name: str) -> KnownRod | None:
        """The rod's own ends, where a calibration on the bench has found them."""
        ...
