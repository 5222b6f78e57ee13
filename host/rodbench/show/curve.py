"""A long curve as the points that a picture can show, piece by piece, so that it never lies in
memory whole; its peaks stay, and where something is missing the line is broken."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
PIECE = 50_000  # rows
LEAST = 32  # points of a piece
NEAR_S = 1e-6


class Curve:
    """Takes `rows` rows in all, gives about `most` points. The line is broken at NaN, and behind
    each of `breaks`, values of x."""

    def __init__(self, rows: int, breaks: Sequence[float] = (), most: int = 4000) -> None:
        self._share = min(1.0, most / max(rows, 1))
        self._breaks = np.array(breaks, np.float64)
        self._waiting: list[tuple[Floats, Floats]] = []
        self._count = 0
        self._points: list[tuple[Floats, Floats]] = []
        self._end: float | None = None  # x of the last row, where the line goes on from it

    def add(self, x: Floats, y: Floats) -> None:
        """More rows, in the order of `x`."""
        self._waiting.append((x, y))
        self._count += len(x)
        if self._count >= PIECE:
            self._thin()

    def points(self) -> tuple[Floats, Floats]:
        """All points so far."""
        self._thin()
        parts = self._points or [(np.zeros(0), np.zeros(0))]
        return np.concatenate([x for x, _ in parts]), np.concatenate([y for _, y in parts])

    def _thin(self) -> None:
        if not self._waiting:
            return
        x = np.concatenate([x for x, _ in self._waiting])
        y = np.concatenate([y for _, y in self._waiting]).astype(np.float64)
        self._waiting, self._count = [], 0
        end, self._end = self._end, None
        for part in self._parts(x, y):
            goes_on = part.start == 0 and end is not None and not self._broken(end, x[0])
            if self._points and not goes_on:
                self._points.append((self._points[-1][0][-1:], np.array([np.nan])))
            self._points.append(self._thinned(x[part], y[part]))
            self._end = float(x[-1]) if part.stop == len(x) else None

    def _broken(self, one: float, next_: float) -> bool:
        return bool(((self._breaks >= one - NEAR_S) & (self._breaks < next_ - NEAR_S)).any())

    def _parts(self, x: Floats, y: Floats) -> list[slice]:
        """Stretches without NaN and without a break."""
        known = ~np.isnan(y)
        cuts = np.nonzero(known[1:] != known[:-1])[0] + 1
        behind = np.searchsorted(x, self._breaks + NEAR_S, side="right")
        edges = np.unique([0, *cuts, *behind, len(x)]).tolist()
        return [slice(a, b) for a, b in pairwise(edges) if known[a]]

    def _thinned(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        most = max(LEAST, round(self._share * len(x)))
        if len(x) <= most:
            return x, y
        kept = _keep(np.ascontiguousarray(x), y, most)
        return x[kept], y[kept]


def _keep(x: Floats, y: Floats, most: int) -> npt.NDArray[np.intp]:
    """Places of the points that show what all of them would."""
    import tsdownsample

    made: Any = tsdownsample.MinMaxLTTBDownsampler
    return np.asarray(made().downsample(x, y, n_out=most), np.intp)
