"""An hour of a two-axis bench into a recording, with a reader beside it: is every frame accounted
for, and does memory stay flat?

    python -m tests.record.soak [--minutes 60] --accelerated
    python -m tests.record.soak [--minutes 10]

Accelerated: emulated board, recorder and reader in this process, in virtual time. Else in real
time: a board on a pty in a process of its own, and this process records through the owner.
"""

from __future__ import annotations

import argparse
import gc
import itertools
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from rodbench.board import Board, BoardSample, Sample
from rodbench.clock import Clock
from rodbench.errors import RodbenchError
from rodbench.link import holders
from rodbench.record.recorder import Recorder
from rodbench.record.recording import Recording

from tests.link.rig import PLANT, SETTINGS
from tests.record.bench import SECOND_AXIS, two_axes

STROKE_S = 9.0  # between two moves of both rods
READ_S = 5.0  # between two looks of the reader
LOOKS = 10  # at memory
WARM = 2  # of these are before all has been used once


def resident_mb(pid: int | str = "self") -> float:
    """Memory of a process that is in use now, in MB."""
    found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text())
    assert found
    return int(found[1]) / 1024


def cpu_s(pid: int) -> float:
    """CPU seconds of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass
class Soaked:
    """What came of it. `resident` in MB and `blocks` that Python holds, in equal steps of time;
    `sent`: frames that the board numbered; CPU in s."""

    path: Path
    seconds: float
    sent: int
    taken: int
    missed: int
    dropped_by_board: int
    in_file: int
    gaps: int
    reader_looks: int
    recorder_cpu_s: float
    resident: list[float] = field(default_factory=list)
    blocks: list[int] = field(default_factory=list)
    words: str = ""  # more that is told

    def check(self) -> None:
        """Raises AssertionError."""
        assert self.taken == self.in_file, "frames that were taken are not in the file"
        assert self.taken + self.missed == self.sent, "frames that nothing accounts for"
        assert self.missed == self.dropped_by_board, "frames that were lost on the way"
        assert self.gaps <= self.missed

    def __str__(self) -> str:
        hour = self.recorder_cpu_s * 3600 / self.seconds
        memory = " ".join(f"{mb:.0f}" for mb in self.resident)
        blocks = " ".join(f"{n / 1000:.0f}" for n in self.blocks)
        return (
            f"{self.seconds:.0f} s of board time, {self.sent} frames numbered by the board: "
            f"{self.taken} taken, {self.in_file} in the file, {self.missed} missing, of which the "
            f"board counts {self.dropped_by_board} as dropped for want of room on the line\n"
            f"{self.path.stat().st_size / 1e6:.2f} MB, {self.gaps} gaps told, "
            f"{self.reader_looks} looks of a reader\n"
            f"recorder: CPU {self.recorder_cpu_s:.1f} s, {hour:.1f} s an hour "
            f"({hour / 36:.2f} % of one)\n"
            f"memory of this process, MB: {memory}; thousands of Python blocks: {blocks}"
            f"\n{self.words}"
        ).strip()


class Bench:
    """Both rods back and forth, a recorder and a reader. It counts for itself."""

    def __init__(self, board: Board, folder: Path) -> None:
        self.board = board
        board.subscribe(0.01, 0.1)
        self.dropped = self._ask_dropped([])
        drained = board.poll(0.0)
        self.counter = drained[-1].counter if drained else -1
        self.sent = self.taken = self.early = self.looks = 0
        self.recorder = Recorder.begin(
            folder, board, machine="soak", rods={1: "north", 2: "south"}
        )  # fmt: skip
        self.cpu = 0.0
        self._targets = itertools.cycle([(80.0, 20.0), (20.0, 80.0)])
        self._move_s = self._read_s = board.clock.now()

    def turn(self) -> None:
        """A poll, and what is due."""
        now = self.board.clock.now()
        self._take(self.board.pump(0.02))
        begin = time.thread_time()
        self.recorder.tend()
        self.cpu += time.thread_time() - begin
        if now >= self._move_s:
            self._move_s += STROKE_S
            for axis, target in zip((1, 2), next(self._targets), strict=True):
                with suppress(RodbenchError):  # duty spent: it rests
                    self.board.axis(axis).move(target)
        if now >= self._read_s:
            self._read_s += READ_S
            self._read()

    def end(self, seconds: float) -> Soaked:
        """Close it, and count."""
        last: list[Sample] = []
        dropped = (self._ask_dropped(last) - self.dropped) & 0xFFFF
        self._take(last)
        self.recorder.close()
        read = Recording.open(self.recorder.path)
        return Soaked(
            path=self.recorder.path, seconds=seconds, sent=self.sent, taken=self.taken,
            missed=self.recorder.account.missed + self.early, dropped_by_board=dropped,
            in_file=sum(1 for _ in read.samples()), gaps=len(read.gaps), reader_looks=self.looks,
            recorder_cpu_s=self.cpu,
        )  # fmt: skip

    def _take(self, samples: list[Sample]) -> None:
        for sample in samples:
            if self.counter >= 0:
                self.sent += (sample.counter - self.counter) & 0xFF
                self.early += 0 if self.taken else (sample.counter - self.counter - 1) & 0xFF
            else:
                self.sent += 1
            self.counter = sample.counter
            self.taken += 1
        begin = time.thread_time()
        for sample in samples:
            self.recorder.take(sample, self.board.clock.now())
        self.cpu += time.thread_time() - begin

    def _ask_dropped(self, taken: list[Sample]) -> int:
        """Right behind a frame of the board's own: the reply takes no other one's room."""
        while not any(isinstance(s, BoardSample) for s in taken[-3:]):
            taken += self.board.pump(0.01)
        return self.board.counters()["unasked_dropped"]

    def _read(self) -> None:
        read = Recording.open(self.recorder.path)
        times = read.axis(1, ["t_s", "position_mm"], read.duration_s - READ_S)["t_s"]
        assert not read.repaired
        assert not len(times) or times[-1] <= read.duration_s
        self.looks += 1


def run(bench: Bench, clock: Clock, minutes: float) -> Soaked:
    """So long, with looks at memory."""
    begun = clock.now()
    resident, blocks = [], []
    for look in range(LOOKS):
        while clock.now() < begun + (look + 1) * minutes * 60 / LOOKS:
            bench.turn()
        gc.collect()
        resident.append(resident_mb())
        blocks.append(sys.getallocatedblocks())
    found = bench.end(clock.now() - begun)
    found.resident, found.blocks = resident, blocks
    return found


def accelerated(folder: Path, minutes: float) -> Soaked:
    """In virtual time."""
    board, clock, _ = two_axes()
    with board:
        return run(Bench(board, folder), clock, minutes)


def in_real_time(folder: Path, minutes: float) -> Soaked:
    """Through the owner; also told is what the owner's process took."""
    (folder / "plant.toml").write_text(PLANT + SECOND_AXIS)
    os.environ |= {"RODBENCH_RUNTIME": str(folder / "run"), "RODBENCH_OWNER_IDLE": "1"}
    with served(folder / "plant.toml") as port, Board.open(port) as board:
        for axis in (1, 2):
            board.write_scope(axis, SETTINGS)
        (owner,) = {h.pid for k in folder.glob("run/*.lock") for h in holders.find(k)}
        before, first_mb, begun = cpu_s(owner), resident_mb(owner), time.process_time()
        soaked = run(Bench(board, folder), board.clock, minutes)
        share = 100 * (cpu_s(owner) - before) / soaked.seconds
        mine = 100 * (time.process_time() - begun) / soaked.seconds
        words = f"owner: CPU {share:.1f} % of one, {first_mb:.0f} MB, then {resident_mb(owner):.0f}"
    soaked.words = f"{words}\nthis process, moves and reader included: {mine:.1f} % of one"
    return soaked


