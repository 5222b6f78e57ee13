"""A recording beside the least that could do it: a CSV writer, and Parquet; ten hours of it.

    python -m tests.benchmarks.recording [--hours 10]

A minute of an emulated two-axis bench, both rods moving back and forth, again and again with ticks
and counters that go on. CPU time of this process, the best of three; opening and drawing in a
process of their own, with the most memory that it held beside that of a minute's recording.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import fields, replace
from operator import attrgetter
from pathlib import Path
from typing import Any

from rodbench.board import AxisSample, BoardSample, Event, Sample
from rodbench.record import export
from rodbench.record.recorder import FLUSH_S
from rodbench.record.recording import Recording

from tests.benchmarks.clocked import cpu_s
from tests.record.bench import FakeBoard, recorder, two_axes

TILE_S = 60
TILE_TICKS = TILE_S * 200
SHORT = 10  # minutes, for what is compared by size and CPU
Timed = tuple[Sample, float]
_IN_A_PROCESS = """
import json, math, re, sys, time
from pathlib import Path
from rodbench.record.recording import Recording
from rodbench.settings.units import Units
from rodbench.show.recording_plot import plot_recording
from rodbench.show.position_plot import plot_positions
what, file, out = sys.argv[1:]
begin, cpu = time.perf_counter(), time.process_time()
read = Recording.open(Path(file))
if what == "plot":
    plot_recording(read, Path(out), [1, 2], -math.inf, math.inf, Units())
elif what == "position":
    plot_positions(read, Path(out), [1, 2], -math.inf, math.inf, Units())
status = Path("/proc/self/status").read_text()
peak = int(re.search(r"VmHWM:\\s+(\\d+) kB", status)[1]) / 1024
print(json.dumps([time.perf_counter() - begin, time.process_time() - cpu, peak]))
"""


def minute() -> list[Timed]:
    """What Board.poll gives in a minute of two rods going back and forth, and when it came."""
    board, clock, _ = two_axes()
    taken: list[Timed] = []
    with board:
        board.subscribe(0.01, 0.1)
        begun, motions = clock.now(), []
        for out, back in itertools.cycle([(80.0, 20.0), (20.0, 80.0)]):
            motions = [board.axis(1).move(out), board.axis(2).move(back)]
            until = clock.now() + 10.0
            while clock.now() < min(until, begun + TILE_S):
                taken += [(sample, clock.now() - begun) for sample in board.pump(0.02)]
            if clock.now() >= begun + TILE_S:
                break
    del motions
    return taken


def tiled(tile: list[Timed], minutes: int) -> Iterator[Timed]:
    """So many minutes of it, ticks and counters going on."""
    counter = 0
    for number in range(minutes):
        for sample, host_s in tile:
            tick = sample.tick + number * TILE_TICKS
            yield replace(sample, tick=tick, counter=counter & 0xFF), host_s + number * TILE_S
            counter += 1


def record(folder: Path, taken: Iterator[Timed] | list[Timed], name: str) -> Path:
    """A recording of that, as `rodbench record` makes it."""
    board = FakeBoard()
    recording = recorder(folder, board, name)
    begun = board.clock.now()
    for sample, host_s in taken:
        board.clock.s = begun + host_s
        recording.take(sample, board.clock.s)
    return recording.close()


def as_csv(path: Path, taken: list[Timed]) -> None:
    """The floor: one row a sample as it comes, on the disk as often."""
    columns = {
        kind: attrgetter(*(f.name for f in fields(kind)))
        for kind in (AxisSample, BoardSample, Event)
    }
    with path.open("w", newline="") as file:
        writer, written = csv.writer(file), 0.0
        for sample, host_s in taken:
            writer.writerow((host_s, *columns[type(sample)](sample)))
            if host_s - written >= FLUSH_S:
                written = host_s
                file.flush()
                os.fsync(file.fileno())


def apart(what: str, file: Path, out: Path) -> tuple[float, float, float]:
    """Wall and CPU seconds, and the most MB held, of one in a process of its own."""
    words = [sys.executable, "-c", _IN_A_PROCESS, what, str(file), str(out)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    wall, cpu, peak = json.loads(done.stdout)
    return wall, cpu, peak


def writing(folder: Path, tile: list[Timed]) -> None:
    """Frames a CPU second, beside a CSV writer."""
    taken = list(tiled(tile, 2))
    names = itertools.count()
    ours = cpu_s(lambda: record(folder, taken, f"w{next(names)}"))
    floor = cpu_s(lambda: as_csv(folder / f"w{next(names)}.csv", taken))
    print(f"recording {len(taken)} frames, CPU, best of three")
    print(f"  {'csv.writer, as they come':34s} {len(taken) / floor:9.0f} frames/s   1.00")
    print(f"  {'recording':34s} {len(taken) / ours:9.0f} frames/s   {floor / ours:.2f} of it")
    need = len(tile) / TILE_S
    share = 100 * need * ours / len(taken)
    print(f"  a board at its full rate sends {need:.0f} a second: {share:.2f} % of one CPU")


def sizes(folder: Path, tile: list[Timed]) -> None:
    """Bytes a frame of each kind of file."""
    path = record(folder, tiled(tile, SHORT), "size")
    read = Recording.open(path)
    window = (-math.inf, math.inf)
    found: dict[str, Any] = {"recording": [path]}
    found["CSV, exported"] = export.to_csv(read, folder / "s.csv", *window)
    found["Parquet (zstd), exported"] = export.to_parquet(read, folder / "s.parquet", *window)
    least = path.stat().st_size
    print(f"bytes a frame, {read.frames} frames")
    for name, files in found.items():
        size = sum(file.stat().st_size for file in files)
        print(f"  {name:34s} {size / read.frames:9.1f}            {size / least:5.2f} of ours")


def long(folder: Path, tile: list[Timed], hours: float) -> None:
    """Opening and drawing, beside a minute."""
    small = record(folder, tiled(tile, 1), "minute")
    path = record(folder, tiled(tile, round(hours * 60)), "long")
    print(f"{hours:g} hours, {path.stat().st_size / 1e6:.1f} MB; beside one minute")
    for what, words in (
        ("open", "open, every block checked"),
        ("plot", "plot of both axes"),
        ("position", "plot against position, both"),
    ):
        _, less_cpu, less = apart(what, small, folder / "a.png")
        wall, cpu, peak = apart(what, path, folder / "a.png")
        print(f"  {words:30s} {wall:6.2f} s, CPU {cpu:6.2f} s (a minute: {less_cpu:.2f} s), most"
              f" {peak:.0f} MB (a minute: {less:.0f} MB)")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=10.0)
    hours = parser.parse_args().hours
    memory = Path("/dev/shm")  # fsync of a busy disk is no CPU time, and takes long
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as name:
        tile = minute()
        writing(Path(name), tile)
        sizes(Path(name), tile)
        long(Path(name), tile, hours)


if __name__ == "__main__":
    main()
