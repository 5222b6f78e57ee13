"""Motion from the command: it ends where it should, and whatever ends the command stops the rod."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time

import pytest

from tests.cli.conftest import ANSWERS, Bench, wait_for

SETTLES_S = 1.2  # 8 mm/s at 40 mm/s2 takes 0.2 s; the rest is a loaded machine's patience


def ended(process: subprocess.Popen[str], code: int, timeout_s: float = 15.0) -> str:
    """Wait for a command in the background; returns its stderr."""
    _, said = process.communicate(timeout=timeout_s)
    assert process.returncode == code, said
    assert "Traceback" not in said
    return said


def test_move_rests_at_its_target(calibrated: Bench) -> None:
    done = calibrated.json("move", "1", "30 mm", "--yes")
    assert done["ended"] == "reached"
    assert calibrated.position_mm == pytest.approx(30.0, abs=1.0)
    assert done["position_mm"] == pytest.approx(calibrated.position_mm, abs=0.3)
    assert calibrated.drive == 0


@pytest.mark.parametrize(
    ("position", "target_mm"), [("1.25 in", 31.75), ("25 %", 11.0), ("28.5", 28.5)]
)
def test_positions_in_other_words(calibrated: Bench, position: str, target_mm: float) -> None:
    assert calibrated.json("move", "1", position, "--yes")["target_mm"] == pytest.approx(target_mm)
    assert calibrated.position_mm == pytest.approx(target_mm, abs=1.0)


def test_inches_where_the_machine_file_asks_for_them(calibrated: Bench) -> None:
    path = calibrated.folder / "machine.toml"
    path.write_text(path.read_text().replace('name = "bench"', 'name = "b"\nshow_units = "in"'))
    done = calibrated.run("move", "1", "1.2", "--yes")
    assert "(asked: 1.200 in)" in done.stdout
    assert calibrated.position_mm == pytest.approx(30.48, abs=1.0)


def test_timed_jog_runs_for_its_time_and_in_its_direction(calibrated: Bench) -> None:
    before = calibrated.position_mm
    done = calibrated.json("jog", "1", "-4 mm/s", "--for", "1 s", "--yes")
    assert done["ended"] == "stopped"
    assert before - calibrated.position_mm == pytest.approx(4.0, abs=2.0)


def test_uncalibrated_jog_is_an_output(bench: Bench) -> None:
    bench.run("settings", "push")
    before = bench.position_mm
    done = bench.run("jog", "1", "30 %", "--for", "0.5 s", "--yes")
    assert "rests at raw" in done.stdout
    assert bench.position_mm > before + 0.1


def test_the_caution_comes_once_and_what_is_not_guarded_each_time(calibrated: Bench) -> None:
    first = calibrated.run("move", "1", "21 mm", "--yes").stderr
    second = calibrated.run("move", "1", "20 mm").stderr
    assert "The rod can crush a hand" in first
    assert "The rod can crush a hand" not in second
    for said in (first, second):
        assert said.splitlines()[0] == (
            "Not guarded: falling behind (no following_mm), motor heat (rated current unknown), "
            "supply (no meter reading entered), stop input (not wired)."
        )
    lines = (calibrated.folder / "logbook" / "log.jsonl").read_text().splitlines()
    kinds = [json.loads(line)["kind"] for line in lines]
    assert kinds.count("caution") == 1
    assert kinds.count("move") == 2


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize("words", [["move", "1", "36 mm"], ["jog", "1", "2 mm/s", "--for", "20"]])
def test_a_signal_stops_the_rod_first(
    calibrated: Bench, words: list[str], number: signal.Signals
) -> None:
    process = calibrated.start(*words, "--yes")
    calibrated.wait_moving()
    time.sleep(0.3)
    process.send_signal(number)
    said = ended(process, 130)
    assert number.name in said
    # The stop was asked for before the command ended: the ramp is over long before the hold of
    # the board would have ended the motion.
    calibrated.wait_still(SETTLES_S)
    assert outcome(calibrated) == "stopped"


def outcome(bench: Bench) -> str:
    """How the board itself says that its last motion ended, once it has seen the rod rest (1 s)."""
    code = (
        "import os\nfrom rodbench.board import Board\n"
        "from rodbench_protocol.names import Ended\n"
        "with Board.open(os.environ['RODBENCH_PORT']) as board:\n"
        "    for _ in range(20):\n"
        "        how = Ended(board.outcome(1).ended)\n"
        "        if how != Ended.RUNNING:\n"
        "            break\n"
        "        board.sleep(0.1)\n"
        "    print(how.name.lower())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=bench.env,
        cwd=bench.folder,
        capture_output=True,
        text=True,
    )
    return done.stdout.strip()


def test_impatience_does_not_cut_off_the_stopping(calibrated: Bench) -> None:
    process = calibrated.start("move", "1", "36 mm", "--yes")
    calibrated.wait_moving()
    time.sleep(0.3)
    for _ in range(3):
        process.send_signal(signal.SIGINT)
        time.sleep(0.02)
    ended(process, 130)
    calibrated.wait_still(SETTLES_S)
    assert outcome(calibrated) == "stopped"


@pytest.mark.parametrize("watched", [False, True])
def test_a_killed_command_leaves_a_rod_that_stops_by_itself(
    calibrated: Bench, watched: bool
) -> None:
    """Also while `watch` listens on: it keeps nothing alive."""
    if watched:
        watch = calibrated.start("watch", "--json")
        assert watch.stdout is not None
        assert watch.stdout.readline()
    process = calibrated.start("move", "1", "36 mm", "--yes")
    calibrated.wait_moving()
    time.sleep(0.3)
    process.kill()
    # move_hold_ms 500, and the owner stops what a client that is gone commanded
    calibrated.wait_still(0.5 + SETTLES_S)


@pytest.mark.parametrize("words", [["move", "1", "36 mm"], ["jog", "1", "2 mm/s", "--for", "20"]])
def test_stop_from_a_second_terminal(calibrated: Bench, words: list[str]) -> None:
    process = calibrated.start(*words, "--yes")
    calibrated.wait_moving()
    calibrated.run("stop")
    calibrated.wait_still(SETTLES_S)
    said = ended(process, 130)
    assert "axis 1 was stopped: 'stop' (process" in said
    assert outcome(calibrated) == "stopped"


def test_stop_while_watch_runs_and_watch_sees_it(calibrated: Bench) -> None:
    watch = calibrated.start("watch", "--json", "--for", "8 s")
    move = calibrated.start("move", "1", "36 mm", "--yes")
    calibrated.wait_moving()
    calibrated.run("stop", "1", "--now")
    calibrated.wait_still(SETTLES_S)
    ended(move, 130)
    out, said = watch.communicate(timeout=30)
    assert watch.returncode == 0, said
    samples = [json.loads(line) for line in out.splitlines()]
    assert any(s["sample"] == "axis" and s["output"] > 0 for s in samples)
    events = [s for s in samples if s["sample"] == "event"]
    assert "motion_ended" in [e["kind"] for e in events]


def test_a_second_command_does_not_move_what_another_commands(calibrated: Bench) -> None:
    jog = calibrated.start("jog", "1", "0.5 mm/s", "--for", "30 s", "--yes")
    calibrated.wait_moving()
    done = calibrated.run("move", "1", "5 mm", "--yes", code=3)
    assert "jog 1" in done.stderr
    assert calibrated.drive > 0
    jog.send_signal(signal.SIGINT)
    ended(jog, 130)


def test_a_guard_is_told_with_what_where_and_what_to_do(calibrated: Bench) -> None:
    calibrated.board.rig.plants[1].set_fault("jam", 30.0)
    done = calibrated.run("move", "1", "36 mm", "--yes", code=8)
    assert re.match(r"error: axis 1 stopped at (29|30)\.\d mm\. ", done.stderr.splitlines()[-3])
    assert done.stderr.splitlines()[-1].endswith("then `rodbench clear 1`.")
    assert calibrated.json("clear", "1")["cleared"] != []
    assert calibrated.json("clear", "1")["cleared"] == []


@pytest.mark.slow
@pytest.mark.parametrize("stage", ["run A:", "4 Ends"])
def test_ctrl_c_while_commissioning_over_the_pty(bench: Bench, stage: str) -> None:
    (bench.folder / "answers.toml").write_text(ANSWERS)
    process = bench.start("commission", "--yes", "--answers", "answers.toml", *eye(bench))
    assert process.stderr is not None
    assert any(stage in line for line in process.stderr)
    bench.wait_moving()
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=20)
    assert process.returncode == 130
    bench.wait_still(SETTLES_S)
    assert bench.json("info")["digests"]["stored"] == 0


def eye(bench: Bench) -> list[str]:
    from rodbench.emulator.eye import EyeServer

    server = EyeServer(bench.served.look, "127.0.0.1:0")
    return ["--eye", server.address]


@pytest.mark.slow
def test_stop_from_a_second_terminal_while_a_procedure_runs(bench: Bench) -> None:
    (bench.folder / "answers.toml").write_text(ANSWERS)
    process = bench.start("commission", "--yes", "--answers", "answers.toml", *eye(bench))
    assert process.stderr is not None
    for line in process.stderr:
        if "4 Ends" in line:
            break
    bench.wait_moving()
    bench.run("stop")
    bench.wait_still(SETTLES_S)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 130, said
    assert wait_for(lambda: bench.drive == 0)
