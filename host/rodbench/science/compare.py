"""Two proof runs of one rod, one after the other: what changed by more than its uncertainty.

Each quantity is taken from several strokes, so that their own scatter says how well it is known. A
change counts when it exceeds Student's t times that scatter and, besides, the least change that
deserves a word (named constants, ours): what no stroke of one session can show (a warmer winding,
another day) is allowed for by the second. Many quantities are looked at, most of them bins of
position, so t is taken for a share of ALPHA (Bonferroni's inequality, any textbook of statistics):
the risk of one false word in all is then at most ALPHA.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np

from . import constants, moves
from .profile import Bump, Profile, binned, bumps, edges_of, profile
from .stroke_figures import Recorded
from .students import quantile
from .taken import WAYS, Floats, Look, Taken, paired, scatter_of_mean, word

ALPHA = 0.01  # half of it for the bins, half for the rest
SINGLE_LOOKS = 10
LEVEL_SHARE = 0.04  # of the mean current, everywhere
END_MM, END_SHARE = 0.15, 0.003
TOGETHER = 0.3  # two ends that moved alike to this share moved together
ENDS = ("retracted end", "extended end")


@dataclass(frozen=True, slots=True)
class Finding:
    """What is said. `kind`: binding, freer, magnets, source, pot-shift, pot-span, end-moved,
    stiffer, easier, slower, faster, longer, shorter, rests. Figures by name; `way` 0: both."""

    kind: str
    figures: dict[str, float]


@dataclass(frozen=True, slots=True)
class Comparison:
    """All of it. `unseen`: what could not be looked at: ends, strokes, currents, motor."""

    findings: tuple[Finding, ...]
    looks: tuple[Look, ...]
    bumps: tuple[Bump, ...]
    profile: Profile | None
    unseen: tuple[str, ...]


def compare(baseline: Taken, later: Taken) -> Comparison:
    """Lay a later run over the baseline."""
    strokes = bool(baseline.runs) and bool(later.runs)
    current = baseline.has_current and later.has_current
    share = ALPHA / 2.0 / SINGLE_LOOKS
    edges = edges_of([*baseline.runs, *later.runs]) if strokes and current else None
    found = None if edges is None else profile(baseline, later, edges, ALPHA / 2.0)
    looks = [] if edges is None else _level_looks(baseline, later, edges, share)
    motor = None
    if strokes:
        more, motor = constants.looks(baseline, later, share, current=current)
        looks += more
    looks += moves.looks(baseline, later, motor) + _end_looks(baseline, later, share)
    heavier = () if found is None else tuple(bumps(found))
    said = _findings({look.name: look for look in looks}, heavier, baseline)
    told = any(look.name == "motor constant" for look in looks)
    unseen = _unseen(baseline, later, strokes, current, told)
    return Comparison(tuple(said), tuple(looks), heavier, found, unseen)


def _level_looks(baseline: Taken, later: Taken, edges: Floats, share: float) -> list[Look]:
    """Mean current of each way."""

    def level(run: Recorded) -> float:
        return float(np.median(binned(run, edges)))

    pairs = list(paired(baseline.runs, later.runs, level))
    error, freedom = scatter_of_mean([(b - a) / a.mean() for _, a, b in pairs])
    looks = []
    for way, before, after in pairs:
        usual = float(before.mean())
        limit = (quantile(share, freedom) * error + LEVEL_SHARE) * usual
        name = f"current {word(way)}"
        looks.append(Look(name, "A", usual, float(after.mean()), error * usual, limit))
    return looks


def _end_looks(baseline: Taken, later: Taken, share: float) -> list[Look]:
    if baseline.ends_mm is None or later.ends_mm is None:
        return []
    least = max(END_MM, END_SHARE * baseline.stroke_mm)
    groups = [np.asarray(end, float) for end in (*baseline.ends_mm, *later.ends_mm)]
    error, freedom = scatter_of_mean(groups)
    error *= 2.0**0.5  # of the difference of two such means
    limit = quantile(share, freedom) * error + least
    return [
        Look(name, "mm", fmean(before), fmean(after), error, limit)
        for name, before, after in zip(ENDS, baseline.ends_mm, later.ends_mm, strict=True)
    ]


# ---------------------------------------------------------------- what is said


def _findings(looks: dict[str, Look], heavier: Sequence[Bump], baseline: Taken) -> list[Finding]:
    found = [_of_bump(bump) for bump in heavier] + _of_ends(looks, baseline)
    magnets, source = looks.get("motor constant"), looks.get("source resistance")
    if source is not None and source.changed:
        told = {"baseline_ohm": source.baseline, "later_ohm": source.later}
        found.append(Finding("source", told | {"change_ohm": source.change}))
    if magnets is not None and magnets.changed:
        found.append(_of_magnets(magnets, looks))
    else:
        found += _of_ways(looks, "current", "stiffer", "easier")
        found += _of_ways(looks, "speed", "faster", "slower")
    found += _of_rests(looks)
    # A time alone: where something else changed, it follows from that.
    return found or _of_ways(looks, "time", "longer", "shorter")


def _of_bump(bump: Bump) -> Finding:
    told = {"at_mm": bump.at_mm, "from_mm": bump.from_mm, "to_mm": bump.to_mm}
    kind = "binding" if bump.change_a > 0.0 else "freer"
    return Finding(kind, told | {"change_a": bump.change_a, "share": bump.share})


def _of_ends(looks: dict[str, Look], baseline: Taken) -> list[Finding]:
    ends = [looks[name] for name in ENDS if name in looks]
    moved = [look for look in ends if look.changed]
    if not moved:
        return []
    first, second = (look.change for look in ends)
    told = {"retracted_mm": first, "extended_mm": second}
    if abs(first - second) > TOGETHER * max(abs(first), abs(second)):
        return [Finding("pot-span" if len(moved) == 2 else "end-moved", told)]
    shift = (first + second) / 2.0
    share = shift / baseline.stroke_mm * baseline.pot_span
    return [Finding("pot-shift", told | {"shift_mm": shift, "of_reference": share})]


def _of_magnets(look: Look, looks: dict[str, Look]) -> Finding:
    shares = [looks[name].share for way in WAYS if (name := f"current {word(way)}") in looks]
    return Finding(
        "magnets", {"constant_share": look.share, "current_share": fmean(shares) if shares else 0.0}
    )


def _of_rests(looks: dict[str, Look]) -> list[Finding]:
    named = [(way, looks.get(f"rest {word(way)}")) for way in WAYS]
    return [
        Finding("rests", {"way": float(way), "change_mm": look.change})
        for way, look in named
        if look is not None and look.changed
    ]


def _of_ways(looks: dict[str, Look], name: str, more: str, less: str) -> list[Finding]:
    """A quantity of each way: one finding for both where both changed alike, else for the one."""
    pairs = [(way, looks.get(f"{name} {word(way)}")) for way in WAYS]
    changed = [(way, look) for way, look in pairs if look is not None and look.changed]
    found = []
    for sign, kind in ((1.0, more), (-1.0, less)):
        alike = [(way, look) for way, look in changed if look.change * sign > 0.0]
        if alike:
            way = 0.0 if len(alike) == 2 else float(alike[0][0])
            found.append(Finding(kind, {"way": way, "share": fmean(k.share for _, k in alike)}))
    return found


def _unseen(
    baseline: Taken, later: Taken, strokes: bool, current: bool, motor: bool
) -> tuple[str, ...]:
    told = []
    if baseline.ends_mm is None or later.ends_mm is None:
        told.append("ends")
    if not strokes:
        told.append("strokes")
    elif not current:
        told.append("currents")
    elif not motor:
        told.append("motor")
    return tuple(told)
