"""What the line between the ends says too little, by place; and the table that mends it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rodbench.settings.units import Units

if TYPE_CHECKING:
    from rodbench.bench.linearity import Linearity

_SIZE_IN, _DPI = (9.0, 5.0), 120


def plot(found: Linearity, path: Path, *, stroke_mm: float, title: str, units: Units) -> None:
    """Draw it. Raises OSError."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE_IN, dpi=_DPI, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    places = [units.value(mm) for mm in found.position_mm]
    off = [units.value(mm) for mm in found.deviation_mm]
    error = units.value(found.deviation_error_mm)
    axes.axhline(0.0, color="0.5", linewidth=1.0, label="line between the ends")
    axes.errorbar(places, off, yerr=error, fmt="o", color="black", markersize=5, capsize=3,
                  label="read by the ruler, with 95 % interval")  # fmt: skip
    if found.worth:
        knots = [(0.0, 0.0), *found.table_line, (stroke_mm, 0.0)]
        word = "table, in force" if found.accepted else "table, proposed"
        axes.plot([units.value(mm) for mm, _ in knots], [units.value(d) for _, d in knots],
                  color="0.2", linestyle="--", linewidth=1.4, marker="x", label=word)  # fmt: skip
    axes.set_xlabel(f"position, {units.name}")
    axes.set_ylabel(f"position less that of the line, {units.name}")
    axes.set_title(title, fontsize=10)
    axes.grid(True, color="0.85", linewidth=0.6)
    axes.legend(loc="best", fontsize=8)
    figure.savefig(path)
