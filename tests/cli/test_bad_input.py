"""Bad input: a clear error, the documented exit code, and nothing changed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import MACHINE, Bench, wait_for
from tests.link.fake_board import FakeBoard, FakeOnPty


def error_of(bench: Bench, *words: str, code: int) -> str:
    """What stderr says; stdout stays empty."""
    done = bench.run(*words, code=code)
    assert done.stdout == ""
    return str(done.stderr)


def on_pty(bench: Bench, board: FakeBoard) -> FakeOnPty:
    fake = FakeOnPty(board)
    bench.env["RODBENCH_PORT"] = fake.path
    return fake


def test_no_port_named(bench: Bench) -> None:
    del bench.env["RODBENCH_PORT"]
    said = error_of(bench, "info", code=2)
    assert said.splitlines()[0] == "error: which port? None was named"
    assert "rodbench ports" in said


def test_no_such_port(bench: Bench) -> None:
    said = error_of(bench, "info", "--port", "/dev/ttyUSB77", code=3)
    assert said == (
        "error: there is no port /dev/ttyUSB77\n"
        "unchanged: nothing was sent\n"
        "try: `rodbench ports` lists what is there; is the cable in?\n"
    )


UNPRIVILEGED = """
import os, sys
import rodbench.cli.boards, rodbench.cli.info, rodbench.link.open, serial
from rodbench.cli.main import run

def open_board(setup, who):  # what the owner process does, in this process
    return rodbench.link.open.open_port(setup.port_name())

