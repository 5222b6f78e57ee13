"""The linearity table of an axis's settings, in integers as the board reckons with it.

A way is a reading counted from the retracted endpoint, positive while extending. A knot is a way,
and the way that a pot without error would have shown there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

Knot = tuple[int, int]
WHOLE = 65536
"""A place of the table is a share of the stroke, in parts of this."""
STEEPEST = 2


def way_of(values: Mapping[str, int], raw: int) -> int:
    """A reading as a way."""
    way = raw - values["raw_retracted"]
    return -way if values["raw_extended"] < values["raw_retracted"] else way


def knots(values: Mapping[str, int]) -> list[Knot]:
    """The endpoints, and the interior points between them in the table's order."""
    span = way_of(values, values["raw_extended"])
    inner = [
        (way_of(values, values[f"table_raw_{n}"]), values[f"table_place_{n}"] * span // WHOLE)
        for n in range(1, values["table_points"] + 1)
    ]
    return [(0, 0), *inner, (span, span)]


def good(values: Mapping[str, int]) -> bool:
    """Whether it rises by at least 1 raw from knot to knot, and nowhere too steeply."""
    return all(
        0 < high - low <= STEEPEST * (to - start)
        for (start, low), (to, high) in pairwise(knots(values))
    )


def straight(table: Sequence[Knot], way: int) -> int:
    """What a pot without error would show; beyond the endpoints, the same."""
    if not 0 <= way < table[-1][0]:
        return way
    n = next(n for n, (to, _) in enumerate(table) if way < to)
    (start, low), (to, high) = table[n - 1 : n + 1]
    return low + (way - start) * (high - low) // (to - start)
