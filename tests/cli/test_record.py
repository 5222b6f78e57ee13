"""`record` as a person uses it: beside other commands, ended by Ctrl-C, through a lost port."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path
from typing import Any

import pytest
from rodbench.board import AxisSample
from rodbench.emulator.serve import Served, TcpDoor
from rodbench.link import holders
from rodbench.record.recording import Recording

from tests.cli.conftest import MACHINE as MACHINE_FILE
from tests.cli.conftest import Bench, benched, wait_for

# The shape of the machine alone: recording needs no calibration.
SMALL = 'machine_file = 1\nname = "vent"\n[rods.north]\nstroke_mm = 40.0\n[axes.1]\nrod = "north"\n'


def recordings(bench: Bench) -> list[Path]:
    return sorted((bench.folder / "logbook" / "recordings").glob("*.rodrec"))


def begun(bench: Bench, *words: str) -> Any:
    """`record` in the background, once its file is there."""
    count = len(recordings(bench))
    process = bench.start("record", *words)
    wait_for(lambda: len(recordings(bench)) > count or process.poll() is not None, 20, "the file")
    assert process.poll() is None, process.communicate()
    return process


def ended(process: Any, number: int = signal.SIGINT) -> tuple[str, str]:
    process.send_signal(number)
    out, said = process.communicate(timeout=20)
    assert process.returncode == 0, said
    assert "Traceback" not in said
    return out, said


def test_for_a_time(bench: Bench) -> None:
    told = bench.json("record", "--for", "2 s")
    assert told["ended"] == "time was over"
    assert told["seconds"] == pytest.approx(2.0, abs=0.5)


def test_beside_a_move(calibrated: Bench) -> None:
    process = begun(calibrated, "first run", "--json")
    calibrated.run("move", "1", "30 mm", "--yes")
    time.sleep(1.5)
    told = json.loads(ended(process)[0])
    assert told["ended"] == "SIGINT"
    read = Recording.open(calibrated.folder / told["file"])
    assert read.path.name.endswith("Z-first-run.rodrec")
    assert read.frames == told["frames"] > 300
    missed = [gap.missed for gap in read.gaps]
    # the replies to `move` may take the line's room from the board's own frames: it counts them
    assert sum(missed) <= calibrated.json("info")["counters"]["unasked_dropped"]
    position = read.axis(1, ["position_mm"])["position_mm"]
    assert position[-1] == pytest.approx(30.0, abs=0.5)
    assert position.min() < 29.0
    assert read.header["machine"] == "bench"
    assert read.header["rods"]["1"] == "north"
    entry = calibrated.json("log", "--kind", "recording")["entries"][-1]
    assert entry["file"] == f"recordings/{read.path.name}"
    assert entry["frames"] == read.frames
    assert entry["digest"] == read.header["digest"]
    assert "recordings/" in calibrated.run("log", "--kind", "recording").stdout


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_it_whole(bench: Bench, number: int) -> None:
    (bench.folder / "machine.toml").write_text(SMALL)
    process = begun(bench)
    time.sleep(1.2)
    out, said = ended(process, number)
    (path,) = recordings(bench)
    read = Recording.open(path)
    assert read.ended == signal.Signals(number).name
    assert not read.repaired
    assert path.name in out
    assert "no gap" in out
    assert "Ctrl-C ends it" in said


def test_new_settings_meanwhile_are_noted(calibrated: Bench) -> None:
    process = begun(calibrated)
    time.sleep(0.5)
    text = MACHINE_FILE.replace("trip_a = 3.0", "trip_a = 2.5")
    (calibrated.folder / "machine.toml").write_text(text)
    calibrated.run("settings", "push", "--until-reset")
    time.sleep(1.5)
    ended(process)
    (path,) = recordings(calibrated)
    changes = Recording.open(path).settings
    assert [change.scopes[1]["trip_ma"] for change in changes] == [3000, 2500]
    assert changes[0].digest != changes[1].digest


@pytest.fixture
def lost(tmp_path: Path):
    """A board on a TCP port that can go away and come back."""
    with benched(tmp_path, SMALL) as bench:
        bench.served.close()
        bench.served = Served(bench.board, TcpDoor(0))
        bench.env["RODBENCH_PORT"] = bench.served.door.address
        yield bench


def test_a_port_that_goes_away_leaves_a_gap_and_it_goes_on(lost: Bench) -> None:
    process = begun(lost)
    time.sleep(1.5)
    address = lost.served.door.address
    lost.served.close()
    time.sleep(3.0)
    lost.served = Served(lost.board, TcpDoor(int(address.rpartition(":")[2])))
    (path,) = recordings(lost)
    before = Recording.open(path).frames
    wait_for(lambda: Recording.open(path).frames > before + 200, 20, "frames again")
    out, said = ended(process)
    read = Recording.open(path)
    assert len(read.gaps) == 1
    (gap,) = read.gaps
    assert gap.missed is None
    assert [mark["what"] for _, mark in read.marks] == ["lost", "back"]
    assert "1 gap," in out
    assert "the gap is marked" in said
    back = read.marks[1][1]["host_us"] - read.marks[0][1]["host_us"]
    assert 2.5e6 < back < 10e6


def test_an_owner_that_is_killed_leaves_a_gap_and_it_goes_on(bench: Bench) -> None:
    (bench.folder / "machine.toml").write_text(SMALL)
    process = begun(bench)
    time.sleep(1.5)
    runtime = Path(bench.env["RODBENCH_RUNTIME"])
    (owner,) = {h.pid for lock in runtime.glob("*.lock") for h in holders.find(lock)}
    os.kill(owner, signal.SIGKILL)
    (path,) = recordings(bench)
    before = Recording.open(path).frames
    wait_for(lambda: Recording.open(path).frames > before + 200, 30, "frames again")
    ended(process)
    assert [gap.missed for gap in Recording.open(path).gaps] == [None]


def test_a_killed_one_is_gone_on_with(bench: Bench) -> None:
    (bench.folder / "machine.toml").write_text(SMALL)
    process = begun(bench)
    time.sleep(1.2)
    process.kill()
    process.wait()
    (path,) = recordings(bench)
    with path.open("ab") as out:
        out.write(b"\xa5blk torn")
    again = bench.run("record", "--append", str(path), "--for", "2 s")
    assert "no whole block" in again.stderr
    read = Recording.open(path)
    assert [gap.why for gap in read.gaps] == ["the recording was gone on with"]
    assert read.ended == "time was over"
    assert len(recordings(bench)) == 1


def test_it_needs_a_machine_folder(bench: Bench) -> None:
    (bench.folder / "machine.toml").unlink(missing_ok=True)
    done = bench.run("record", "--for", "1 s", code=7)
    assert "machine.toml" in done.stderr
    assert not (bench.folder / "logbook").exists()


def test_a_port_that_is_not_there_records_nothing(bench: Bench) -> None:
    bench.run("record", "--for", "1 s", "--port", "/dev/no-such-port", code=3)
    assert not recordings(bench)


def test_what_is_no_recording_is_not_gone_on_with(bench: Bench) -> None:
    (bench.folder / "machine.toml").write_text(SMALL)
    path = bench.folder / "table.csv"
    path.write_text("t_s\n1\n")
    done = bench.run("record", "--append", str(path), "--for", "1 s", code=2)
    assert "is no recording" in done.stderr
    assert path.read_text() == "t_s\n1\n"


def test_two_at_once_and_the_samples_are_the_same(bench: Bench) -> None:
    (bench.folder / "machine.toml").write_text(SMALL)
    one = begun(bench, "one")
    other = begun(bench, "other")
    time.sleep(2.0)
    ended(other)
    ended(one)
    first, second = (
        {s.tick: s for s in Recording.open(path).samples() if isinstance(s, AxisSample)}
        for path in recordings(bench)
    )
    common = first.keys() & second.keys()
    assert len(common) > 100
    assert all(first[tick] == second[tick] for tick in common)


def test_a_listener_that_reads_in_between_sees_no_half_block(bench: Bench) -> None:
    """A reader beside the writer: never refused, never a gap."""
    (bench.folder / "machine.toml").write_text(SMALL)
    process = begun(bench)
    (path,) = recordings(bench)
    until, seen = time.monotonic() + 2.0, 0
    while time.monotonic() < until:
        read = Recording.open(path)
        assert not read.gaps
        assert read.frames >= seen
        seen = read.frames
    assert seen > 100
    ended(process)
