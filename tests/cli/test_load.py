"""`rodbench load` where no programmer runs, and what avrdude's words are taken to mean.

The words are those of avrdude 7.1 (Debian), seen when this was written, and of 6.3, from memory.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from rodbench.load import programmer
from rodbench.load.images import NEW, about, hex_file
from rodbench.load.programmer import Outcome, judge
from rodbench_protocol.names import MAJOR, MINOR, SCHEMA_DIGEST

NO_PORT = "avrdude OS error: cannot open port /dev/nosuch: No such file or directory\n"
OLD_NO_PORT = (
    """avrdude: ser_open(): can't open device "/dev/nosuch": No such file or directory\n"""
)
UNSYNCED = "avrdude warning: attempt 3 of 10: not in sync: resp=0x9b\n"
READY = "avrdude: AVR device initialized and ready to accept instructions\n"
SIGNED = READY + "avrdude: device signature = 0x1e950f (probably m328p)\n"
OTHER = READY + "avrdude: device signature = 0x1e9516 (probably m328pb)\n"
WRITING = SIGNED + "avrdude: writing 26640 bytes flash ...\nWriting | #####"
OLD_WRITING = "Device signature = 0x1e950f\navrdude: writing flash (26640 bytes):\nWriting | ###"


@pytest.mark.parametrize(
    ("log", "code", "outcome"),
    [
        (SIGNED, 0, Outcome.LOADED),
        (NO_PORT, 1, Outcome.NO_PORT),
        (OLD_NO_PORT, 1, Outcome.NO_PORT),
        (UNSYNCED, 1, Outcome.SILENT),
        ("", -9, Outcome.SILENT),
        (OTHER, 1, Outcome.OTHER_CHIP),
        (SIGNED, 1, Outcome.NOT_BEGUN),
        (WRITING, 1, Outcome.CUT),
        (OLD_WRITING, -9, Outcome.CUT),
    ],
)
def test_what_a_run_means(log: str, code: int, outcome: Outcome) -> None:
    assert judge(log, code).outcome is outcome


def test_a_silent_bootloader_is_called_three_times_and_no_more(tmp_path: Path) -> None:
    """avrdude by itself calls ten times, five seconds each."""
    fake = tmp_path / "avrdude"
    fake.write_text("#!/bin/sh\nwhile :; do echo not in sync; sleep 0.1; done\n")
    fake.chmod(0o755)
    ended = programmer.run(str(fake), [], lambda text: None)
    assert ended.outcome is Outcome.SILENT
    assert ended.log.count("not in sync") == 3


def load(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "rodbench.cli.main", "load", *words],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_without_avrdude_the_line_is_shown_and_nothing_touched() -> None:
    ended = load("--port", "/dev/ttyUSB7", PATH="/nowhere")
    assert ended.returncode == 2
    for baud in (115200, 57600):
        assert (
            f"avrdude -p m328p -c arduino -b {baud} -P /dev/ttyUSB7 -D -U flash:w:" in ended.stdout
        )
    assert "avrdude, the programmer, is not installed" in ended.stderr
    assert "nothing was changed" in ended.stderr
    assert "apt install avrdude" in ended.stderr


def test_print_shows_the_line_of_the_one_that_was_named() -> None:
    ended = load("--port", "COM3", "--bootloader", "old", "--print")
    assert ended.returncode == 0
    assert "-b 57600 -P COM3" in ended.stdout
    assert "-old-bootloader.hex:i" in ended.stdout
    assert "115200 baud" not in ended.stdout


@pytest.mark.parametrize("port", ["emulator", "tcp:localhost:7000"])
def test_an_emulated_board_is_not_loaded(port: str) -> None:
    ended = load("--port", port)
    assert ended.returncode == 2
    assert "nothing was changed" in ended.stderr


def test_a_port_that_another_program_holds_is_left_alone(tmp_path: Path) -> None:
    master, slave = os.openpty()
    port = os.ttyname(slave)
    holder = subprocess.Popen(["sleep", "60"], stdin=slave)
    os.close(slave)
    fake = tmp_path / "avrdude"
    fake.write_text("#!/bin/sh\necho it was run\n")
    fake.chmod(0o755)
    try:
        ended = load(
            "--port", port, PATH=f"{tmp_path}:{os.environ['PATH']}", RODBENCH_RUNTIME=str(tmp_path)
        )
    finally:
        holder.terminate()
        holder.wait()
        os.close(master)
    assert ended.returncode == 3
    assert "is held by sleep 60" in ended.stderr
    assert "it was run" not in ended.stderr


def test_interrupted_while_writing_it_says_what_the_board_holds(tmp_path: Path) -> None:
    master, slave = os.openpty()
    fake = tmp_path / "avrdude"
    (tmp_path / "words").write_text(WRITING)
    fake.write_text(f"#!/bin/sh\ncat {tmp_path}/words; exec sleep 60\n")
    fake.chmod(0o755)
    process = subprocess.Popen(
        [sys.executable, "-m", "rodbench.cli.main", "load", "--port", os.ttyname(slave)],
        env={
            **os.environ,
            "PATH": f"{tmp_path}:{os.environ['PATH']}",
            "RODBENCH_RUNTIME": str(tmp_path),
        },
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        text=True,
    )
    os.close(slave)
    assert process.stderr is not None
    said = ""
    while "Writing" not in said:
        said += process.stderr.read(1)
    process.send_signal(signal.SIGINT)
    said += process.communicate(timeout=20)[1]
    os.close(master)
    assert process.returncode == 130
    assert "the board holds half a program" in said
    assert "run `rodbench load` again" in said


def test_the_files_say_which_firmware_they_hold() -> None:
    meant = (about().protocol_major, about().protocol_minor, about().schema_digest)
    assert meant == (MAJOR, MINOR, SCHEMA_DIGEST)
    assert hex_file(250_000, NEW).name == "atmega328p-5v-250000-baud-new-bootloader.hex"


def test_the_whole_program_is_loaded_only_where_its_bootloader_is_named() -> None:
    """Beside another one it would lie where the chip starts."""
    words = ("--port", "/dev/nosuch", "--print", "--program", "whole")
    refused = load(*words)
    assert (refused.returncode, "--bootloader-512" in refused.stderr) == (2, True)
    told = load(*words, "--bootloader-512")
    assert "-whole.hex" in told.stdout
    beside_old = load(*words, "--bootloader-512", "--bootloader", "old")
    assert (beside_old.returncode, "no room" in beside_old.stderr) == (2, True)
    assert "-whole.hex" not in refused.stdout + beside_old.stdout
