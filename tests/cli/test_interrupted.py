"""Ctrl-C at every stage of commissioning, in virtual time: the rod stops first."""

from __future__ import annotations

import signal
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from rodbench.board import AxisSample, Board, Sample
from rodbench.cli import interrupts, talk
from rodbench.cli.commission import run
from rodbench.cli.new import make
from rodbench.cli.options import Setup
from rodbench.clock import VirtualClock
from rodbench.emulator.plant_file import parse
from rodbench.errors import Interrupted
from rodbench.link.transport import EmulatorTransport
from rodbench_protocol.names import Ended

from tests import boards
from tests.cli.conftest import ANSWERS, PLANT

# Text that announces a stage, and how many moving samples later the signal comes.
MOVING = [
    ("3 Polarity", 5),
    ("3 Polarity", 60),
    ("run A:", 30),
    ("4 Ends", 3),
    ("4 Ends", 60),
    ("4 Ends", 250),
    ("extended", 5),
    ("5 Speed", 10),
    ("5 Speed", 80),
    ("7 On the board", 20),
    ("7 On the board", 300),
]
STILL = ["1 Before", "2 Sensors", "Planned", "4 Ends", "6 Proposal", "7 On the board"]


@pytest.fixture(autouse=True)
def handlers() -> Iterator[None]:
    before = {n: signal.getsignal(n) for n in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    interrupts.catch_signals()
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


class Scene:
    """A commissioning in this process that is interrupted at a chosen moment."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.emulated = boards.make(parse(PLANT, "bench.toml"))
        self.clock = VirtualClock()
        self.clock.attach(self.emulated.step)
        transport = EmulatorTransport(self.emulated, self.clock)
        self.board = Board.direct(transport, self.clock)
        self.setup = Setup(port="emulator", machine_path=make(folder / "m", "m"), yes=True)
        self.setup.look = self.emulated.eye.look
        self.setup.ready_answers = tomllib.loads(ANSWERS)
        self.said: list[str] = []
        self.announced = False
        monkeypatch.setattr(talk, "say", self.say)

    stage = ""
    moving_samples: int | None = None

    def say(self, text: str = "") -> None:
        self.said.append(text)
        if self.stage in text and not self.announced:
            self.announced = True
            if self.moving_samples is None:
                signal.raise_signal(signal.SIGINT)

    def hear(self, sample: Sample) -> None:
        if not self.announced or not isinstance(sample, AxisSample) or sample.output == 0.0:
            return
        assert self.moving_samples is not None
        self.moving_samples -= 1
        if self.moving_samples == 0:
            signal.raise_signal(signal.SIGINT)

    def interrupted(self) -> None:
        self.board.listeners.append(self.hear)
        with pytest.raises(Interrupted, match="SIGINT"):
            run(self.setup, self.board, 1)
        self.board.listeners.clear()

    @property
    def drive(self) -> int:
        return int(self.emulated.outputs.drive[0])

    def stored(self) -> bool:
        return self.board.digests()["stored"] != 0


@pytest.fixture
def scene(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Scene:
    return Scene(tmp_path, monkeypatch)


@pytest.mark.parametrize(("stage", "samples"), MOVING)
def test_in_motion(scene: Scene, stage: str, samples: int) -> None:
    scene.stage, scene.moving_samples = stage, samples
    scene.interrupted()
    # The stop went out before the error came up: the output is 0 within the proposed ramp (0.27 s),
    # which is sooner than hold (100 ticks for a move) and ramp; the board says which it was.
    ticks = 0
    while scene.drive != 0:
        scene.clock.advance(1)
        ticks += 1
        assert ticks <= 70, "only the hold stopped it"
    scene.clock.advance(100)
    assert scene.drive == 0
    assert scene.board.outcome(1).ended == Ended.STOPPED
    assert scene.stored() == (stage == "7 On the board")


@pytest.mark.parametrize("stage", STILL)
def test_at_rest(scene: Scene, stage: str) -> None:
    scene.stage = stage
    scene.interrupted()
    assert scene.drive == 0
    position = scene.emulated.rig.plants[1].position_mm
    scene.clock.advance(100)
    assert scene.drive == 0
    assert scene.emulated.rig.plants[1].position_mm == pytest.approx(position, abs=0.5)
    assert scene.stored() == (stage == "7 On the board")
