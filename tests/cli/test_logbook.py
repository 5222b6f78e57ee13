"""`log` and `note` as a person uses them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from rodbench.record.logbook import Entry, Logbook
from rodbench.settings.units import Units
from rodbench.show.log import line

from tests.cli.conftest import Bench


def entries(folder: Path) -> list[Entry]:
    return Logbook(folder / "logbook").read()[0]


def test_a_note_with_a_photo_comes_back_in_the_log(bench: Bench) -> None:
    (bench.folder / "hinge.png").write_bytes(b"\x89PNG\r\n\x1a\nhinge")
    done = bench.run("note", "new bushing", "in the hinge", "--photo", "hinge.png")
    name = entries(bench.folder)[-1].data["photos"][0]["name"]
    assert f"photos/{name}" in done.stdout
    shown = bench.run("log", "--kind", "note")
    assert shown.stdout.rstrip().endswith(f"new bushing in the hinge photo {name}")


def test_an_empty_note_and_a_missing_photo_write_nothing(bench: Bench) -> None:
    before = len(entries(bench.folder))
    bench.run("note", code=2)
    gone = bench.run("note", "x", "--photo", "gone.jpg", code=2)
    assert "Nothing was written into the logbook." in gone.stderr
    assert len(entries(bench.folder)) == before


def test_log_shows_the_last_and_says_how_many_came_before(bench: Bench) -> None:
    for number in range(4):
        Logbook(bench.folder / "logbook").append("note", text=f"note {number}", photos=[])
    text = bench.run("log", "--last", "2").stdout.splitlines()
    assert text[0].endswith("earlier: --all shows them)")
    assert [row.split()[-1] for row in text[1:]] == ["2", "3"]
    data = json.loads(bench.run("log", "--all", "--json").stdout)
    assert data["earlier"] == 0
    assert [e["text"] for e in data["entries"][-4:]] == [f"note {n}" for n in range(4)]


def test_a_torn_line_is_named_and_the_others_are_shown(bench: Bench) -> None:
    Logbook(bench.folder / "logbook").append("note", text="before", photos=[])
    with (bench.folder / "logbook/log.jsonl").open("ab") as out:
        out.write(b'{"date": "2026-')
    done = bench.run("log")
    assert "before" in done.stdout
    assert "torn or damaged" in done.stderr


def test_without_a_machine_file_both_say_how_to_make_one(bench: Bench, tmp_path: Path) -> None:
    for command in (["log"], ["note", "x"]):
        done = bench.run(*command, "-m", str(tmp_path / "none/machine.toml"), code=7)
        assert "rodbench new DIR" in done.stderr
    assert not (tmp_path / "none").exists()


def said(kind: str, units: str = "mm", **data: Any) -> str:
    return line(Entry("2026-03-01T12:00:00+00:00", kind, "4C19A7E2", data), Units(units))


def test_each_kind_is_said_in_words() -> None:
    assert "to 101.5 mm: rests at 101.4 mm" in said("move", target_mm=101.5, position_mm=101.4)
    assert "to 4.000 in: rests at 4.000 in (soft-stop)" in said(
        "move", "in", target_mm=101.6, position_mm=101.6, ended="soft-stop"
    )
    changed = [{"key": f"k{n}"} for n in range(5)]
    assert "k0, k1, k2 and 2 more, until reset" in said("push", changed=changed, stored=False)
    assert "axis 1: over-current" in said("clear", axis=1, faults=["over-current"])
    assert "all: over-current" in said("clear", axis=0, faults=["over-current"])
    required = [{"what": "overshoot", "passed": False}, {"what": "supply sag", "passed": True}]
    assert "axis 2: missed overshoot, runs/r" in said("proof", axis=2, run="r", required=required)
    assert "axis 2: passed, runs/r" in said("proof", axis=2, run="r", required=required[1:])
    assert "axis 1: runs/r" in said("baseline", axis=1, run="r")
    assert said("what nobody knows", axis=2).endswith("axis 2   [4C19A7E2]")


def test_a_logbook_that_cannot_be_written_hides_nothing_of_what_was_done(calibrated: Bench) -> None:
    """As on a full disk: a file stands in the folder's place."""
    shutil.rmtree(calibrated.folder / "logbook")
    (calibrated.folder / "logbook").write_text("")
    moved = calibrated.run("move", "1", "25 mm", "--yes")
    assert "note: " in moved.stderr
    assert "cannot be written" in moved.stderr
    assert "rests at" in moved.stdout
    pushed = calibrated.run("settings", "push", code=2)
    assert "unchanged: what was done before stands" in pushed.stderr
    calibrated.run("note", "x", code=2)
    (calibrated.folder / "logbook").unlink()
    (calibrated.folder / "logbook" / "log.jsonl").mkdir(parents=True)
    assert "cannot be read" in calibrated.run("log", code=2).stderr
