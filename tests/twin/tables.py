"""Random linearity tables that rule 23 allows."""

from __future__ import annotations

from random import Random


def table(points: int, ends: tuple[int, int], rng: Random) -> dict[str, int]:
    """A table between endpoints (raw), everywhere less than twice as steep as their line."""

    def near(n: int) -> float:
        return (n + rng.uniform(-0.15, 0.15)) / (points + 1)

    values = {"table_points": points}
    for n in range(1, points + 1):
        values[f"table_raw_{n}"] = round(ends[0] + (ends[1] - ends[0]) * near(n))
        values[f"table_place_{n}"] = round(65535 * near(n))
    return values
