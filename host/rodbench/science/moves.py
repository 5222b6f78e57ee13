"""How long the moves of two proof runs took, and where they came to rest.

A move that full output just holds at its speed takes longer on a lower supply, and with a warmer
winding, V = I R + K w; neither is a change of the rod. A move with output to spare does not.
"""

from __future__ import annotations

from math import inf
from statistics import fmean

import numpy as np

from .constants import WARM_SHARE, Constants, point
from .stroke_figures import Recorded, figures
from .taken import WAYS, Look, Taken, of_way, paired, settled, word

TIME_SHARE, TIME_S = 0.04, 0.1
STRAINED = 0.5  # of its time at the greatest output: it had none to spare
TOLERANCE_MM, TOLERANCE_SHARE = 1.0, 0.01  # of a move, and of the stroke: SPEC.md, move
HEAT_SHARE = 0.1  # of the volts are taken by the winding, where the motor is not known


def looks(baseline: Taken, later: Taken, motor: Constants | None) -> list[Look]:
    """All looks of this page."""
    return _times(baseline, later, motor) + _rests(baseline, later)


def _rests(baseline: Taken, later: Taken) -> list[Look]:
    """How far past its target a move each way came to rest. Anywhere within its tolerance it is
    done: less than that tells nothing."""
    limit = max(TOLERANCE_MM, TOLERANCE_SHARE * baseline.stroke_mm)
    return [
        Look(f"rest {word(way)}", "mm", fmean(before), fmean(after), 0.0, limit)
        for way in WAYS
        if (before := baseline.rests_mm.get(way)) and (after := later.rests_mm.get(way))
    ]


def _times(baseline: Taken, later: Taken, motor: Constants | None) -> list[Look]:
    """Times of the moves each way."""
    found = []
    for way, before, after in paired(baseline.moves, later.moves, _on_s):
        usual = float(before.mean())
        room = _explained(of_way(baseline.moves, way), of_way(later.moves, way), motor)
        limit = (TIME_SHARE + room) * usual + TIME_S
        found.append(Look(f"time {word(way)}", "s", usual, float(after.mean()), 0.0, limit))
    return found


def _on_s(move: Recorded) -> float:
    return figures(move, 0.0, 0.0).on_s


def _explained(before: list[Recorded], after: list[Recorded], motor: Constants | None) -> float:
    """The share of time that another supply and a warmer winding may make."""
    points = [[point(move, -inf, inf) for move in moves] for moves in (before, after)]
    told = [np.array([one for one in row if one is not None]) for row in points]
    if not any(map(_strained, (*before, *after))) or not all(map(len, told)):
        return 0.0
    (volts, amps, speed), later = told[0].mean(axis=0), told[1].mean(axis=0)
    turning = motor.constant_v_s_per_mm * speed if motor else volts
    winding = motor.resistance_ohm * amps if motor else HEAT_SHARE * volts
    return float((abs(later[0] - volts) + WARM_SHARE * winding) / turning)


def _strained(move: Recorded) -> bool:
    return bool(settled(move).sum() > STRAINED * move.on.sum())
