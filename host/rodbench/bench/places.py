"""Where a reading of the pot puts the rod, as the board reckons it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rodbench_protocol import table

from rodbench.board.convert import mm_per_raw
from rodbench.science.linearity import bent


def places(live: Mapping[str, int]) -> Callable[[float], float]:
    """mm of a raw reading, by the settings of an axis: along its table where there is one, else by
    the line through its endpoints, and by that beyond them."""
    scale, start = mm_per_raw(live), live["raw_retracted"]
    if not live.get("table_points"):
        return lambda raw: (raw - start) * scale
    knots, sign = table.knots(live), 1 if scale > 0.0 else -1

    def along(raw: float) -> float:
        way = sign * (raw - start)
        inside = 0.0 <= way < knots[-1][0]
        return (float(bent(knots, [way])[0]) if inside else way) * abs(scale)

    return along
