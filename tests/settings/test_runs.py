"""Proof runs on the disk: kept to the digit, readable by hand, and whole or told."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from rodbench.errors import UsageError
from rodbench.record import runs
from rodbench.record.runs import Requirement, Run, RunError, Stroke, Writer

DATE = datetime(2026, 5, 4, 10, 11, 12, tzinfo=UTC)
NAME = "2026-05-04T10-11-12Z-proof"
LINES = (
    Requirement("time to extend", "s", "at most", 26.0, 25.2, "[proof] time_extend_s"),
    Requirement("speed", "mm/s", "at least", 7.2, 7.0, "derived"),
    Requirement("ends", "mm", "at most", 0.5, None, "derived", "the rod is mounted"),
)


def stroke(name: str = "extend-1", count: int = 50) -> Stroke:
    t = np.arange(count, dtype=np.float64) * 0.01
    columns: list[runs.Floats] = [t, 8.0 * t, 1.0 + 0 * t, 1000 + 0 * t, 12 + t]
    return Stroke(name, {"kind": "move", "way": 1}, *columns)


def kept(folder: Path, number: int = 0) -> Run:
    writer = Writer(folder, DATE.replace(minute=11 + number))
    for way in ("extend-1", "retract-1"):
        writer.stroke(stroke(way))
    return writer.finish(
        axis=1, rod="north", settings=0x1A2B, conditions={"note": None, "x": 1.5}, required=LINES
    )


def test_a_run_comes_back_as_it_was_written(tmp_path: Path) -> None:
    kept(tmp_path)
    run = runs.read(tmp_path / "runs" / NAME)
    assert (run.name, run.axis, run.rod, run.settings) == (NAME, 1, "north", "00001A2B")
    assert run.date == "2026-05-04T10:11:12+00:00"
    assert run.required == LINES
    assert not run.passed
    assert [line.margin for line in run.required] == [pytest.approx(0.8), pytest.approx(-0.2), None]
    assert run.conditions == {"x": 1.5}
    assert [one.name for one in run.strokes] == ["extend-1", "retract-1"]
    assert run.strokes[0].facts == {"kind": "move", "way": 1}
    for column in runs.COLUMNS:
        assert np.allclose(getattr(run.strokes[0], column), getattr(stroke(), column))


def test_the_files_read_by_hand(tmp_path: Path) -> None:
    kept(tmp_path)
    folder = tmp_path / "runs" / NAME
    lines = (folder / "extend-1.csv").read_text().splitlines()
    assert lines[0] == "t_s,position_mm,current_a,output_permille,supply_v"
    assert lines[2] == "0.010,0.0800,1.0000,1000,12.010"
    text = (folder / "proof.toml").read_text()
    assert 'what = "time to extend"' in text
    assert "required = 26.0" in text


def test_two_runs_of_one_second_are_two(tmp_path: Path) -> None:
    assert [kept(tmp_path).name, kept(tmp_path).name] == [NAME, f"{NAME}-2"]
    assert len(runs.read_all(tmp_path)[0]) == 2


@pytest.mark.parametrize("files", [[], ["extend-1.csv"], ["extend-1.csv", "retract-1.csv"]])
def test_a_run_that_was_broken_off_is_told_and_left_out(tmp_path: Path, files: list[str]) -> None:
    whole = kept(tmp_path)
    broken = tmp_path / "runs" / "2026-05-04T10-12-00Z-proof"
    broken.mkdir()
    for file in files:
        shutil.copy(tmp_path / "runs" / whole.name / file, broken)
    (broken / ".proof.toml.123.tmp").write_text("run = 1\ndate")
    found, told = runs.read_all(tmp_path)
    assert [run.name for run in found] == [whole.name]
    assert len(told) == 1
    assert "10-12-00Z" in told[0]
    assert "broken off" in told[0]


def test_a_table_that_was_changed_or_cut_is_told(tmp_path: Path) -> None:
    kept(tmp_path)
    path = tmp_path / "runs" / NAME / "extend-1.csv"
    data = path.read_bytes()
    for changed in (data[:-9], data.replace(b"1.0000", b"1.1000", 1), b""):
        path.write_bytes(changed)
        assert "not as it was written" in runs.read_all(tmp_path)[1][0]
    path.unlink()
    assert "extend-1.csv" in runs.read_all(tmp_path)[1][0]


@pytest.mark.parametrize("text", ["", "run = 2\n", "run = 1\n", "not toml", "run = 1\nstrokes = 3"])
def test_a_proof_file_that_is_none_is_told(tmp_path: Path, text: str) -> None:
    kept(tmp_path)
    (tmp_path / "runs" / NAME / "proof.toml").write_text(text)
    found, told = runs.read_all(tmp_path)
    assert found == []
    assert len(told) == 1


def test_each_axis_has_its_baseline(tmp_path: Path) -> None:
    assert runs.baseline_name(tmp_path, 1) is None
    (tmp_path / "runs").mkdir()
    runs.set_baseline(tmp_path, 2, "b")
    runs.set_baseline(tmp_path, 1, "a")
    runs.set_baseline(tmp_path, 1, "c")
    assert [runs.baseline_name(tmp_path, axis) for axis in (1, 2)] == ["c", "b"]


def test_a_run_is_found_by_a_part_of_its_name(tmp_path: Path) -> None:
    kept(tmp_path, 0), kept(tmp_path, 1)
    assert runs.find(tmp_path, "10-12-12").name == "2026-05-04T10-12-12Z-proof"
    for text in ("2026", "1999"):
        with pytest.raises(UsageError):
            runs.find(tmp_path, text)
    (tmp_path / "runs" / NAME / "proof.toml").unlink()
    with pytest.raises(RunError):
        runs.find(tmp_path, NAME)


def test_no_runs_is_no_mistake(tmp_path: Path) -> None:
    assert runs.read_all(tmp_path) == ([], [])
