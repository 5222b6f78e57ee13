"""rodbench measure pot | motor, from the command line on an emulated board."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from rodbench.record.logbook import Logbook

from .conftest import EMULATORS_MACHINE, PLANT

PORT = ("--port", "emulator:plant.toml", "--speed", "max")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    worn = "[axes.1.pot]\nworn_from_mm = 26.0\nworn_to_mm = 29.0\nworn_share = 0.3\n"
    (tmp_path / "plant.toml").write_text(PLANT.replace("[axes.1.pot]\n", worn))
    (tmp_path / "machine.toml").write_text(EMULATORS_MACHINE)
    return tmp_path


def rodbench(folder: Path, *words: str, code: int = 0) -> Any:
    done = subprocess.run(
        [sys.executable, "-m", "rodbench.cli.main", *words, *PORT],
        cwd=folder, env={**os.environ, "COLUMNS": "80"}, capture_output=True, text=True,
        stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    assert done.returncode == code, f"{done.returncode}\n{done.stdout}\n{done.stderr}"
    return done


def test_a_worn_pot_is_found_out_and_noted(folder: Path) -> None:
    before = (folder / "machine.toml").read_text()
    rodbench(folder, "settings", "push")
    done = rodbench(folder, "measure", "pot", "1", "--yes", "--json")
    found = json.loads(done.stdout)
    assert found["verdict"] in ("avoid", "replace")
    (zone,) = found["found"]["zones"]
    assert abs(zone["from_mm"] - 26.0) < 2.0
    assert abs(zone["to_mm"] - 29.0) < 2.0
    assert done.stderr.index("Planned:") < done.stderr.index("crush a hand")
    assert "contact lost at" in done.stderr
    entries, _ = Logbook.beside(folder / "machine.toml").read()
    (entry,) = [e for e in entries if e.kind == "measure pot"]
    assert entry.data["found"]["health"]["verdict"] == found["verdict"]
    after = (folder / "machine.toml").read_text()
    assert [line for line in before.splitlines() if line not in after.splitlines()] == []


def test_it_needs_a_calibrated_axis_and_a_consent(folder: Path) -> None:
    rodbench(folder, "settings", "push")
    refused = rodbench(folder, "measure", "pot", "1", code=9)
    assert "Go on?" in refused.stderr
    text = EMULATORS_MACHINE.replace("calibrated = true", "calibrated = false")
    (folder / "machine.toml").write_text(text)
    rodbench(folder, "settings", "push")
    (folder / "answers.toml").write_text('mounting = "mounted"')
    words = ("measure", "pot", "1", "--yes", "--answers", "answers.toml")
    done = rodbench(folder, *words, code=12)
    assert "not calibrated" in done.stderr
    assert "Nothing moved" in done.stderr


def test_a_motor_is_measured_drawn_and_noted(folder: Path) -> None:
    (folder / "plant.toml").write_text(PLANT)
    before = (folder / "machine.toml").read_text()
    rodbench(folder, "settings", "push")
    asked = rodbench(folder, "measure", "motor", "--yes", code=9)
    assert "hang_weight" in asked.stderr
    answers = 'hang_weight = "none"\nmotor_turn = "0.25 mm"\nsensor_error = "1.5 %"\n'
    (folder / "answers.toml").write_text(answers)
    given = ("--yes", "--answers", "answers.toml", "--plot", "motor.png")
    done = rodbench(folder, "measure", "motor", *given, "--json")
    told = json.loads(done.stdout)
    figures = told["found"]["figures"]
    assert told["axis"] == 1
    # The plant's winding has 2.0 ohm when cold; its rod takes 0.8 V for each mm/s.
    assert 2.0 <= figures["resistance_ohm"]["best"] <= 2.2
    assert abs(figures["constant_v_s_per_mm"]["best"] / 0.8 - 1.0) < 0.08, "no meter set the supply"
    assert figures["resistance_ohm"]["half"] > 0.0
    assert told["found"]["sensor_error"] == 0.015
    assert (folder / "motor.png").read_bytes().startswith(b"\x89PNG")
    assert done.stderr.index("Planned:") < done.stderr.index("crush a hand")
    entries, _ = Logbook.beside(folder / "machine.toml").read()
    (entry,) = [e for e in entries if e.kind == "measure motor"]
    assert entry.data["found"]["figures"]["stall_a"] == figures["stall_a"]
    after = (folder / "machine.toml").read_text().splitlines()
    assert [line for line in before.splitlines() if line not in after] == []


def test_a_motor_needs_a_calibrated_axis(folder: Path) -> None:
    text = EMULATORS_MACHINE.replace("calibrated = true", "calibrated = false")
    (folder / "machine.toml").write_text(text)
    rodbench(folder, "settings", "push")
    done = rodbench(folder, "measure", "motor", "1", "--yes", code=12)
    assert "not calibrated" in done.stderr
    assert "Nothing moved" in done.stderr
