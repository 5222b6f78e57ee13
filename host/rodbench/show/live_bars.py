"""What is drawn of a rod with characters: its place between the ends, its current over time."""

from __future__ import annotations

BAR = 40  # cells in 80 columns
CELL_TICKS = 50  # 0.25 s of current in one cell of the trace
CELLS_KEPT = 240
BLOCKS = "▁▂▃▄▅▆▇█"
PLAIN_BLOCKS = "_.-:=+*#"  # where the terminal's encoding has no others


def position_bar(
    position: float,
    stroke: float,
    low: float,
    high: float,
    reference: float | None = None,
    cells: int = BAR,
) -> str:
    """The rod between its endpoints: `[` and `]` soft stops, `=` the rod and `#` its end, `>` or
    `<` where the ramp wants it, when that is another cell."""
    bar = ["."] * cells

    def place(mm: float) -> int:
        return min(cells - 1, max(0, round(mm / stroke * (cells - 1))))

    for cell in range(place(position)):
        bar[cell] = "="
    bar[place(low)], bar[place(high)] = "[", "]"
    if reference is not None and place(reference) != place(position):
        bar[place(reference)] = ">" if reference > position else "<"
    bar[place(position)] = "#"
    return "".join(bar)


class CurrentTrace:
    """The greatest current of each quarter of a second, newest at the right."""

    def __init__(self) -> None:
        self._cells: dict[int, float] = {}  # by the board's tick
        self._newest = 0

    def take(self, tick: int, current_a: float) -> None:
        """A reading. A board that started anew begins a new trace."""
        cell = tick // CELL_TICKS
        if cell < self._newest:
            self._cells.clear()
        self._newest = cell
        self._cells[cell] = max(abs(current_a), self._cells.get(cell, 0.0))
        for old in [old for old in self._cells if old <= cell - CELLS_KEPT]:
            del self._cells[old]

    def drawn(self, cells: int, trip_a: float, blocks: str = BLOCKS) -> str:
        """Full height is the trip; `T` reached it, a blank was not heard."""
        return "".join(_cell(value, trip_a, blocks) for value in self._last(cells))

    def most(self, cells: int) -> float:
        """The greatest of the cells drawn, in A."""
        return max((value for value in self._last(cells) if value is not None), default=0.0)

    def _last(self, cells: int) -> list[float | None]:
        first = self._newest - cells + 1
        return [self._cells.get(cell) for cell in range(first, self._newest + 1)]


def _cell(value: float | None, trip_a: float, blocks: str) -> str:
    if value is None:
        return " "
    if trip_a > 0 and value >= trip_a:
        return "T"
    share = value / trip_a if trip_a > 0 else 0.0
    return blocks[min(len(blocks) - 1, int(share * len(blocks)))]
