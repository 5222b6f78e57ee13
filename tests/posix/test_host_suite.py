"""A part of the host's own tests with the port in the emulator's place (tests/boards.py). For all
of them: `RODBENCH_TEST_BOARD=posix pytest tests/link tests/cli tests/procedures tests/settings`."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from rodbench.emulator.board import EmulatedBoard
from rodbench.errors import SettingsError

from tests import boards
from tests.posix.build import ROOT, program
from tests.posix.machine import machine

PART = (
    "tests/link/test_board.py",
    "tests/link/test_hold.py::test_the_command_is_killed",
    "tests/link/test_hold.py::test_renewals_that_come_after_the_end_revive_nothing",
    "tests/cli/test_steps.py::test_all_steps_one_by_one_end_like_commission",
    "tests/cli/test_steps.py::test_commission_writes_file_logbook_and_table",
    "tests/cli/test_motion.py::test_stop_from_a_second_terminal",
    "tests/procedures/test_commission.py::test_from_label_to_trial",
    "tests/procedures/test_endpoints.py::test_a_coarse_sensor_never_gives_a_kind",
)


@pytest.mark.slow
def test_host_tests_pass_on_the_port() -> None:
    program()  # built before any clock runs
    words = [sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", *PART]
    done = subprocess.run(
        words, cwd=ROOT, env=os.environ | {boards.VARIABLE: "posix"}, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr


def test_the_switch_puts_the_port_there() -> None:
    """The run above would also pass on the emulator: this is what it runs on."""
    code = (
        "from tests import boards; from tests.link.rig import KINDS, direct; "
        "(make,) = KINDS.values(); board = make(); api, _ = direct(board); "
        "print(type(board).__name__, api.hello.board_kind, api.hello.adc_full_scale); board.close()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=os.environ | {boards.VARIABLE: "posix"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["PosixBoard", "2", "8190"]


def test_the_emulator_does_not_pass_for_it() -> None:
    """The twin is of the other kind: a plant for this one is refused, not misread."""
    with pytest.raises(SettingsError, match=r"board\.kind is posix-3v3; the emulator's is atm"):
        EmulatedBoard(machine())
