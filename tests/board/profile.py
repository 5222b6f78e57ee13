"""Where a tick's cycles go, function by function (`python -m tests.board.figures --profile`)."""

from __future__ import annotations

import bisect
import ctypes
from collections import Counter

from tests.board import build
from tests.board.simboard import SimBoard

WORDS = 16384


class Profile:
    """Counts cycles by program address while it is `on`."""

    def __init__(self, board: SimBoard) -> None:
        self.board = board
        self.words = (ctypes.c_uint32 * WORDS)()
        self.ticks = board.ticks
        board.chip.call("profile", self.words)

    def end(self) -> dict[str, float]:
        """Cycles per tick by function, the most expensive first."""
        self.board.chip.call("profile", None)
        ticks = max(self.board.ticks - self.ticks, 1)
        starts = functions(self.board)
        addresses = [address for address, _ in starts]
        spent: Counter[str] = Counter()
        for word, cycles in enumerate(self.words):
            if cycles:
                at = bisect.bisect_right(addresses, word * 2) - 1
                spent[starts[max(at, 0)][1]] += cycles
        return {name: cycles / ticks for name, cycles in spent.most_common()}


def functions(board: SimBoard) -> list[tuple[int, str]]:
    """Functions of the program by address."""
    found = []
    for line in build.run(["avr-nm", "-n", str(board.elf)]).splitlines():
        address, kind, name = line.split()[:3]
        if kind in "tT" and int(address, 16) < 2 * WORDS:
            found.append((int(address, 16), name))
    return found
