"""What the line between the ends says too little, by place; and the table that mends it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rodbench.settings.units import Units
from rodbench.show.canvas import blank

_SIZE_IN = (9.0, 5.0)


@dataclass(frozen=True, slots=True)
class Picture:
    """What is drawn, mm. `table`: (position, deviation) of its points, ends included; `state`: what
    it is, or nothing for no table."""

    position: Sequence[float]
    deviation: Sequence[float]
    error: float
    table: Sequence[tuple[float, float]]
    state: str


def plot(seen: Picture, path: Path, *, title: str, units: Units) -> None:
    """Draw it. Raises OSError."""
    figure = blank(_SIZE_IN)
    axes = figure.subplots()
    places = [units.value(mm) for mm in seen.position]
    off = [units.value(mm) for mm in seen.deviation]
    error = units.value(seen.error)
    axes.axhline(0.0, color="0.5", linewidth=1.0, label="line between the ends")
    axes.errorbar(places, off, yerr=error, fmt="o", color="black", markersize=5, capsize=3,
                  label="read by the ruler, with 95 % interval")  # fmt: skip
    if seen.state:
        across, up = zip(*seen.table, strict=True)
        axes.plot([units.value(mm) for mm in across], [units.value(mm) for mm in up], color="0.2",
                  linestyle="--", linewidth=1.4, marker="x", label=seen.state)  # fmt: skip
    axes.set_xlabel(f"position, {units.name}")
    axes.set_ylabel(f"position less that of the line, {units.name}")
    axes.set_title(title, fontsize=10)
    axes.grid(True, color="0.85", linewidth=0.6)
    axes.legend(loc="best", fontsize=8)
    figure.savefig(path)