@contextmanager
def served(plant: Path) -> Iterator[str]:
    """A board on a pty in a process of its own; its port."""
    words = [sys.executable, "-m", "rodbench.cli.main", "emulate", "--pty", "--plant", str(plant)]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if found := re.search(r"/dev/pts/\d+", line):
                yield found[0]
                return
        raise AssertionError("no port")
    finally:
        process.terminate()
        process.wait()


class Told(Protocol):
    """What came of a soak, as a text too."""

    seconds: float

    def check(self) -> None: ...


def command(
    doc: str | None,
    accelerated: Callable[[Path, float], Told],
    in_real_time: Callable[[Path, float], Told],
    proven: str,
) -> None:
    """A soak from the command line."""
    parser = argparse.ArgumentParser(description=doc)
    parser.add_argument("--minutes", type=float)
    parser.add_argument("--accelerated", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        begun = time.perf_counter()
        if options.accelerated:
            soaked = accelerated(Path(name), options.minutes or 60.0)
        else:
            soaked = in_real_time(Path(name), options.minutes or 10.0)
        print(soaked)
        print(f"{soaked.seconds / (time.perf_counter() - begun):.1f} times real time")
        soaked.check()
        print(proven)


if __name__ == "__main__":
    command(__doc__, accelerated, in_real_time, "every frame is accounted for")
