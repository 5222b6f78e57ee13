"""The strokes that later ones are looked at against: of the baseline's proof run, by axis."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from rodbench.page.feed import Stroke
from rodbench.record import runs
from rodbench.record.runs import Run

KIND = "move"  # at the settings' own speed, as a page's moves are


def strokes(
    machine_folder: Path, rods: Mapping[int, str | None]
) -> tuple[dict[int, list[Stroke]], list[str]]:
    """One stroke each way for each axis that has a baseline, and what was left out, in words."""
    found: dict[int, list[Stroke]] = {}
    told = []
    for axis, rod in rods.items():
        try:
            run = _run(machine_folder, axis)
        except runs.RunError as error:
            told.append(f"axis {axis}: no baseline is shown: {error.message}")
            continue
        if run is None:
            continue
        if run.rod != rod:
            told.append(f"axis {axis}: the baseline is of the rod {run.rod}, so it is not shown")
            continue
        found[axis] = [_stroke(kept) for kept in run.strokes if kept.facts.get("kind") == KIND]
    return found, told


def _run(machine_folder: Path, axis: int) -> Run | None:
    """Raises RunError for a baseline that cannot be read."""
    name = runs.baseline_name(machine_folder, axis)
    return None if name is None else runs.read(machine_folder / runs.FOLDER / name)


def _stroke(kept: runs.Stroke) -> Stroke:
    """As a page keeps its own: without the rest before and after."""
    driven = (kept.output_permille != 0) & np.isfinite(kept.position_mm)
    places, amps = kept.position_mm[driven], np.abs(kept.current_a[driven])
    return Stroke(int(kept.facts["way"]), 0.0, places.tolist(), amps.tolist(), over=True)
