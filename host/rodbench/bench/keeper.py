"""What procedures ask of the place where the machine file is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

# Settings of an axis that a person gives and no step learns: they hold while the rod is learned.
GIVEN = (
    "stop_by", "output_max_permille", "trip_ms", "rated_ma", "thermal_time_s",
    "thermal_warn_percent", "thermal_trip_percent",
)  # fmt: skip
BESIDE = ("fold_back_ma", "move_hold_ms")  # these hold once the limits beside them are known
DUTY = ("duty_share_permille", "duty_window_s")  # proposed again


def is_local(key: str) -> bool:
    """Whether a key is about the local input."""
    return key.startswith("local_")


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

    def rod_on(self, axis: int) -> str | None:
        """Name of the rod that the machine file has on the axis; None when it has none."""
        ...

    def given(self, axis: int, rod: str, keys: Iterable[str]) -> dict[str, int]:
        """What the machine file itself says of these keys for this rod on the axis, in wire
        integers."""
        ...

    def known_rod(self, name: str) -> KnownRod | None:
        """The rod's own ends, where a calibration on the bench has found them."""
        ...
