"""A bench with page and recording open: is every frame accounted for, does memory stay flat, and
what does it cost?

    python -m tests.page.soak [--minutes 10]
    python -m tests.page.soak --accelerated [--minutes 60]

In real time: a board on a pty, `rodbench page` and Chromium, each a process of its own; this
process moves the rods as a command in a terminal does, and takes every frame beside the recording.
Accelerated: board, feed, recorder and the page's messages in this process, in virtual time.
"""

from __future__ import annotations

import gc
import itertools
import json
import os
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

from playwright.sync_api import Browser, Page, sync_playwright
from rodbench.board import Board, Event, Sample
from rodbench.errors import RodbenchError
from rodbench.link import holders
from rodbench.page.feed import Feed
from rodbench.page.look.send import Sender
from rodbench.record.recorder import Recorder
from rodbench.record.recording import Recording

from tests.cli.conftest import RODBENCH
from tests.link.rig import PLANT, SETTINGS
from tests.page.bench import launch, ready
from tests.record.bench import SECOND_AXIS, two_axes
from tests.record.soak import STROKE_S, command, cpu_s, resident_mb, served

LOOKS = 10  # at memory
WARM = 4  # of these are before the traces are full and all has been used once
MESSAGE_S = 0.1
Frame: TypeAlias = tuple[int, int, int]  # tick, counter, axis
MACHINE = 'machine_file = 1\nname = "soak"\n'


@dataclass
class Soaked:
    """What came of it."""

    seconds: float
    taken: int  # frames in the recording
    missed: int  # that it says are missing
    unaccounted: int  # that the board sent, and neither holds
    gaps: int
    resident: dict[str, list[float]]  # MB, in equal steps of time, by process
    cpu: dict[str, float] = field(default_factory=dict)  # share of one
    told: dict[str, float] = field(default_factory=dict)

    def check(self) -> None:
        """Raises AssertionError."""
        assert self.unaccounted == 0, "frames that nothing accounts for"
        for name, looks in self.resident.items():
            later = looks[WARM:]
            assert max(later) - min(later) < 0.04 * min(later) + 3, f"{name} grows: {later}"

    def __str__(self) -> str:
        lines = [
            f"{self.seconds:.0f} s: {self.taken} frames in the recording, {self.missed} missing in "
            f"{self.gaps} gaps, as it says; {self.unaccounted} unaccounted for"
        ]
        for name, looks in self.resident.items():
            share = f", CPU {100 * self.cpu[name]:.1f} % of one" if name in self.cpu else ""
            lines.append(f"{name}: {' '.join(f'{mb:.0f}' for mb in looks)} MB{share}")
        lines += [f"{name}: {figure:.4g}" for name, figure in self.told.items()]
        return "\n".join(lines)


class Strokes:
    """Both rods back and forth, by a board that polls."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self._targets = itertools.cycle([(80.0, 20.0), (20.0, 80.0)])
        self._due_s = board.clock.now()

    def turn(self) -> list[Sample]:
        """A poll, and a stroke when it is due."""
        if self.board.clock.now() >= self._due_s:
            self._due_s += STROKE_S
            for axis, target in zip((1, 2), next(self._targets), strict=True):
                with suppress(RodbenchError):  # duty spent: it rests
                    self.board.axis(axis).move(target)
        return self.board.pump(0.02)


# -- faster than real time


def accelerated(folder: Path, minutes: float) -> Soaked:
    """An hour in a few minutes."""
    board, clock, _ = two_axes()
    with board:
        board.subscribe(0.01, 0.1)
        board.pump(0.0)
        feed, sender = Feed(), Sender()
        feed.scopes = {number: board.read_scope(number) for number in board.scopes}
        recorder = Recorder.begin(folder, board, machine="soak", rods={})
        strokes, seen, size = Strokes(board), 0, 0
        begun = due_s = clock.now()
        resident: list[float] = []
        work_s, messages = 0.0, 0
        for look in range(LOOKS):
            while clock.now() < begun + (look + 1) * minutes * 60 / LOOKS:
                samples = strokes.turn()
                seen += len(samples)
                for sample in samples:
                    feed.take(sample)
                    recorder.take(sample, clock.now())
                recorder.tend()
                if clock.now() >= due_s and len(feed.last_axis) == 2:
                    due_s += MESSAGE_S
                    start = time.thread_time()
                    size += len(json.dumps(sender.message(feed)))
                    work_s += time.thread_time() - start
                    messages += 1
            gc.collect()
            resident.append(resident_mb())
        recorder.close()
        taken = sum(1 for _ in Recording.open(recorder.path).samples())
    found = Soaked(
        clock.now() - begun, taken, recorder.account.missed, seen - taken,
        recorder.account.gaps, {"this process": resident},
    )  # fmt: skip
    found.told = {
        "messages to a page": messages,
        "ms CPU for one": 1000 * work_s / messages,
        "bytes of one": size / messages,
    }
    return found


# -- in real time


@contextmanager
def page_process(folder: Path, port: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """`rodbench page` on a port; its process and what it says."""
    (folder / "machine.toml").write_text(MACHINE)
    words = [*RODBENCH, "page", "--port", port, "--yes", "--json"]
    process = subprocess.Popen(
        words, cwd=folder, text=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert process.stdout is not None
    try:
        yield process.pid, json.loads(process.stdout.readline())
    finally:
        process.terminate()
        process.wait()


@contextmanager
def bench(folder: Path) -> Iterator[tuple[str, Board, int]]:
    """A served board with two calibrated rods, a client on it, and its owner's process."""
    (folder / "plant.toml").write_text(PLANT + SECOND_AXIS)
    os.environ |= {"RODBENCH_RUNTIME": str(folder / "run"), "RODBENCH_OWNER_IDLE": "1"}
    with served(folder / "plant.toml") as port, Board.open(port, who="soak") as board:
        for axis in (1, 2):
            board.write_scope(axis, SETTINGS)
        (owner,) = {h.pid for k in folder.glob("run/*.lock") for h in holders.find(k)}
        yield port, board, owner


