"""The linearity table in the machine file, [share of the pot, mm] a point, and on the wire."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from rodbench_protocol.table import WHOLE

NAME = "pot_table"
MOST = 8
WIRES = (
    "table_points",
    *(f"table_{part}_{n}" for part in ("raw", "place") for n in range(1, MOST + 1)),
)
NONE = dict.fromkeys(WIRES, 0)
MEANT = (
    f"write {NAME} = [[0.25, 51.2], [0.5, 101.9]]: at most {MOST} points of share of the pot and mm"
)

Point = tuple[float, float]


def read(raw: Any) -> str | None:
    """The value as text in one form; None where it is none."""
    if not isinstance(raw, list) or not 1 <= len(raw) <= MOST or not all(map(_point, raw)):
        return None
    return json.dumps(raw)


def _point(raw: Any) -> bool:
    if not isinstance(raw, list) or len(raw) != 2:
        return False
    numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in raw)
    return numbers and all(map(math.isfinite, raw)) and 0 <= raw[0] <= 1 and raw[1] >= 0


def to_wire(text: str, stroke_um: int, full_scale: int) -> dict[str, int]:
    """Wire settings of a value that `read` gave."""
    shares: list[Point] = json.loads(text)
    return of_points([(pot * full_scale, mm) for pot, mm in shares], stroke_um)


def of_points(points: Sequence[Point], stroke_um: int) -> dict[str, int]:
    """Wire settings of points of (raw, mm)."""
    values = NONE | {"table_points": len(points)}
    for n, (raw, mm) in enumerate(points, 1):
        place = round(1000 * mm / stroke_um * WHOLE)
        values |= {f"table_raw_{n}": round(raw), f"table_place_{n}": min(place, WHOLE - 1)}
    return values


def to_toml(values: Mapping[str, int], full_scale: int) -> str:
    """The points as the file has them; `to_wire` gives the same integers back."""
    stroke_um = values["stroke_um"]
    points = [
        [
            round(values[f"table_raw_{n}"] / full_scale, 6),
            _mm(values[f"table_place_{n}"], stroke_um),
        ]
        for n in range(1, values["table_points"] + 1)
    ]
    return json.dumps(points)


def _mm(place: int, stroke_um: int) -> float:
    """With the fewest digits that still mean the place."""
    exact = place / WHOLE * stroke_um / 1000
    for digits in range(2, 9):
        if round(1000 * round(exact, digits) / stroke_um * WHOLE) == place:
            return round(exact, digits)
    return exact


def used(values: Mapping[str, int]) -> dict[str, int]:
    """The wire settings of the points in use, the others 0."""
    have = values["table_points"]
    kept = [f"table_{part}_{n}" for part in ("raw", "place") for n in range(1, have + 1)]
    return NONE | {"table_points": have} | {wire: values[wire] for wire in kept}
