"""Current against position: this run solid, the baseline dashed; what binds is hatched."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from rodbench.science.compare import Comparison
from rodbench.science.profile import Profile
from rodbench.settings.units import Units
from rodbench.show.canvas import blank

_SIZE_IN = (9.0, 6.0)
_WAYS = ((1, "extending"), (-1, "retracting"))


def plot(found: Comparison, path: Path, *, title: str, units: Units) -> None:
    """Draw it. Raises OSError; ValueError where there is no profile to draw."""
    if found.profile is None:
        raise ValueError("the runs have no currents to draw")
    figure = blank(_SIZE_IN)
    panels = figure.subplots(2, 1, sharex=True, sharey=True)
    for axes, (way, word) in zip(panels, _WAYS, strict=True):
        _way(axes, found.profile, way, units)
        _bumps(axes, found, units)
        axes.set_ylabel(f"current {word}, A")
        axes.grid(True, color="0.85", linewidth=0.6)
        axes.margins(x=0.01)
    panels[0].set_ylim(bottom=0.0)
    panels[0].legend(loc="lower left", fontsize=8)
    panels[0].set_title(title, fontsize=10)
    panels[-1].set_xlabel(f"position, {units.name}")
    figure.savefig(path)


def _way(axes: Any, profile: Profile, way: int, units: Units) -> None:
    middles = (profile.edges_mm[1:] + profile.edges_mm[:-1]) / 2.0
    place = [units.value(float(mm)) for mm in middles]
    axes.plot(place, profile.baseline_a[way], color="0.35", linestyle="--", linewidth=1.4,
              label="baseline")  # fmt: skip
    axes.plot(place, profile.later_a[way], color="black", linewidth=1.4, label="this run")


def _bumps(axes: Any, found: Comparison, units: Units) -> None:
    for bump in found.bumps:
        low, high = units.value(bump.from_mm), units.value(bump.to_mm)
        axes.axvspan(low, high, facecolor="none", edgecolor="0.8", hatch="//", linewidth=0.0)
        word = "binding" if bump.change_a > 0.0 else "freer"
        axes.annotate(word, (np.mean((low, high)), 0.03), xycoords=("data", "axes fraction"),
                      ha="center", va="bottom", fontsize=8,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
