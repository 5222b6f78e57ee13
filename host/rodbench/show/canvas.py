"""What every picture of the tool begins with: a matplotlib figure that needs no screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_DPI = 120


def blank(size_in: tuple[float, float]) -> Figure:
    """An empty figure of this width and height in inches; `savefig` writes it."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=size_in, dpi=_DPI, layout="constrained")
    FigureCanvasAgg(figure)
    return figure