def open_page(browser: Browser, said: dict[str, Any]) -> Page:
    """A page that controls, in a tab of its own."""
    return ready(browser.new_context().new_page(), said["keyed_url"])


def in_real_time(folder: Path, minutes: float) -> Soaked:
    """Through owner, server and browser."""
    with (
        bench(folder) as (port, board, owner),
        page_process(folder, port) as (server, said),
        sync_playwright() as playwright,
    ):
        browser = launch(playwright)
        page = open_page(browser, said)
        board.subscribe(0.01, 0.1)
        page.get_by_role("button", name="Record").click()
        page.get_by_role("button", name="End recording").wait_for()
        found, seen = _run(board, page, {"page's server": server, "owner": owner}, minutes)
        page.get_by_role("button", name="End recording").click()
        page.get_by_role("button", name="Record", exact=True).wait_for()
        browser.close()
        (path,) = (folder / "logbook" / "recordings").iterdir()
        _account(found, seen, Recording.open(path))
    return found


def _run(
    board: Board, page: Page, processes: dict[str, int], minutes: float
) -> tuple[Soaked, list[Frame]]:
    seen: list[Frame] = []
    resident: dict[str, list[float]] = {name: [] for name in processes}
    before = {name: cpu_s(pid) for name, pid in processes.items()}
    strokes, begun = Strokes(board), time.monotonic()
    for look in range(LOOKS):
        while time.monotonic() < begun + (look + 1) * minutes * 60 / LOOKS:
            seen += [_name(s) for s in strokes.turn() if not isinstance(s, Event)]
        for name, pid in processes.items():
            resident[name].append(resident_mb(pid))
        page.wait_for_function("document.documentElement.dataset.line === 'open'")
    seconds = time.monotonic() - begun
    cpu = {name: (cpu_s(pid) - before[name]) / seconds for name, pid in processes.items()}
    return Soaked(seconds, 0, 0, 0, 0, resident, cpu), seen


def _name(sample: Sample) -> Frame:
    """What tells a frame from every other."""
    return sample.tick, sample.counter, getattr(sample, "axis", -1)


def _account(found: Soaked, seen: list[Frame], read: Recording) -> None:
    """Telemetry that came here while it was recorded must be there."""
    kept = {_name(sample) for sample in read.samples()}
    ticks = [sample.tick for sample in read.samples() if not isinstance(sample, Event)]
    first, last = min(ticks), max(ticks)
    inside = [name for name in seen if first < name[0] < last]
    assert len(inside) > len(kept) / 2
    found.unaccounted = sum(1 for name in inside if name not in kept)
    found.taken, found.gaps = len(kept), len(read.gaps)
    found.missed = sum(gap.missed or 0 for gap in read.gaps)


if __name__ == "__main__":
    proven = "every frame is accounted for, and memory is flat"
    command(__doc__, accelerated, in_real_time, proven)
