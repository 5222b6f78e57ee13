"""Seeded white noise in blocks: numpy draws it, the tick only picks a row."""

from __future__ import annotations

BLOCK = 512
ROW = 27  # pots 8 + 8, currents 4 + 4, supply 1, the pots' correlated parts 1 + 1
POTS, CURRENTS, SUPPLY, SHARED = (0, 8), (16, 20), 24, (25, 26)

Row = list[float]


class Noise:
    """Rows of normal deviates, each column scaled. The same seed gives the same rows for ever."""

    def __init__(self, seed: int) -> None:
        import numpy as np

        self._draw = np.random.Generator(np.random.PCG64(seed))
        self._scale = np.ones(ROW)
        self._rows: list[Row] = []
        self._next = BLOCK

    def scale(self, sigmas: Row) -> None:
        """Standard deviation of each column, from the next row on."""
        import numpy as np

        left = self._rows[self._next :]
        old = self._scale
        self._scale = np.array(sigmas)
        if left:
            unit = np.array(left) / np.where(old == 0.0, 1.0, old)
            fresh = self._draw.standard_normal(unit.shape)
            self._rows = (np.where(old == 0.0, fresh, unit) * self._scale).tolist()
            self._next = 0

    def row(self) -> Row:
        """The next row."""
        at = self._next
        if at >= len(self._rows):
            self._rows = (self._draw.standard_normal((BLOCK, ROW)) * self._scale).tolist()
            at = 0
        self._next = at + 1
        return self._rows[at]
