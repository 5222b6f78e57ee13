"""Exports read back by other means: the csv module and pyarrow."""

from __future__ import annotations

import csv
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from pyarrow import parquet
from rodbench.board import AxisSample, BoardSample
from rodbench.record import export
from rodbench.record import recording as recording_module
from rodbench.record.layout import RecordingError
from rodbench.record.recording import Recording
from rodbench_protocol.names import AxisState, EventKind

from tests.record.bench import FakeBoard, event, recorder, sample, supply, telemetry

HOLE = range(150, 160)
EVERYTHING = (-math.inf, math.inf)


@pytest.fixture
def recorded(tmp_path: Path) -> Recording:
    """Two axes, a gap of ten frames, new settings, axis 2 uncalibrated, an event."""
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    for number in range(300):
        board.clock.sleep(0.01)
        if number == 100:
            board.live = 0x00C0FFEE
        if number in HOLE:
            continue
        wire = telemetry(number, 2 * number, axis=1 + number % 2, flags=1 - number % 2,
                         position_um=1234 * number, current_ma=-number, state=2,
                         duty_used_permille=number)  # fmt: skip
        if number == 50:
            wire = event(number, 99, kind=EventKind.TRIP, cause=3, current_ma=2900, value_a=7)
        if number == 60:
            wire = supply(number, 120, supply_mv=12_430, duty_left_1_ms=1500)
        recording.take(sample(wire), board.clock.now())
        recording.tend()
    return Recording.open(recording.close())


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def check(axis: list[dict], board: list[dict], events: list[dict], recorded: Recording) -> None:
    """Numbers of all tables against the samples; empty and null are one here."""
    wanted = [s for s in recorded.samples() if isinstance(s, AxisSample)]
    assert len(axis) == len(wanted) == 288
    for row, s in zip(axis, wanted, strict=True):
        assert int(row["axis"]) == s.axis
        assert int(row["tick_5ms"]) == s.tick
        assert int(row["counter"]) == s.counter
        assert row["state"] == AxisState(s.state).name.lower()
        assert float(row["current_a"]) == s.current_a
        if s.position_mm is None:
            assert row["position_mm"] in ("", None)
            assert row["reference_mm"] in ("", None)
        else:
            assert float(row["position_mm"]) == s.position_mm
        assert float(row["t_s"]) == pytest.approx(s.tick * 0.005)
    assert [int(r["tick_5ms"]) for r in axis if int(r["gap_before"])] == [320, 322]
    digests = [r["settings_digest"] for r in axis]
    change = digests.index("00C0FFEE")
    assert set(digests[:change]) == {"ABCD1234"}
    assert set(digests[change:]) == {"00C0FFEE"}
    assert 100 < change < 260
    (row,) = board
    (told,) = [s for s in recorded.samples() if isinstance(s, BoardSample)]
    assert float(row["supply_v"]) == told.supply_v == 12.43
    assert float(row["duty_left_1_s"]) == 1.5
    (row,) = events
    assert row["kind"] == "trip"
    assert (int(row["cause"]), int(row["value_a"]), float(row["current_a"])) == (3, 7, 2.9)


def check_facts(facts: dict) -> None:
    assert facts["machine"] == "test"
    assert facts["rods"]["1"] == "north"
    assert facts["digest"] == "ABCD1234"
    assert [change["digest"] for change in facts["settings"]] == ["ABCD1234", "00C0FFEE"]
    assert facts["settings"][0]["scopes"]["1"]["stroke_um"] == 100_000
    assert facts["gaps"] == [
        {"from_s": 1.49, "to_s": 1.6, "why": "frames did not come", "frames_missing": 10}
    ]
    assert facts["ended"] == "asked to"


def test_csv(recorded: Recording, tmp_path: Path) -> None:
    written = export.to_csv(recorded, tmp_path / "run.csv", *EVERYTHING)
    names = ["run.csv", "run-board.csv", "run-event.csv", "run.json"]
    assert [path.name for path in written] == names
    axis, board, events = (rows(path) for path in written[:3])
    check(axis, board, events, recorded)
    check_facts(json.loads(written[3].read_text()))
    assert not list(tmp_path.glob(".*"))


