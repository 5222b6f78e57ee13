"""The board's clock against the host's: a line through the frames that came with the least delay.

A frame arrives late, never early: its delay is that of the line, and now and then much more. So of
each stretch of time only the earliest arrival counts, and of those a line is drawn that half of
them at most lie below; a stretch in which all came late draws it up no further.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
STRETCHES = 240  # of the whole time
LEAST = 24  # pairs, for a drift to be told
PARTS = 8  # of which each is left out in turn, for the uncertainty
T_7 = 2.365  # 95 % of Student's t with as many degrees of freedom as parts less one
ROUNDS = 6
STEP_S = 1e-6  # what host times are kept to


@dataclass(frozen=True, slots=True)
class Drift:
    """`ppm` above 0: the board's clock is fast. `ppm_either_way`: its half interval of 95 %;
    None: the time is too short for any of it. Host time is board time / (1 + ppm / 10^6), and
    `offset_s`, which holds the line's least delay too."""

    ppm: float | None
    ppm_either_way: float | None
    offset_s: float
    span_s: float
    late_s: float  # by which the frames came late in the middle, beyond the least


def fit(board_s: Floats, host_s: Floats) -> Drift:
    """Of pairs in the order of time, of one start of the board."""
    span = float(board_s[-1] - board_s[0]) if len(board_s) else 0.0
    if len(board_s) == 0:
        return Drift(None, None, 0.0, 0.0, 0.0)
    x, y = _earliest(board_s, host_s - board_s)
    if len(x) < LEAST or span <= 0.0:
        return Drift(None, None, float(np.min(host_s - board_s)), span, _late(host_s - board_s))
    slope, offset = _low_line(x, y)
    unsure = (
        _left_out(x, y, slope),
        2.0 * STEP_S / span,
        2.0 * _wander(y - offset - slope * x) / span,
    )
    ppm, either = _ppm(slope), 1e6 * float(np.linalg.norm(unsure))
    return Drift(ppm, either, offset, span, _late(host_s - board_s - offset - slope * board_s))


def _ppm(slope: float) -> float:
    """Host seconds gained per board second, as the board clock's own error."""
    return 1e6 * (1.0 / (1.0 + slope) - 1.0)


def _late(delay: Floats) -> float:
    return float(np.median(delay) - np.min(delay))


def _earliest(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """The least of `y` in each stretch of `x`."""
    width = max(float(x[-1] - x[0]) / STRETCHES, 1e-9)
    stretch = np.minimum(((x - x[0]) / width).astype(np.int64), STRETCHES - 1)
    order = np.lexsort((y, stretch))
    _, first = np.unique(stretch[order], return_index=True)
    chosen = order[first]
    return x[chosen], y[chosen]


def _low_line(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope and height at 0 of a line through the lower part of the points."""
    kept = np.ones(len(x), bool)
    slope, height = 0.0, 0.0
    middle = float(np.mean(x))
    for _ in range(ROUNDS):
        slope, height = np.polyfit(x[kept] - middle, y[kept], 1)
        rest = y - height - slope * (x - middle)
        low = rest <= np.median(rest) + 2.0 * _low_spread(rest)
        if np.array_equal(low, kept) or low.sum() < LEAST // 2:
            break
        kept = low
    return float(slope), float(height - slope * middle)


def _low_spread(rest: Floats) -> float:
    """How far the lower half lies below the middle, as a standard deviation."""
    return 1.4826 * float(np.median(np.median(rest) - rest[rest <= np.median(rest)]))


def _wander(rest: Floats) -> float:
    """How far the level of the parts goes up and down about the line: a least delay that changes
    slowly, as of a busy computer, bends the line as the clock does. One that grows steadily all the
    time cannot be told from a clock that is off."""
    part = np.arange(len(rest)) * PARTS // len(rest)
    return float(np.ptp([np.median(rest[part == k]) for k in range(PARTS)]))


def _left_out(x: Floats, y: Floats, slope: float) -> float:
    """Half interval of 95 % of the slope, by leaving out one part of the time after another:
    delays of neighbours are alike, so points one by one would make it too small."""
    part = np.arange(len(x)) * PARTS // len(x)
    slopes = [_low_line(x[part != k], y[part != k])[0] for k in range(PARTS)]
    variance = (PARTS - 1) / PARTS * float(np.sum((np.array(slopes) - slope) ** 2))
    return T_7 * float(np.sqrt(variance))
