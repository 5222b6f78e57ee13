"""A rod without a pot, step by step, with one emulated board in this process."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import boards
from tests.cli import conftest, test_steps
from tests.cli.test_steps import Bench

PLANT = conftest.PLANT.replace("noise_lsb = 0.3", "noise_lsb = 0.3\nfitted = false")
MACHINE = """
[rods.south]
feedback = "none"
stroke_mm = 40.0

[axes.1]
rod = "south"

[axes.1.limits]
trip_a = 5.0
"""


@pytest.fixture
def south(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Bench:
    monkeypatch.setattr(test_steps, "PLANT", PLANT)
    bench = Bench(tmp_path, capsys)
    monkeypatch.setattr(test_steps.boards, "open_board", bench.open)
    monkeypatch.setenv("RODBENCH_PORT", "emulator")
    monkeypatch.chdir(tmp_path)
    bench.run("new", ".", "--name", "bench")
    path = bench.folder / "machine.toml"
    path.write_text(boards.file(path.read_text()) + MACHINE)
    bench.run("settings", "push")
    return bench


def test_the_steps_one_by_one_end_like_commission(south: Bench) -> None:
    for step in ("current", "polarity", "endpoints"):
        south.run("calibrate", step, "1", "--yes")
    proposal = south.run("propose", "1", "--save")
    assert proposal["saved"] is True
    assert south.run("settings", "push")["stored"] is True
    live, file = south.board.read_scope(1), south.machine()
    assert file.digest() == south.board.digests()["live"] == south.board.digests()["stored"]
    assert (live["feedback"], live["calibrated"], live["motor_reversed"]) == (2, 0, 0)
    assert file.host("end_extended", ("rods", "south")) == "end-switch"
    assert live["trip_ma"] == round(1000 * proposal["trip_a"])
    plant = south.emulated.rig.plants[1]
    assert south.run("move", "1", "retracted", "--yes")["place"] == "retracted"
    there = south.run("move", "1", "extended")
    assert there["place"] == "extended"
    assert plant.position_mm > 39.0
    # an end is an end once nothing was drawn for the stall time
    to_be = live["stroke_time_extend_cs"] / 100 + live["stall_time_ms"] / 1000
    assert there["seconds"] == pytest.approx(to_be, abs=0.3)