rodbench.cli.boards.open_board = open_board
if os.getuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
run(["info", "--port", sys.argv[1]])
"""


def test_no_permission(tmp_path: Path) -> None:
    """As an unprivileged user, who may not read this interpreter: so everything is loaded first,
    and the port is opened without an owner process."""
    port = tmp_path / "port"
    os.mkfifo(port, 0o000)
    for folder in (tmp_path, *tmp_path.parents[:3]):
        if folder.stat().st_uid == os.getuid() and folder != Path("/tmp"):
            folder.chmod(0o755)
    done = subprocess.run(
        [sys.executable, "-c", UNPRIVILEGED, str(port)], capture_output=True, text=True
    )
    assert done.returncode == 3, done.stderr
    assert done.stderr.startswith(f"error: no permission for {port}\n")
    assert "try: " in done.stderr


HOLD = """
import fcntl, os, sys, time
port = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
fcntl.flock(port, fcntl.LOCK_EX)
print("held", flush=True)
time.sleep(60)
"""


def test_port_held_by_another_program(bench: Bench) -> None:
    other = subprocess.Popen(
        [sys.executable, "-c", HOLD, bench.port], stdout=subprocess.PIPE, text=True
    )
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        said = error_of(bench, "info", code=3)
        assert f"(process {other.pid})" in said.splitlines()[0]
    finally:
        other.kill()
        other.communicate()


def test_silence(bench: Bench) -> None:
    board = FakeBoard()
    board.deaf = True
    fake = on_pty(bench, board)
    said = error_of(bench, "info", code=4)
    assert said.startswith("error: ")
    assert fake.path in said.splitlines()[0]
    fake.close()


def test_wrong_device(bench: Bench) -> None:
    class Chatter(FakeBoard):
        def take(self, data: bytes) -> bytes:
            return b"OK\r\nREADY 1.0\r\n"

    fake = on_pty(bench, Chatter())
    error_of(bench, "info", code=4)
    fake.close()


def test_newer_and_older_protocol_have_their_own_error(bench: Bench) -> None:
    for major in (0, 2):
        fake = on_pty(bench, FakeBoard(major=major))
        said = error_of(bench, "info", code=5)
        assert f"{major}." in said.splitlines()[0] or f" {major}" in said.splitlines()[0]
        fake.close()


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        ("trip_a = 3.0", "trip_a = 3,0", "a decimal comma. Write 3.0."),
        ("trip_a = 3.0", "tripp_a = 3.0", "axes.1.limits has no key 'tripp_a'."),
        ("trip_a = 3.0", 'trip = "3 V"', "'V' cannot be turned into A."),
        ("trip_a = 3.0", "trip_a = 300", "is above 30 A, the most that the board takes."),
        ("trip_a = 3.0", "trip_a = 5.5", "is above fuse_a = 5.0 (line 5): it would never trip."),
        ("soft_stop_max_mm = 38.0", "soft_stop_max_mm = 41.0", "lies beyond the stroke"),
    ],
)
def test_machine_file_errors_send_nothing(bench: Bench, old: str, new: str, text: str) -> None:
    bench.calibrate()
    before = bench.json("info")["digests"]
    (bench.folder / "machine.toml").write_text(MACHINE.replace(old, new))
    said = error_of(bench, "settings", "push", code=7).splitlines()
    assert said[0].startswith("machine.toml:")
    assert text in said[0]
    assert said[1].endswith(f"Nothing was sent; the board keeps settings {before['live']:08X}.")
    assert bench.json("info")["digests"] == before
    assert bench.json("settings", "check", code=7)["error"]["unchanged"] == "Nothing was sent."


def test_settings_refused_by_the_board(calibrated: Bench) -> None:
    """In motion nothing is committed, whoever asks; the motion goes on."""
    before = calibrated.json("info")["digests"]
    jog = calibrated.start("jog", "1", "2 mm/s", "--for", "4 s", "--yes")
    calibrated.wait_moving()
    path = calibrated.folder / "machine.toml"
    path.write_text(path.read_text().replace("trip_a = 3.0", "trip_a = 2.5"))
    done = calibrated.run("settings", "push", code=None)
    assert done.returncode in (3, 6), done.stderr
    assert calibrated.drive != 0
    assert jog.wait(20) == 0
    assert calibrated.json("info")["digests"] == before


def test_another_boards_file_is_not_sent(calibrated: Bench) -> None:
    path = calibrated.folder / "machine.toml"
    before = calibrated.json("info")["digests"]
    known = before_id(path)
    path.write_text(path.read_text().replace(f"board_id = {known}", "board_id = 4711"))
    said = error_of(calibrated, "settings", "push", code=7)
    assert f"board_id = 4711, but this board is {known}" in said
    assert calibrated.json("info")["digests"] == before


def before_id(path: Path) -> int:
    line = next(x for x in path.read_text().splitlines() if x.startswith("board_id"))
    return int(line.partition("=")[2])


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["move", "1", "5 kg"], "'5 kg' is not a position"),
        (["move", "1", "fast"], "'fast' is not a position"),
        (["jog", "1", "3 mm", "--for", "1"], "'3 mm' is not a speed"),
        (["jog", "1", "20 %", "--for", "1"], "axis 1 is calibrated: it jogs at a speed"),
        (["jog", "1", "3", "--for", "-1"], "it must be above 0"),
        (["move", "3", "5 mm"], "3 is not in the range"),
        (["frobnicate"], "there is no command 'frobnicate'"),
        (["mvoe"], "Did you mean 'move'?"),
        (["move", "1", "5 mm", "--frob"], "frob"),
        (["info", "--speed", "max"], "--speed max needs an emulated board"),
    ],
)
def test_what_cannot_be_meant_moves_nothing(calibrated: Bench, words: list[str], text: str) -> None:
    before = calibrated.position_mm
    done = calibrated.run(*words, code=2)
    assert text in done.stderr
    assert calibrated.position_mm == before


def test_a_target_outside_the_soft_stops_is_refused(calibrated: Bench) -> None:
    said = error_of(calibrated, "move", "1", "39.5 mm", "--yes", code=6)
    assert "soft stops" in said
    assert calibrated.drive == 0


def test_motion_needs_consent_of_a_person_or_yes(calibrated: Bench) -> None:
    said = error_of(calibrated, "move", "1", "25 mm", code=9)
    assert "The rod can crush a hand" in said
    assert calibrated.drive == 0


def test_jog_by_keys_needs_a_terminal(calibrated: Bench) -> None:
    said = error_of(calibrated, "jog", "1", "--yes", code=9)
    assert "needs a terminal" in said


def test_cable_pulled_while_moving(calibrated: Bench) -> None:
    move = calibrated.start("move", "1", "36 mm", "--yes")
    calibrated.wait_moving()
    calibrated.served.door.close()  # the pty goes away; the board lives on and hears nothing
    assert move.wait(10) == 11
    assert move.stderr is not None
    said = move.stderr.read()
    assert "went away" in said
    assert "Traceback" not in said
    calibrated.wait_still(2.0)


def test_new_never_overwrites(bench: Bench) -> None:
    text = (bench.folder / "machine.toml").read_text()
    said = error_of(bench, "new", ".", code=2)
    assert "is there already" in said
    assert (bench.folder / "machine.toml").read_text() == text


def test_demo_never_touches_a_folder_of_yours(bench: Bench) -> None:
    mine = bench.folder / "ridge-vent"
    mine.mkdir()
    (mine / "notes.txt").write_text("mine")
    assert "was not made by a demo" in error_of(bench, "demo", code=2)
    assert [p.name for p in mine.iterdir()] == ["notes.txt"]


def test_answers_file_that_is_none(bench: Bench) -> None:
    (bench.folder / "answers.toml").write_text("run_a = out")
    bench.run("settings", "push")
    said = error_of(bench, "calibrate", "current", "1", "--answers", "answers.toml", code=2)
    assert "answers.toml is not TOML" in said


def test_a_bug_is_one_line_and_a_file(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    code = (
        "import rodbench.cli.ports as p\n"
        "def broken(): raise ZeroDivisionError('planted')\n"
        "p.list_ports = broken\n"
        "from rodbench.cli.main import run\n"
        "run(['ports'])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 70
    assert "Traceback" not in done.stderr
    assert "ZeroDivisionError: planted" in done.stderr
    details = Path(done.stderr.split("the details are in ")[1].split(";")[0])
    assert "Traceback" in details.read_text()
    details.unlink()


def test_a_reader_that_has_had_enough_is_no_error(bench: Bench) -> None:
    watch = bench.start("watch", "--json", "--for", "20 s")
    assert watch.stdout is not None
    assert watch.stdout.readline().startswith("{")
    watch.stdout.close()
    assert wait_for(lambda: watch.poll() is not None, 10, "the end of watch")
    assert watch.returncode == 0
    assert watch.stderr is not None
    assert watch.stderr.read() == ""
