"""The last 60 s as rows for a chart: few, and with every peak of the current."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from rodbench.page.feed import Trace

BIN_S = 0.05  # of each the last position, and the greatest current
GAP_S = 0.5  # without a sample for so long, the line is broken
Rows = list[list[float | None]]


def newest_s(trace: Trace) -> float:
    """Board time of the newest sample."""
    times = trace.t_s
    return float(times[-1]) if len(times) else -math.inf


def trace_rows(trace: Trace, since_s: float, per: float) -> tuple[Rows, float]:
    """Rows of time, position, reference and current from `since_s` on, one for each whole bin, and
    the time that the next call begins at. `per`: the unit shown, per mm."""
    columns = (trace.t_s, trace.position_mm, trace.reference_mm, np.abs(trace.current_a))
    count = min(map(len, columns))  # another thread adds
    times, position, reference, current = (column[:count] for column in columns)
    bins = np.floor(times / BIN_S + 1e-6).astype(int)
    first = -math.inf if since_s == -math.inf else round(since_s / BIN_S)
    new = np.flatnonzero((bins >= first) & (bins < bins[-1])) if count else np.array([], int)
    if not len(new):
        return [], since_s
    ends = np.flatnonzero(np.diff(bins[new], append=bins[-1]))
    starts = np.r_[0, ends[:-1] + 1]
    most = np.maximum.reduceat(current[new], starts)
    last = new[ends]
    rows = zip(times[last], position[last] * per, reference[last] * per, most, strict=True)
    return _broken([[_plain(v) for v in row] for row in rows], since_s), float(bins[-1] * BIN_S)


def _broken(rows: Rows, before_s: float) -> Rows:
    """With an empty row in each gap: a line over it would tell what nobody has measured."""
    found: Rows = []
    for row in rows:
        at_s = row[0] or 0.0
        if math.isfinite(before_s) and at_s - before_s > GAP_S:
            found.append([at_s, None, None, None])
        found.append(row)
        before_s = at_s
    return found


def _plain(value: float) -> float | None:
    """JSON has no nan: a gap."""
    return round(float(value), 3) if math.isfinite(value) else None
