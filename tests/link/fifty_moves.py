"""Fifty `move` commands, each a process of its own, cost exactly their on-time in ticks.

    python -m tests.link.fifty_moves [--kind emulator|binary] [--count 50]

The truth is counted at the H-bridge of the board behind the pty, tick by tick; the board's own
counter must agree. Once in a row, and once with a restart of the board before each command.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time

from rodbench.board import Board

from tests.link.rig import KINDS, Bench

PLACES = ("50 mm", "53 mm")


def command(port: str, folder: str, *words: str) -> subprocess.CompletedProcess[str]:
    """A command, run to its end."""
    return subprocess.run(
        [sys.executable, "-m", "rodbench.cli.main", *words, "--port", port],
        capture_output=True,
        text=True,
        cwd=folder,
        timeout=60,
    )


def fifty(kind: str, count: int, restarts: bool, folder: str) -> tuple[int, int]:
    """On-ticks counted at the bridge, and those that the board has counted."""
    bench = Bench(kind)
    try:
        for number in range(count):
            if restarts:
                bench.served.paced.reset("external")
                bench.pass_ticks(60)
            done = command(bench.port, folder, "move", "1", PLACES[number % 2], "--yes")
            assert done.returncode == 0, done.stderr
        with Board.open(bench.port) as board:
            board.watch(0.3)
            assert board.last_board is not None
            return bench.board.on_ticks, board.last_board.on_ticks[0]
    finally:
        bench.close()


def main() -> None:
    """Both ways, with figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kind", choices=list(KINDS), default=next(iter(KINDS)))
    parser.add_argument("--count", type=int, default=50)
    options = parser.parse_args()
    os.environ["RODBENCH_OWNER_IDLE"] = "2"
    for restarts in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            os.environ["RODBENCH_RUNTIME"] = f"{folder}/run"
            counted, told = fifty(options.kind, options.count, restarts, folder)
            way = "a restart before each" if restarts else "in a row"
            print(
                f"{options.kind}, {options.count} moves, {way}: "
                f"{counted} ticks at the bridge, {told} by the board's count"
            )
            time.sleep(2.5)


if __name__ == "__main__":
    main()
