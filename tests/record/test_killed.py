"""Killed at any moment: the file opens, and what it lost is of the last second."""

from __future__ import annotations

import os
import random
import select
import signal
import time
from pathlib import Path

import pytest
from rodbench.record.recording import Recording

from tests.record.bench import FakeBoard, recorder, sample, telemetry
from tests.record.kills import Killer

KILLS, TOGETHER = 100, 10


class RealClock:
    now = staticmethod(time.monotonic)
    sleep = staticmethod(time.sleep)


def record_until_killed(folder: Path, name: str, told: int) -> None:
    """Frames at 100 Hz, and the number of each to the parent once it is taken."""
    board = FakeBoard()
    board.clock = board.link.clock = RealClock()
    recording = recorder(folder, board, name)
    number = 0
    while True:
        recording.take(sample(telemetry(number, 2 * number, motion=number)), time.monotonic())
        os.write(told, number.to_bytes(4, "little"))
        number += 1
        recording.tend()
        time.sleep(0.01)


def fork(folder: Path, name: str) -> tuple[int, int]:
    """A child that records; its process, and where it tells what it took."""
    read, write = os.pipe()
    child = os.fork()
    if not child:
        try:
            record_until_killed(folder, name, write)
        finally:
            os._exit(1)
    os.close(write)
    return child, read


def taken(pipe: int) -> int:
    """The last number that came; -1: none."""
    told = b""
    while select.select([pipe], [], [], 0)[0] and (data := os.read(pipe, 1 << 16)):
        told += data
    os.close(pipe)
    return int.from_bytes(told[-4:], "little") if told else -1


def test_a_hundred_kills_lose_a_second_at_most(tmp_path: Path) -> None:
    rng, files = random.Random(6), 0
    for round_ in range(KILLS // TOGETHER):
        children = {f"{round_}-{n}": fork(tmp_path, f"{round_}-{n}") for n in range(TOGETHER)}
        begun = time.monotonic()
        for moment, name in sorted((rng.uniform(0.02, 2.2), name) for name in children):
            time.sleep(max(0.0, begun + moment - time.monotonic()))
            os.kill(children[name][0], signal.SIGKILL)
            os.waitpid(children[name][0], 0)
        for name, (_, pipe) in children.items():
            last = taken(pipe)
            paths = list(tmp_path.glob(f"recordings/*Z-{name}.rodrec"))
            if not paths:  # killed before it began
                assert last < 0
                continue
            (path,) = paths
            read = Recording.open(path)
            files += 1
            found = [s.motion for s in read.samples()]
            assert found == list(range(len(found)))
            assert not read.gaps
            assert not read.ended
            assert last - (found[-1] if found else -1) <= 100, f"{name}: more than a second lost"
    assert files >= KILLS * 0.8


@pytest.mark.slow
def test_the_command_itself_killed(tmp_path: Path, monkeypatch) -> None:
    """A few; the command that this file names does it a hundred times."""
    for variable in ("RODBENCH_RUNTIME", "RODBENCH_OWNER_IDLE"):
        monkeypatch.setenv(variable, "")  # put back behind the test
    killer = Killer(tmp_path)
    try:
        killed = killer.round(["a", "b", "c"])
    finally:
        killer.close()
    assert all(not k.frames or 0.0 <= k.lost_s <= 1.0 for k in killed), killed
