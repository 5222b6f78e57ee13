"""`rodbench record` killed at random moments: does every file open, and how much is lost?

    python -m tests.record.kills [--count 100] [--together 4]

Real processes record an emulated board through its owner, several at a time; a listener beside them
knows the newest tick when one is killed. What counts as lost is from the file's last tick to that.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from rodbench.board import Board
from rodbench.clock import TICK_S
from rodbench.record.recording import Recording

from tests.link.rig import Bench

MACHINE = 'machine_file = 1\nname = "killed"\n[rods.a]\nstroke_mm = 100.0\n[axes.1]\nrod = "a"\n'
START_S = 30.0
LONGEST_S = 4.0


@dataclass(frozen=True)
class Killed:
    """A recording that was killed: frames in its file, and board time that it lost."""

    path: Path
    frames: int
    lost_s: float
    repaired: str


class Killer:
    """An emulated board in real time, its listener, and recorders to be killed."""

    def __init__(self, folder: Path, seed: int = 1) -> None:
        self.folder = folder
        self.random = random.Random(seed)
        (folder / "machine.toml").write_text(MACHINE)
        self.bench = Bench("emulator", pace=1.0)
        os.environ |= {"RODBENCH_RUNTIME": str(folder / "run"), "RODBENCH_OWNER_IDLE": "2"}
        self.listener = Board.open(self.bench.port)
        self.listener.subscribe(0.01, 0.1)
        self.started: list[subprocess.Popen[bytes]] = []

    def round(self, names: list[str]) -> list[Killed]:
        """Start recorders of these names together, kill each at its own moment."""
        started = {name: self._start(name) for name in names}
        files = {name: self._file(name) for name in names}
        begun = time.monotonic()
        moments = sorted((self.random.uniform(0.0, LONGEST_S), name) for name in names)
        found = []
        for moment, name in moments:
            self._listen(begun + moment)
            started[name].send_signal(signal.SIGKILL)
            started[name].wait()
            self._listen(time.monotonic() + 0.01)
            found.append(self._look(files[name], self.listener.link.newest_tick))
        return found

    def close(self) -> None:
        for process in self.started:
            process.kill()
            process.wait()
        self.listener.close()
        self.bench.close()

    def _start(self, name: str) -> subprocess.Popen[bytes]:
        words = [sys.executable, "-m", "rodbench.cli.main", "record", name]
        env = {**os.environ, "RODBENCH_PORT": self.bench.port}
        process = subprocess.Popen(
            words, cwd=self.folder, env=env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        self.started.append(process)
        return process

    def _file(self, name: str) -> Path:
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            self._listen(time.monotonic() + 0.01)
            for path in self.folder.glob(f"logbook/recordings/*Z-{name}.rodrec"):
                return path
        raise AssertionError(f"{name} did not begin")

    def _listen(self, until_s: float) -> None:
        while (left := until_s - time.monotonic()) > 0:
            self.listener.poll(min(left, 0.05))

    def _look(self, path: Path, tick: int) -> Killed:
        read = Recording.open(path)
        assert not read.ended
        samples = list(read.samples())
        steps = [(b.counter - a.counter - 1) & 0xFF for a, b in pairwise(samples)]
        assert [step for step in steps if step] == [gap.missed for gap in read.gaps]
        ticks = [s.tick for s in samples]
        lost_s = (tick - ticks[-1]) * TICK_S if ticks else float("nan")
        return Killed(path, len(samples), lost_s, read.repaired)


def main() -> None:
    """So many, and the worst."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--together", type=int, default=4)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        killer = Killer(Path(name))
        found: list[Killed] = []
        while len(found) < options.count:
            some = min(options.together, options.count - len(found))
            found += killer.round([f"k{len(found) + n}" for n in range(some)])
        killer.close()
        time.sleep(2.5)
    lost = [k.lost_s for k in found if k.frames]
    empty = sum(not k.frames for k in found)
    frames = sum(k.frames for k in found)
    print(f"{len(found)} recordings killed by SIGKILL, all open: {frames} frames kept")
    print(f"lost at most {max(lost):.2f} s, median {statistics.median(lost):.2f} s")
    print(f"{sum(bool(k.repaired) for k in found)} torn tails; {empty} killed before a block")


if __name__ == "__main__":
    main()
