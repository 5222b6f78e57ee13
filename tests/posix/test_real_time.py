"""The port on its own pty, by its own clock: as a person would use it, and never faster than a
board on a wire."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from rodbench.board import Board
from rodbench_protocol import framing
from rodbench_protocol.errors import FrameError
from rodbench_protocol.messages import pack, parse
from rodbench_protocol.names import ResetCause

from tests.link.conftest import owners
from tests.posix.build import ROOT
from tests.posix.machine import machine, settings
from tests.posix.process import ENDS
from tests.posix.real_time import RealTime

RODBENCH = [sys.executable, "-m", "rodbench.cli.main"]
PATIENCE_S = 60.0


@pytest.fixture
def port() -> Iterator[RealTime]:
    made = RealTime(machine())
    yield made
    made.close()


@pytest.fixture
def here(port: RealTime, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[RealTime]:
    """The port, with owners that meet in a folder of the test and end soon."""
    monkeypatch.setenv("RODBENCH_RUNTIME", str(tmp_path / "run"))
    monkeypatch.setenv("RODBENCH_OWNER_IDLE", "1")
    yield port
    for pid in owners(tmp_path / "run"):
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGTERM)


def test_any_command_works_on_its_pty(here: RealTime, tmp_path: Path) -> None:
    def run(*words: str) -> str:
        done = subprocess.run(
            [*RODBENCH, *words, "--port", here.port], cwd=tmp_path, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    hello = json.loads(run("info", "--json"))["hello"]
    assert hello["axis_count"] == 1
    assert hello["current_full_scale"] == 4095
    with Board.open(here.port) as board:
        board.write_scope(1, settings(), store=True)
    moved = json.loads(run("move", "1", "25 mm", "--yes", "--json"))
    assert moved["ended"] == "reached"
    assert here.rig.plants[1].position_mm == pytest.approx(25.0, abs=0.5)


class Line:
    """The pty, opened as a program of one's own would."""

    def __init__(self, port: str) -> None:
        self.fd = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self._splitter = framing.Splitter()
        self.newest = 0.0

    def hello(self) -> int:
        """The size of the next reply to hello; `newest` is when its last byte came. What was cut
        off because nobody listened yet is passed over, as is what comes unasked."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            time.sleep(0.0002)
            with contextlib.suppress(BlockingIOError):
                data = os.read(self.fd, 4096)
                self.newest = time.monotonic()
                for frame in self._splitter.feed(data):
                    with contextlib.suppress(FrameError):
                        if parse(framing.decode(frame)).name == "hello":
                            return len(frame) + 1
        raise AssertionError("no reply to hello")


@pytest.fixture
def line(port: RealTime) -> Iterator[Line]:
    made = Line(port.port)
    yield made
    os.close(made.fd)


HELLO = framing.encode(pack("hello", 0, 0))
BYTE_S = 40e-6  # ten bits at 250 000 baud


def test_no_reply_comes_sooner_than_a_wire_brings_it(line: Line) -> None:
    over = []
    for _ in range(40):
        began = time.monotonic()
        os.write(line.fd, HELLO)
        size = line.hello()
        over.append(line.newest - began - BYTE_S * (len(HELLO) + size))
    assert min(over) >= 0.0
    assert sum(over) / len(over) > 0.001  # on average half a tick until it is seen


def test_a_full_line_is_paced(line: Line) -> None:
    """Requests that come all at once are taken one a tick; of those that wait, two find room."""
    began = time.monotonic()
    os.write(line.fd, HELLO * 60)
    sizes = [line.hello() for _ in range(3)]
    assert line.newest - began >= 2 * 0.005 + BYTE_S * (len(HELLO) + sizes[-1])


def stand_still(port: RealTime, seconds: float) -> int:
    """Freeze the process; how many ticks the next second brings."""
    os.kill(port.pid, signal.SIGSTOP)
    time.sleep(seconds)
    before = port.records[-1].tick
    os.kill(port.pid, signal.SIGCONT)
    time.sleep(1.0)
    return port.records[-1].tick - before


def test_ticks_that_were_missed_are_counted_and_made_up_for(here: RealTime) -> None:
    with Board.open(here.port) as board:
        before = board.counters()["late_ticks"]
        ticks = stand_still(here, 0.15)
        late = board.counters()["late_ticks"] - before
    assert late >= 25  # thirty ticks of 5 ms, but for the ends
    assert ticks >= 200 + 25


def test_a_process_that_stood_still_for_too_long_starts_anew(here: RealTime) -> None:
    """Of 0.6 s the watchdog bears 0.2; the rod was in motion, and its output is off at once."""
    with Board.open(here.port) as board:
        board.write_scope(1, settings())
        board.axis(1).jog(6.0)
        board.watch(0.2)
        assert here.outputs.drive[0] != 0
        frozen_at = len(here.records)
        stand_still(here, 0.6)
        after = here.records[frozen_at:]
    drives = [record.drive for record in after]
    ended = [record.state for record in after].index(ENDS)
    assert ended <= 2  # what was told before it froze
    assert not any(drives[ended:])
    with Board.open(here.port) as board:
        assert board.ask_hello().reset_cause == ResetCause.WATCHDOG


def test_the_served_port_says_where_it_listens(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "tests.posix.serve", "--eye", str(tmp_path / "eye")]
    process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    said = json.loads(process.stdout.readline())
    assert said["board"] == "posix-3v3"
    assert os.path.exists(said["listens"])
    assert said["eye"]
    process.send_signal(signal.SIGINT)
    assert process.wait(20) == 0
    process.stdout.close()


def test_another_kind_of_board_is_refused(tmp_path: Path) -> None:
    plant = tmp_path / "plant.toml"
    plant.write_text('plant_file = 1\n[axes.1]\nname = "north"\n')
    words = [sys.executable, "-m", "tests.posix.serve", "--plant", str(plant)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 1
    assert "board.kind is atmega328p-5v; this board is posix-3v3" in done.stderr