def test_parquet(recorded: Recording, tmp_path: Path) -> None:
    written = export.to_parquet(recorded, tmp_path / "run.parquet", *EVERYTHING)
    tables = [parquet.read_table(path) for path in written[:3]]
    check(*(table.to_pylist() for table in tables), recorded)
    for table in tables:
        check_facts(json.loads(table.schema.metadata[b"rodbench"]))
    assert str(tables[0].schema.field("position_mm").type) == "double"
    assert str(tables[0].schema.field("state").type) == "string"


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_recording_without_a_frame(kind: str, tmp_path: Path) -> None:
    empty = Recording.open(recorder(tmp_path, FakeBoard()).close())
    write = export.to_csv if kind == "csv" else export.to_parquet
    written = write(empty, tmp_path / f"run.{kind}", *EVERYTHING)
    if kind == "csv":
        head = written[0].read_text().strip().split(",")
        assert {"t_s", "position_mm", "current_a", "settings_digest"} <= set(head)
    else:
        assert parquet.read_table(written[0]).num_rows == 0


def test_many_pieces_are_one_table(tmp_path: Path, monkeypatch) -> None:
    """With tables that have rows in some pieces and none in the last."""
    monkeypatch.setattr(recording_module, "TOGETHER", 3)
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    for number in range(2000):
        board.clock.sleep(0.01)
        seen = event(number, number) if number < 10 else telemetry(number, number)
        recording.take(sample(seen), board.clock.now())
    read = Recording.open(recording.close())
    written = export.to_parquet(read, tmp_path / "run.parquet", *EVERYTHING)
    assert [parquet.read_table(path).num_rows for path in written[:3]] == [1990, 0, 10]
    times = parquet.read_table(written[0])["tick_5ms"].to_pylist()
    assert times == sorted(times)


def test_a_part_of_it(recorded: Recording, tmp_path: Path) -> None:
    written = export.to_csv(recorded, tmp_path / "run.csv", 1.0, 2.0)
    times = [float(row["t_s"]) for row in rows(written[0])]
    assert times[0] == pytest.approx(1.0)
    assert times[-1] == pytest.approx(2.0)
    assert rows(written[2]) == []


def test_nothing_is_written_over(recorded: Recording, tmp_path: Path) -> None:
    (tmp_path / "run.json").write_text("mine")
    with pytest.raises(RecordingError, match="is there already"):
        export.to_csv(recorded, tmp_path / "run.csv", *EVERYTHING)
    assert (tmp_path / "run.json").read_text() == "mine"
    assert not (tmp_path / "run.csv").exists()


def test_a_folder_that_is_not_there(recorded: Recording, tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="No such file"):
        export.to_csv(recorded, tmp_path / "none" / "run.csv", *EVERYTHING)


def test_without_pyarrow_it_says_what_to_install(recorded: Recording, tmp_path: Path) -> None:
    code = (
        "import sys, math\nfrom pathlib import Path\nsys.modules['pyarrow'] = None\n"
        "from rodbench.record.recording import Recording\nfrom rodbench.record import export\n"
        "try:\n    export.to_parquet(Recording.open(Path(sys.argv[1])), Path(sys.argv[2]),"
        " -math.inf, math.inf)\nexcept Exception as error:\n    print(error.message, error.hint)"
    )
    words = [sys.executable, "-c", code, str(recorded.path), str(tmp_path / "run.parquet")]
    said = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    assert "pyarrow, which is not installed" in said
    assert "rodbench[parquet]" in said


@pytest.mark.parametrize("name", ["run.json", "n" * 253 + ".csv", ""])
def test_a_name_that_cannot_be_meant_writes_nothing(
    recorded: Recording, tmp_path: Path, name: str
) -> None:
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(RecordingError):
        export.to_csv(recorded, tmp_path / name if name else Path("/"), *EVERYTHING)
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("most", [3000, 6000, 9000, 12000])
@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_disk_that_fills_up_leaves_nothing(recorded: Recording, kind: str, most: int) -> None:
    """Neither a file nor a word of a library, in a process whose files may not grow."""
    code = (
        "import sys, math, resource, signal\nfrom pathlib import Path\n"
        "from rodbench.record.recording import Recording\nfrom rodbench.record import export\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[4]),) * 2)\n"
        "try:\n    getattr(export, sys.argv[1])(Recording.open(Path(sys.argv[2])), "
        "Path(sys.argv[3]), -math.inf, math.inf)\n"
        "except Exception as error:\n    print(error.message, error.kept)"
    )
    out = recorded.path.parent / f"out.{kind}"
    words = [sys.executable, "-c", code, f"to_{kind}", str(recorded.path), str(out), str(most)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert "nothing was written" in done.stdout
    assert done.stderr == ""
    assert not [path for path in out.parent.iterdir() if path.name.startswith(("out", ".out"))]
