"""A kept proof run as `science.compare` wants it."""

from __future__ import annotations

from rodbench.record.runs import Run
from rodbench.science.compare import Comparison, compare
from rodbench.science.stroke_figures import rest_mm
from rodbench.science.taken import WAYS, Taken

from .strokes import recorded


def taken(run: Run) -> Taken:
    """The strokes of a run by their kind, and what it found beside them."""
    kinds = {
        kind: [recorded(s) for s in run.strokes if s.facts["kind"] == kind and len(s.t_s) > 1]
        for kind in ("move", "run", "slow")
    }
    told = run.conditions
    ends = None
    if told["ends_found_again"]:
        ends = (list(told["ends_retracted_mm"]), list(told["ends_extended_mm"]))
    return Taken(
        kinds["move"], kinds["run"], kinds["slow"], ends, float(told["stroke_mm"]),
        float(told["pot_span"]), float(told["supply_step_v"]), bool(told["current_sensor"]),
        {way: _rests(run, way) for way in WAYS},
    )  # fmt: skip


def _rests(run: Run, way: int) -> list[float]:
    """How far past their targets the moves of a way came to rest, mm."""
    moves = [s for s in run.strokes if s.facts["kind"] == "move" and s.facts["way"] == way]
    return [
        way * (rest_mm(recorded(s)) - float(s.facts["target_mm"])) for s in moves if len(s.t_s) > 1
    ]


def compared(baseline: Run, later: Run) -> Comparison:
    """What changed from one run to another."""
    return compare(taken(baseline), taken(later))


__all__ = ["Comparison", "compared", "taken"]
