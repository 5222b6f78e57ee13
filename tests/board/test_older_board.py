"""This host with a board of the first release: what it has not is said to be missing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from rodbench.bench.guarded import not_guarded
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import Refused, SettingsError
from rodbench.link.transport import EmulatorTransport
from rodbench.settings import transfer
from rodbench.settings.machine import MachineFile

from tests.board import first_release
from tests.board.load_bench import FIRST
from tests.board.simboard import SimBoard

FILE = """\
machine_file = 1
name = "older"

[rods.north]
stroke_mm = 40.0

[axes.1]
rod = "north"

[axes.1.limits]
trip_a = 2.2
"""


class Older(SimBoard):
    """A chip with the program of the first release."""

    def _start(self) -> None:
        super()._start()
        self.chip.program(FIRST)


@pytest.fixture
def board() -> Iterator[Board]:
    chip, clock = Older(default_machine(), eeprom=first_release.eeprom()), VirtualClock()
    clock.attach(chip.step)
    with Board.direct(EmulatorTransport(chip, clock), clock) as found:
        yield found
    chip.close()


def file(folder: Path, more: str = "") -> MachineFile:
    path = folder / "machine.toml"
    path.write_text(FILE + more)
    return MachineFile.load(path)


def test_it_takes_a_file_and_tells_the_digest_of_what_it_has(board: Board, tmp_path: Path) -> None:
    machine = file(tmp_path)
    machine.put(0, {"board_id": board.read_scope(0)["board_id"]})
    board.write_scope(1, {"calibrated": 0})
    done = transfer.push(machine, board, until_reset=True)
    assert done.changed
    assert board.read_scope(1)["trip_ma"] == 2_200
    assert transfer.diff(machine, board) == []
    assert transfer.digest_on(machine, board) == board.digests()["live"] != machine.digest()
    assert transfer.pull(machine, board) == []


def test_what_it_cannot_do_is_refused_by_name_and_nothing_is_sent(
    board: Board, tmp_path: Path
) -> None:
    machine, before = file(tmp_path, "following_mm = 9.0\n"), board.digests()["live"]
    with pytest.raises(SettingsError, match="older and has no following_mm"):
        transfer.push(machine, board)
    assert board.digests()["live"] == before


def test_trips_and_guards_are_said_to_be_missing(board: Board) -> None:
    with pytest.raises(Refused, match="keeps no trip log"):
        board.trips()
    line = not_guarded(board.read_scope(0), board.read_scope(1))
    assert "not read by this firmware" in line
    board.watch(0.3)
    assert board.last_board is not None
    assert board.last_board.heat is None
    assert board.last_board.inputs is None
