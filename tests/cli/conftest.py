"""The command as a person uses it: real processes against an emulated board on a pty."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from rodbench.emulator.plant_file import parse
from rodbench.emulator.serve import PtyDoor, Served
from rodbench.link import holders

from tests import boards

RODBENCH = [sys.executable, "-m", "rodbench.cli.main"]

# A short, quick rod, so that whole procedures fit in a test. All figures invented.
PLANT = """\
plant_file = 1
name = "bench rod"
seed = 7
[axes.1]
name = "north"
stroke_mm = 40.0
start_mm = 20.0
[axes.1.motor]
resistance_ohm = 2.0
constant_v_s_per_mm = 0.8
response_ms = 40.0
friction_extend_a = 0.8
friction_retract_a = 0.7
[axes.1.ends]
kind = "switch"
[axes.1.pot]
retracted = 0.1
extended = 0.9
noise_lsb = 0.3
[axes.1.sensor]
kind = "one-sided"
v_per_a = 0.185
"""

# What a calibration of it would give.
EMULATORS_MACHINE = """\
machine_file = 1
name = "bench"

[board]
fuse_a = 5.0

[rods.north]
stroke_mm = 40.0
pot_retracted = 0.1
pot_extended = 0.9
speed_extend_mm_s = 12.0
speed_retract_mm_s = 12.0
creep_speed_mm_s = 2.5
run_on_extend_mm = 0.6
run_on_retract_mm = 0.6

[axes.1]
rod = "north"
calibrated = true

[axes.1.limits]
soft_stop_min_mm = 2.0
soft_stop_max_mm = 38.0
speed_max_mm_s = 8.0
acceleration_mm_s2 = 40.0
deceleration_mm_s2 = 40.0
trip_a = 3.0
"""
MACHINE = boards.file(EMULATORS_MACHINE)  # of the board that the tests run on

ANSWERS = """\
axis = "1"
rod = "north"
wires = "motor + pot"
mounting = "bench"
retracted_pin_to_pin = "100 mm"
extended_pin_to_pin = "140 mm"
current_sensor_v_per_a = 0.185
fuse_a = 5.0
accept = "accept"
"""


def wait_for(condition: Callable[[], Any], timeout_s: float = 10.0, what: str = "it") -> Any:
    """The first true value of a condition."""
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        if value := condition():
            return value
        time.sleep(0.01)
    raise AssertionError(f"{what} did not come within {timeout_s} s")


class Bench:
    """An emulated board on a pty, a machine folder, and the command."""

    def __init__(self, folder: Path, runtime: Path, plant: str = PLANT) -> None:
        self.folder = folder
        self.board = self.make_board(plant)
        self.served = Served(self.board, PtyDoor())
        self.env = {
            **os.environ,
            "RODBENCH_PORT": self.served.door.address,
            "RODBENCH_RUNTIME": str(runtime),
            "RODBENCH_OWNER_IDLE": "1",
            "COLUMNS": "80",
        }
        self.started: list[subprocess.Popen[str]] = []

    def make_board(self, plant: str) -> Any:
        return boards.make(parse(plant, "bench.toml"))

    @property
    def port(self) -> str:
        return self.served.door.address

    @property
    def drive(self) -> int:
        """Output on the lines of axis 1, permille, as the board gives it now."""
        return int(self.board.outputs.drive[0])

    @property
    def position_mm(self) -> float:
        return float(self.board.rig.plants[1].position_mm)

    def run(self, *words: str, code: int | None = 0, timeout_s: float = 60.0, **more: Any) -> Any:
        """The command run to its end; checks its exit code unless `code` is None."""
        done = subprocess.run(
            [*RODBENCH, *words], cwd=self.folder, env=self.env, capture_output=True, text=True,
            timeout=timeout_s, stdin=subprocess.DEVNULL, **more,
        )  # fmt: skip
        assert "Traceback" not in done.stderr, done.stderr
        if code is not None:
            assert done.returncode == code, f"{done.returncode}\n{done.stdout}\n{done.stderr}"
        return done

    def json(self, *words: str, code: int = 0) -> Any:
        """The one object that a command prints with --json."""
        return json.loads(self.run(*words, "--json", code=code).stdout)

    def start(self, *words: str) -> subprocess.Popen[str]:
        """The command in the background."""
        process = subprocess.Popen(
            [*RODBENCH, *words], cwd=self.folder, env=self.env, text=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self.started.append(process)
        return process

    def wait_moving(self) -> None:
        wait_for(lambda: self.drive != 0, what="motion")

    def wait_still(self, timeout_s: float = 3.0) -> None:
        wait_for(lambda: self.drive == 0, timeout_s, "rest")

    def calibrate(self) -> None:
        """Put the machine file's true settings on the board."""
        (self.folder / "machine.toml").write_text(MACHINE)
        for _ in range(3):  # a starved test machine may lose replies; this is only the setting up
            if self.run("settings", "push", code=None).returncode == 0:
                return
        raise AssertionError("the machine file could not be pushed")

    def close(self) -> None:
        for process in self.started:
            if process.poll() is None:
                process.kill()
            process.wait()
            for stream in (process.stdout, process.stderr):
                if stream:
                    stream.close()
        with contextlib.suppress(OSError):
            self.served.close()


@contextlib.contextmanager
def benched(tmp_path: Path, machine: str, plant: str = PLANT) -> Iterator[Bench]:
    """A bench in a folder with this machine file; its owner ends with it."""
    folder, runtime = tmp_path / "machine", tmp_path / "run"
    folder.mkdir()
    found = Bench(folder, runtime, plant)
    (folder / "machine.toml").write_text(machine)
    yield found
    found.close()
    for lock in runtime.glob("*.lock"):
        for holder in holders.find(lock):
            os.kill(holder.pid, signal.SIGTERM)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    machine = MACHINE.replace("calibrated = true", "calibrated = false")
    with benched(tmp_path, machine) as found:
        yield found


@pytest.fixture
def calibrated(bench: Bench) -> Bench:
    bench.calibrate()
    return bench
