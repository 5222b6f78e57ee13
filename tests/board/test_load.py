"""`rodbench load` shown for real: avrdude through Debian's bootloader images in the simulator.

The pty stands in for the port: each opening resets the board (a real port has modem lines for that;
avrdude's own complaint about TIOCMGET is the pty's). No real USB bridge was tried.
"""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest
from rodbench.load.images import NEW as NEWER
from rodbench.load.images import OLD as OLDER
from rodbench_protocol.settings import digest_all

from tests.board import first_release
from tests.board.bootloaders import NEW, OLD
from tests.board.load_bench import Bench, bench, blank_board, first_release_board
from tests.board.test_first_release import completed

MEANT = f"{digest_all(*completed()):08X}"
WAS = first_release.kept()["digest"]


def test_the_first_release_becomes_this_one_and_keeps_its_settings() -> None:
    with bench(first_release_board(NEW)) as on:
        eeprom = on.board.chip.eeprom
        ended = on.run("load", "--json")
        assert ended.code == 0, ended.said
        assert on.holds(NEWER)
        now = on.board.chip.eeprom
        settings, hot = slice(657), slice(657, 810)  # of the memory's map in the firmware's README
        assert now[settings] == eeprom[settings]  # nothing was even written
        assert now[hot] != eeprom[hot]  # but the duty's record, at the program's start
        assert now[hot.stop :] == eeprom[hot.stop :]
        assert ended.data["before"]["protocol"] == "1.0"
        assert ended.data["before"]["digest_live"] == WAS
        assert ended.data["after"]["digest_live"] == ended.data["after"]["digest_stored"] == MEANT
        assert not ended.data["settings_put_back"]
        assert list(on.kept()[0]["scopes"].values()) == first_release.kept()["scopes"]
        assert on.entries()[-1]["ended"] == "loaded"
        assert "bytes of flash verified" in Path(ended.data["programmer_log"]).read_text()
        assert "settings survived" in ended.said
        assert "motor power off" in ended.said


def test_a_blank_board_with_the_old_bootloader_is_found_by_trying() -> None:
    with bench(blank_board(OLD)) as on:
        ended = on.run("load")
        assert ended.code == 0, ended.said
        assert on.holds(OLDER)  # the build that it needs
        tried = [line for line in ended.said.splitlines() if "avrdude -p m328p" in line]
        assert ["-b 115200" in line for line in tried] == [True, False]
        assert "no rodbench firmware answers" in ended.said
        assert "no settings are stored on it" in ended.said
        assert on.kept() == []


def test_cut_off_while_writing_it_says_so_and_a_second_load_mends_it() -> None:
    with bench(first_release_board(NEW)) as on:
        process = on.start("load", "--bootloader", "new")
        os.kill(writing(on, process), signal.SIGKILL)
        _, said = process.communicate(timeout=60)
        assert process.returncode == 12
        assert "ended before all was written and compared" in said
        assert "half a program" in said
        assert "run `rodbench load` again" in said
        assert not on.untouched
        assert not on.holds(NEWER)
        again = on.run("load", "--json")
        assert again.code == 0, again.said
        assert on.holds(NEWER)
        assert again.data["after"]["digest_live"] == MEANT
        assert "the same as an earlier load kept" in again.said


def writing(on: Bench, process: subprocess.Popen[str]) -> int:
    """The number of the avrdude that the command runs, once it has written some pages."""
    deadline = time.monotonic() + 40
    while time.monotonic() < deadline:
        now = on.board.chip.flash
        changed = sum(now[at : at + 128] != on.before[at : at + 128] for at in range(0, 24576, 128))
        if changed > 20:
            return child(process.pid, "avrdude")
        time.sleep(0.02)
    raise AssertionError("avrdude never began to write")


def child(parent: int, name: str) -> int:
    """The child process of this name."""
    for number in Path(f"/proc/{parent}/task/{parent}/children").read_text().split():
        if Path(f"/proc/{number}/comm").read_text().strip() == name:
            return int(number)
    raise AssertionError(f"no child {name}")


@pytest.mark.parametrize(("bootloader", "word"), [(None, "new"), (NEW, "old")])
def test_where_no_bootloader_answers_nothing_is_written(bootloader: Path | None, word: str) -> None:
    """There is none, or it listens at another speed."""
    with bench(first_release_board(bootloader)) as on:
        ended = on.run("load", "--bootloader", word)
        assert ended.code == 12
        assert "no bootloader answered at" in ended.said
        assert "nothing was written; the board holds what it held" in ended.said
        assert on.untouched
        assert on.kept()[0]["digest"] == WAS
        info = on.run("info", "--json")
        assert info.data["hello"]["digest_live"] == int(WAS, 16)


def test_settings_that_did_not_survive_are_put_back() -> None:
    """A programmer that erases the EEPROM with the rest: here it is gone after the load."""
    with bench(first_release_board(NEW, forgets=True)) as on:
        ended = on.run("load", "--json")
        assert ended.code == 0, ended.said
        assert ended.data["settings_put_back"]
        assert ended.data["after"]["digest_live"] == ended.data["after"]["digest_stored"] == MEANT
        assert "settings did not survive" in ended.said
