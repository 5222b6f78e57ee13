"""rodbench local and calibrate inputs, in virtual time: what is read, who commands, places."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from rodbench.bench.ask import Answers, Asker
from rodbench.board import Board
from rodbench.cli import steps
from rodbench.cli.main import cli
from rodbench.cli.options import Setup
from rodbench.errors import Refused, UsageError
from rodbench.settings.machine import MachineFile

from tests import boards as test_boards
from tests.cli.conftest import MACHINE, PLANT
from tests.cli.test_steps import Bench
from tests.procedures.test_inputs import STICK as STICK_STEPS
from tests.procedures.test_inputs import Person

pytestmark = pytest.mark.skipif(test_boards.kind().axes < 2, reason="no local inputs there")
STICK = """
[axes.1.local]
source = "stick"
commands = "speed"
low_end = 150
rest = 532
rest_band = 12
high_end = 870
"""
POSITIONS = '\n[positions]\nopen = "30 mm"\n'


@pytest.fixture
def bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Bench:
    made = Bench(tmp_path, capsys, PLANT)
    made.stand_in(monkeypatch)
    (tmp_path / "machine.toml").write_text(MACHINE + STICK + POSITIONS)
    made.run("settings", "push")
    made.emulated.rig.set_input("stick", 1, 0.52)
    return made


def text(bench: Bench, *words: str) -> str:
    """What a command prints for a person."""
    bench.capsys.readouterr()
    cli.main([*words], standalone_mode=False)
    return bench.capsys.readouterr().out


def test_it_shows_what_the_board_reads_and_who_commands(bench: Bench) -> None:
    bench.run("local", "1", "--give-back")
    bench.emulated.step(60)
    found = bench.run("local", "1")
    assert found["value"] == pytest.approx(532, abs=3)
    assert (found["source"], found["commands"]) == ("stick", "speed")
    assert (found["commander"], found["armed"], found["lost"]) == ("local", True, False)
    assert "it commands, armed (speed)" in text(bench, "local", "1")
    assert "axis 2 has no local input: the host commands" in text(bench, "local", "2")


def test_a_lost_input_and_buttons_are_told(bench: Bench) -> None:
    bench.run("local", "1", "--give-back")
    bench.emulated.rig.set_input("stick", 1, 0.0)
    bench.emulated.step(60)
    assert "stick 0, LOST; it commands once seen at rest" in text(bench, "local", "1")
    bench.emulated.rig.set_input("retract", 1, 1.0)
    assert bench.run("local", "1")["pressed"] == ["retract"]


def test_a_host_is_refused_until_it_takes_the_axis(bench: Bench) -> None:
    bench.run("local", "1", "--give-back")
    with pytest.raises(Refused, match="axis 1 is commanded by its stick") as refused:
        bench.run("move", "1", "25 mm", "--yes")
    assert refused.value.hint == "rodbench local 1 --take"
    said = text(bench, "local", "1", "--take")
    assert "10 s after its last word the input has it again" in said
    bench.run("move", "1", "25 mm", "--yes")
    assert bench.emulated.rig.plants[1].position_mm == pytest.approx(25, abs=1)


def test_an_axis_without_an_input_cannot_be_given_back(bench: Bench) -> None:
    with pytest.raises(UsageError, match="axis 2 has no local input") as refused:
        bench.run("local", "2", "--give-back")
    assert refused.value.hint == "rodbench calibrate inputs 2"


def test_two_wishes_at_once_are_refused(bench: Bench) -> None:
    with pytest.raises(UsageError, match="one of --take"):
        bench.run("local", "1", "--take", "--give-back")


@pytest.mark.parametrize(
    ("button", "place", "share"),
    [("extend", "open", 0.75), ("retract", "5 mm", 0.125), ("retract", "50 %", 0.5)],
)
def test_a_button_names_a_place_on_board_and_in_the_file(
    bench: Bench, button: str, place: str, share: float
) -> None:
    bench.run("local", "1", "--button", button, place)
    assert bench.run("settings", "diff")["differences"] == []
    kept = MachineFile.load(Path("machine.toml")).scope(1)[f"local_place_{button}"]
    assert kept / 65535 == pytest.approx(share, abs=0.001)


def test_a_place_beyond_the_soft_stops_is_refused(bench: Bench) -> None:
    with pytest.raises(UsageError, match="the soft stops are at"):
        bench.run("local", "1", "--button", "extend", "39.5 mm")
    assert bench.run("settings", "diff")["differences"] == []


def test_a_captured_stick_is_in_force_and_in_the_file(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    @contextlib.contextmanager
    def person(setup: Setup, board: Board) -> Iterator[Asker]:
        given = Answers({"input_source": "stick", "input_commands": "position"})
        yield Asker(given, Person(bench, STICK_STEPS))  # type: ignore[arg-type]

    monkeypatch.setattr(steps, "asker", person)
    found = bench.run("calibrate", "inputs", "1")["found"]
    assert found["high_end"] == pytest.approx(870, abs=3)
    kept = bench.machine().scope(1)
    assert kept["local_high_end"] == found["high_end"]
    assert (kept["local_as"], kept["local_rest_band"]) == (1, found["rest_band"])
    assert bench.run("settings", "diff")["differences"] == []
    assert "# rodbench: noise" in bench.machine().text
