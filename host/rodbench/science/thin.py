"""A long recording as few rows, without holding it whole: the peaks of every column stay."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Rows = npt.NDArray[np.float64]


class Thinner:
    """Takes rows (a column a quantity, NaN where unknown) block by block, and keeps of each
    stretch those rows in which any column is least or greatest. `most` stretches at the end; a
    stretch that was too short for that is joined with the next, so that every row counts once."""

    def __init__(self, most: int = 1000) -> None:
        self.most = most
        self.length = 1  # rows of a stretch
        self._kept: list[Rows] = []
        self._rest: list[Rows] = []
        self.rows = 0

    def add(self, block: Rows) -> None:
        """More rows, in their order."""
        self.rows += len(block)
        block = np.vstack([*self._rest, block])
        whole = len(block) - len(block) % self.length
        at = 0
        while at + self.length <= whole:
            self._kept.append(_peaks(block[at : at + self.length]))
            at += self.length
            if len(self._kept) > self.most:
                self._join()
                whole = at + (len(block) - at) // self.length * self.length
        self._rest = [block[at:].copy()]

    def thinned(self) -> Rows:
        """The rows that were kept so far."""
        rest = [_peaks(part) for part in self._rest if len(part)]
        parts = [*self._kept, *rest]
        return np.vstack(parts) if parts else np.empty((0, 0))

    def _join(self) -> None:
        pairs = [self._kept[at : at + 2] for at in range(0, len(self._kept), 2)]
        self._kept = [_peaks(np.vstack(pair)) for pair in pairs]
        self.length *= 2


def _peaks(rows: Rows) -> Rows:
    """Those rows in which a column is least or greatest, in their order."""
    if len(rows) < 3:
        return rows.copy()
    low = np.where(np.isnan(rows), np.inf, rows)
    high = np.where(np.isnan(rows), -np.inf, rows)
    places: npt.NDArray[np.intp] = np.unique([low.argmin(axis=0), high.argmax(axis=0)])
    return np.take(rows, places, axis=0)
