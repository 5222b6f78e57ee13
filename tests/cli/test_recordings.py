"""`plot` and `export` as a person uses them: on the newest, a name, a file, on no recording."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from pyarrow import parquet

from tests.cli.conftest import Bench, benched
from tests.cli.test_record import SMALL
from tests.record.bench import FakeBoard, recorder, sample, telemetry


@pytest.fixture
def bench(tmp_path: Path):
    """A machine folder with two recordings; needs no board."""
    with benched(tmp_path, SMALL) as found:
        for name, first in (("early", 0), ("late", 10_000)):
            board = FakeBoard()
            recording = recorder(found.folder / "logbook", board, name)
            for number in range(300):
                board.clock.sleep(0.01)
                wire = telemetry(number, 2 * number, position_um=first + 100 * number,
                                 output_permille=700, current_ma=900)  # fmt: skip
                recording.take(sample(wire), board.clock.now())
            recording.close()
        yield found


def test_plot_of_a_name_and_of_a_file(bench: Bench) -> None:
    told = bench.json("plot", "early", "--axis", "1", "-o", "early.svg")
    assert told["picture"] == "early.svg"
    assert "early" in told["recording"]
    assert (bench.folder / "early.svg").read_text().startswith("<?xml")
    bench.run("plot", told["recording"], "--against-position", "-o", "a.png")
    assert (bench.folder / "a.png").read_bytes().startswith(b"\x89PNG")


def test_plot_without_a_name_takes_the_newest(bench: Bench) -> None:
    told = bench.json("plot")
    assert told["recording"].endswith("-late.rodrec")
    assert (bench.folder / told["picture"]).exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plot", "none"), "no recording is called 'none'"),
        (("plot", "machine.toml"), "is no recording"),
        (("plot", "-o", "picture.txt"), "is no name for a picture"),
        (("plot", "-o", "no/such/folder/a.png"), "No such file"),
        (("plot", "--from", "10 min"), "no sample of that axis in that time"),
        (("plot", "--from", "2 s", "--to", "1 s"), "is no time"),
        (("plot", "n" * 300), "no recording is called 'nnn"),
        (("export",), "as what?"),
        (("export", "--csv", ""), "is no name for a file"),
        (("export", "--csv", "a.json"), "would be written twice"),
        (("export", "--csv", "a.csv", "--parquet", "a.csv"), "cannot be both"),
        (("export", "--csv", "machine.toml"), "is there already"),
        (("export", "LICENSE", "--csv", "a.csv"), "no recording is called"),
    ],
)
def test_what_cannot_be_meant(bench: Bench, words: tuple[str, ...], said: str) -> None:
    machine = (bench.folder / "machine.toml").read_text()
    before = sorted(path.name for path in bench.folder.iterdir())
    done = bench.run(*words, code=2)
    assert said in done.stderr
    assert sorted(path.name for path in bench.folder.iterdir()) == before
    assert (bench.folder / "machine.toml").read_text() == machine


def test_export_of_both_kinds(bench: Bench) -> None:
    words = ("export", "early", "--csv", "a.csv", "--parquet", "a.parquet", "--to", "1 s")
    told = bench.json(*words)
    names = ["a.csv", "a-board.csv", "a-event.csv", "a.json"]
    assert told["files"] == [*names, "a.parquet", "a-board.parquet", "a-event.parquet"]
    with (bench.folder / "a.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 101
    assert rows[-1]["position_mm"] == "10.0"
    assert parquet.read_table(bench.folder / "a.parquet").num_rows == 101


def test_a_torn_one_is_told(bench: Bench) -> None:
    (path,) = bench.folder.glob("logbook/recordings/*-late.rodrec")
    path.write_bytes(path.read_bytes()[:-5])
    done = bench.run("plot")
    assert "no whole block" in done.stderr


def test_a_newer_one_says_what_to_do(bench: Bench) -> None:
    (path,) = bench.folder.glob("logbook/recordings/*-late.rodrec")
    data = bytearray(path.read_bytes())
    data[8] = 9
    path.write_bytes(data)
    done = bench.run("plot", code=2)
    assert "version 9" in done.stderr
    assert "try: install the rodbench" in done.stderr
    assert path.read_bytes() == data


def test_no_recording_at_all(bench: Bench) -> None:
    for path in bench.folder.glob("logbook/recordings/*"):
        path.unlink()
    done = bench.run("plot", code=2)
    assert "there is no recording" in done.stderr
    assert "`rodbench record` makes one" in done.stderr


def test_a_report_tells_a_recording(bench: Bench) -> None:
    (path,) = bench.folder.glob("logbook/recordings/*-late.rodrec")
    path.write_bytes(path.read_bytes()[:-5])
    bench.run("report", "--recording", "late", "a.html")
    page = (bench.folder / "a.html").read_text()
    assert f"<h3>{path.stem}</h3>" in page
    assert "settings ABCD1234." in page
    assert "no whole block" in page
    assert page.count("<svg") == 1 + _pictures_without(bench)
    done = bench.run("report", "--card", "--recording", "late", code=2)
    assert "no room for a recording" in done.stderr


def _pictures_without(bench: Bench) -> int:
    bench.run("report", "b.html")
    page = (bench.folder / "b.html").read_text()
    assert "<h2>Recording</h2>" not in page
    return page.count("<svg")
