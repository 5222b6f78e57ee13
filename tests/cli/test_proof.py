"""rodbench proof and compare, from the command line on an emulated board."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from rodbench.record import runs
from rodbench.record.logbook import Logbook

from .conftest import EMULATORS_MACHINE, PLANT

PORT = ("--port", "emulator:plant.toml", "--speed", "max")
COMMAND = [sys.executable, "-m", "rodbench.cli.main"]
LEARNED = EMULATORS_MACHINE.replace(
    "stroke_mm = 40.0", 'stroke_mm = 40.0\nend_retracted = "end-switch"\nend_extended = "stall"', 1
)
TIGHT = "[axes.1.screw]\ntight_from_mm = 24.0\ntight_to_mm = 29.0\n[axes.1.ends]"
PROVE = ("proof", "1", "--yes", "--answers", "answers.toml", *PORT)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plant.toml").write_text(PLANT)
    (tmp_path / "machine.toml").write_text(LEARNED)
    (tmp_path / "answers.toml").write_text('mounting = "bench"\n')
    rodbench(tmp_path, "settings", "push", *PORT)
    return tmp_path


def rodbench(folder: Path, *words: str, code: int = 0) -> Any:
    done = subprocess.run(
        [*COMMAND, *words], cwd=folder, env={**os.environ, "COLUMNS": "80"}, capture_output=True,
        text=True, stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    assert done.returncode == code, f"{done.returncode}\n{done.stdout}\n{done.stderr}"
    return done


def with_proof(folder: Path, table: str) -> None:
    (folder / "machine.toml").write_text(f"{LEARNED}\n[proof]\n{table}\n")


def test_a_proof_then_a_tight_place_then_compare(folder: Path) -> None:
    done = rodbench(folder, *PROVE)
    assert done.stderr.index("Planned:") < done.stderr.index("crush a hand")
    assert "now the baseline of axis 1, being the first" in done.stderr
    assert "PASS" in done.stdout
    assert "derived: 0.9 of speed_max_mm_s" in done.stdout
    (folder / "plant.toml").write_text(PLANT.replace("[axes.1.ends]", TIGHT))
    second = json.loads(rodbench(folder, *PROVE, "--json").stdout)
    assert second["passed"]
    assert not second["is_baseline"]
    text = rodbench(folder, "compare", "--plot", "c.png", code=1).stdout
    assert "Binding near 26." in text
    assert "Look there for" in text
    assert (folder / "c.png").read_bytes().startswith(b"\x89PNG")
    found = json.loads(rodbench(folder, "compare", "--json", code=1).stdout)
    assert [one["kind"] for one in found["findings"]] == ["binding"]
    assert found["run"] == second["run"]
    kinds = [entry.kind for entry in Logbook.beside(folder / "machine.toml").read()[0]]
    assert kinds.count("proof") == 2
    assert kinds.count("baseline") == 1


def test_a_missed_value_has_its_own_exit_code(folder: Path) -> None:
    with_proof(
        folder, 'from = "10 mm"\nto = "90 %"\nruns = 1\nfind_ends = false\ntime_extend = "1 s"'
    )
    done = rodbench(folder, "proof", "1", "--yes", *PORT, code=13)
    assert "FAIL: 1 of 9: time to extend." in done.stdout
    assert "from the machine file: time to extend" in done.stdout
    assert "cannot be seen then" in done.stderr
    (run,) = runs.read_all(folder)[0]
    assert (run.conditions["from_mm"], run.conditions["to_mm"]) == (10.0, pytest.approx(34.4))
    assert not run.passed


def test_without_the_caution_accepted_nothing_moves_and_nothing_is_kept(folder: Path) -> None:
    done = rodbench(folder, "proof", "1", "--answers", "answers.toml", *PORT, code=9)
    assert "Type the rod's name" in done.stderr
    assert runs.names(folder) == []


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('from = "nowhere"', "no name of [positions]"),
        ("runs = 0", "a whole number of runs"),
        ("time_extend = 3", "time_extend"),
        ('to = "39.5 mm"', "outside the soft stops"),
        ('from = "30 deg"', "degrees need a [linkage]"),
    ],
)
def test_a_proof_table_that_cannot_be_meant(folder: Path, table: str, words: str) -> None:
    with_proof(folder, table)
    done = rodbench(folder, *PROVE, code=7)
    assert words in done.stderr
    assert runs.names(folder) == []


def test_compare_says_what_is_missing(folder: Path) -> None:
    assert "no proof run yet" in rodbench(folder, "compare", code=2).stderr
    with_proof(folder, "find_ends = false\nruns = 1")
    rodbench(folder, "proof", "1", "--yes", *PORT)
    assert "is the baseline itself" in rodbench(folder, "compare", code=2).stderr
    assert "no run is called" in rodbench(folder, "compare", "1999", code=2).stderr
    assert "more than one" not in rodbench(folder, "compare", "--with", "2", code=2).stderr


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
@pytest.mark.parametrize("tables", [0, 3, 8])
def test_a_killed_proof_leaves_the_earlier_one_and_is_told(folder: Path, tables: int) -> None:
    with_proof(folder, "find_ends = false")
    rodbench(folder, "proof", "1", "--yes", *PORT)
    (first,) = runs.names(folder)
    with subprocess.Popen(
        [*COMMAND, "proof", "1", "--yes", *PORT], cwd=folder, stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    ) as proof:  # fmt: skip
        until = time.monotonic() + 60.0
        while time.monotonic() < until and proof.poll() is None:
            second = [name for name in runs.names(folder) if name != first]
            if second and len(list((folder / "runs" / second[0]).glob("*.csv"))) >= tables:
                break
            time.sleep(0.001)
        proof.send_signal(signal.SIGKILL)
    whole, broken = runs.read_all(folder)
    assert first in [run.name for run in whole]
    assert len(whole) + len(broken) == 2
    assert all("broken off" in text for text in broken)
    assert Logbook.beside(folder / "machine.toml").read()[1] == []
    told = rodbench(folder, "compare", code=2 if broken else 0)
    assert not broken or "broken off" in told.stderr
