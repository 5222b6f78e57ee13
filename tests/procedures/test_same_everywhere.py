"""One command, `rodbench commission`, on the emulator, over a pty, on the AVR binary, and on the
POSIX port of the core, whose converter and supply are others.

The pty's line is paced at 250 000 baud and all ptys run in real time; all learn the same
machine, each with its own noise. Tolerances: what is read off the line differs by noise; the
binary's PWM has steps of 2.5 permille, which the emulator's has not.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

TOP = Path(__file__).resolve().parents[2]
PATIENCE_S = 400  # 100 s of board time, with room for a busy computer
RODBENCH = [sys.executable, "-m", "rodbench.cli.main"]
# A short, quick rod of invented figures: real time is spent twice.
PLANT = """\
plant_file = 1
name = "short rod"
seed = 21
[axes.1]
name = "north"
stroke_mm = 24.0
start_mm = 12.0
[axes.1.motor]
resistance_ohm = 2.2
constant_v_s_per_mm = 1.1
response_ms = 45.0
friction_extend_a = 0.7
friction_retract_a = 0.6
reversed = true
[axes.1.ends]
kind = "hard"
[axes.1.pot]
retracted = 0.85
extended = 0.2
noise_lsb = 0.4
[axes.1.sensor]
kind = "one-sided"
v_per_a = 0.37
"""
ANSWERS = """\
rod = "north"
wires = "motor + pot"
mounting = "bench"
retracted_pin_to_pin = "105 mm"
extended_pin_to_pin = "129 mm"
current_sensor_v_per_a = 0.37
fuse_a = 7.5
accept = "accept"
"""
SAME = {
    ("rods", "north"): ("stroke_mm", "retracted_pin_to_pin_mm", "end_retracted", "end_extended"),
    ("axes", "1"): ("rod", "motor_reversed", "calibrated", "current_sensor_v_per_a"),
}
WITHIN = {  # table, key: absolute tolerance
    ("rods", "north", "pot_retracted"): 0.004,
    ("rods", "north", "pot_extended"): 0.004,
    ("rods", "north", "run_on_extend_mm"): 0.3,
    ("rods", "north", "run_on_retract_mm"): 0.3,
    ("axes", "1", "limits", "soft_stop_min_mm"): 0.5,
    ("axes", "1", "limits", "soft_stop_max_mm"): 0.5,
}
SHARE = {  # table, key: relative tolerance
    ("rods", "north", "speed_extend_mm_s"): 0.06,
    ("rods", "north", "speed_retract_mm_s"): 0.06,
    ("rods", "north", "running_a"): 0.12,
    ("axes", "1", "limits", "speed_max_mm_s"): 0.08,
    ("axes", "1", "limits", "trip_a"): 0.15,
}


@contextlib.contextmanager
def served(words: list[str]) -> Iterator[tuple[str, str]]:
    """A board behind a pty: its port and the address of its eye."""
    board = subprocess.Popen(words, cwd=TOP, stdout=subprocess.PIPE, text=True)
    try:
        assert board.stdout is not None
        said = json.loads(board.stdout.readline())
        yield said.get("port") or said["listens"], said["eye"]
    finally:
        board.send_signal(signal.SIGINT)
        board.wait(20)


def begin(folder: Path, port: str, *more: str) -> subprocess.Popen[str]:
    """`rodbench commission` in a new machine folder."""
    home = {**os.environ, "XDG_RUNTIME_DIR": str(folder / "run")}
    (folder / "run").mkdir(parents=True, mode=0o700)
    (folder / "answers.toml").write_text(ANSWERS)
    subprocess.run([*RODBENCH, "new", "m"], cwd=folder, check=True, capture_output=True, env=home)
    command = [*RODBENCH, "commission", "1", "--port", port, "--yes", "--json", *more]
    return subprocess.Popen(
        [*command, "--answers", "../answers.toml"],
        cwd=folder / "m",
        env=home,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        stdin=subprocess.DEVNULL,
    )


def finish(run: subprocess.Popen[str], folder: Path) -> dict[str, Any]:
    """The machine file that came of it."""
    out, err = run.communicate(timeout=PATIENCE_S)
    assert run.returncode == 0, err[-3000:]
    assert json.loads(out)
    return tomllib.loads((folder / "m" / "machine.toml").read_text())


def value(machine: dict[str, Any], path: tuple[str, ...]) -> Any:
    for word in path:
        machine = machine[word]
    return machine


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """All three at once: the emulator while the two ptys keep real time."""
    base = tmp_path_factory.mktemp("same")
    plant = base / "plant.toml"
    plant.write_text(PLANT)
    folders = {name: base / name for name in ("emulator", "pty", "binary", "posix")}
    eye = str(base / "eye")
    emulate = [*RODBENCH, "emulate", "--pty", "--plant", str(plant), "--json", "--eye", eye + "1"]
    binary = [sys.executable, "-m", "tests.board.serve", "--pty", "--plant", str(plant)]
    other = base / "other.toml"
    other.write_text(PLANT.replace("[axes.1]\n", '[board]\nkind = "posix-3v3"\n[axes.1]\n', 1))
    posix = [sys.executable, "-m", "tests.posix.serve", "--plant", str(other), "--eye", eye + "3"]
    with (
        served(emulate) as (pty, look),
        served([*binary, "--eye", eye + "2"]) as (avr, look_too),
        served(posix) as (port, look_there),
    ):
        runs = {
            "pty": begin(folders["pty"], pty, "--eye", look),
            "binary": begin(folders["binary"], avr, "--eye", look_too),
            "posix": begin(folders["posix"], port, "--eye", look_there),
            "emulator": begin(folders["emulator"], f"emulator:{plant}", "--speed", "max"),
        }
        return {name: finish(run, folders[name]) for name, run in runs.items()}


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="no pty there")
@pytest.mark.parametrize("where", ["pty", "binary", "posix"])
def test_the_same_machine_file_comes_out(files: dict[str, dict[str, Any]], where: str) -> None:
    one, other = files["emulator"], files[where]
    for table, keys in SAME.items():
        for key in keys:
            assert value(other, (*table, key)) == value(one, (*table, key)), key
    for path, most in WITHIN.items():
        assert value(other, path) == pytest.approx(value(one, path), abs=most), path
    for path, share in SHARE.items():
        assert value(other, path) == pytest.approx(value(one, path), rel=share), path


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="no pty there")
@pytest.mark.parametrize("where", ["emulator", "pty", "binary", "posix"])
def test_it_is_the_truth_that_came_out(files: dict[str, dict[str, Any]], where: str) -> None:
    rod = files[where]["rods"]["north"]
    axis = files[where]["axes"]["1"]
    assert axis["motor_reversed"] is True
    assert rod["pot_retracted"] == pytest.approx(0.85, abs=0.004)
    assert rod["pot_extended"] == pytest.approx(0.2, abs=0.004)
    assert (rod["end_retracted"], rod["end_extended"]) == ("stall", "stall")


def test_the_tools_for_the_binary_are_here() -> None:
    """With CI=true a missing compiler or simulator is a failure, never a skip."""
    if os.environ.get("CI") == "true":
        assert shutil.which("avr-gcc")
