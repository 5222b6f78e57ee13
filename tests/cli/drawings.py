"""What a plot has drawn, for tests that look at it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure
from rodbench.settings.units import Units
from rodbench.show import plot
from rodbench.show.run import Recorder


@contextlib.contextmanager
def saved() -> Iterator[list[Figure]]:
    """The figures that are saved meanwhile."""
    figures: list[Figure] = []
    real = Figure.savefig

    def keep(figure: Figure, *words: Any, **more: Any) -> None:
        figures.append(figure)
        real(figure, *words, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Figure, "savefig", keep)
        yield figures


def drawn(run: Recorder, path: Path, live: dict[str, int], units: str) -> Figure:
    """The figure that `plot_run` has saved at `path`."""
    with saved() as figures:
        plot.plot_run(run, path, live=live, title="a run", units=Units(units))
    return figures[0]
