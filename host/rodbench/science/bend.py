"""Whether a pot's reading follows the rod in a straight line, judged from one way at creep.

With its wiper on the supply lead and a resistor in that feed, a pot reads s R / (r + s R) at share
s of its track: the rate falls by (1 + R / r) squared from one end to the other (voltage divider,
any circuits textbook), hundreds of times. A straight pot's rate follows the rod's speed, and a load
that slows the rod so much shows in the current: V = I R + K v (any machines textbook).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import fmean

PARTS = 6
DOUBT_BEND = 2.0  # more than a straight pot shows without a load
MOST_BEND = 12.0  # more than a log-taper track shows: common practice, no source
SAME_CURRENT = 0.1
_LEAST_EACH = 4  # readings a part


def bend(readings: Sequence[float], currents: Sequence[float]) -> float | None:
    """Greatest over least rate along the way, from readings at a steady beat at one output.

    None when there are too few readings to tell, or when the current says that a load did it.
    Currents in A, all 0 without a sensor.
    """
    if len(readings) < PARTS * _LEAST_EACH:
        return None
    edges = [round(part * (len(readings) - 1) / PARTS) for part in range(PARTS + 1)]
    rates = [max(abs(readings[b] - readings[a]) / (b - a), 1e-3) for a, b in pairwise(edges)]
    drawn = [fmean(currents[a:b]) for a, b in pairwise(edges)]
    fast, slow = rates.index(max(rates)), rates.index(min(rates))
    if drawn[slow] > (1.0 + SAME_CURRENT) * drawn[fast] > 0.0:
        return None
    return rates[fast] / rates[slow]
