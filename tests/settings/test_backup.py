"""Settings kept through a load, on emulated boards in virtual time: what survived, what is put
back, and what is not made permanent that was not stored."""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import ProcedureError, Refused
from rodbench.link.transport import EmulatorTransport
from rodbench.load import backup
from rodbench.load.loading import Loader
from rodbench_protocol.settings import defaults

AXIS = {"feedback": 1, "calibrated": 1, "raw_retracted": 7400, "raw_extended": 620}
BOARD_ID = {"board_id": 77}
HOT_AT, HOT_END = 657, 810  # the hot record, 17 of 9 bytes, which each start writes


def started(eeprom: bytes | None = None) -> tuple[Board, EmulatedBoard]:
    """A board that has just started."""
    machine = default_machine()
    machine.board.boot_ms = 5.0
    emulated, clock = EmulatedBoard(machine, eeprom=eeprom), VirtualClock()
    clock.attach(emulated.step)
    return Board.direct(EmulatorTransport(emulated, clock), clock), emulated


def settled(*, store: bool) -> tuple[Board, EmulatedBoard]:
    """One with a calibrated axis."""
    board, emulated = started()
    board.write_scope(0, BOARD_ID)
    board.write_scope(1, AXIS, store=store)
    return board, emulated


def rested(board: Board, emulated: EmulatedBoard) -> bytearray:
    """What its memory holds once all that a start writes (the hot record) is written."""
    board.sleep(0.5)
    return emulated.eeprom


def after_load(pulled: backup.Backup, board: Board, folder: Path) -> tuple[Loader, str]:
    """What the end of a load does with the settings of before."""
    said: list[str] = []
    loader = Loader("a port", folder, said.append, said.append)
    loader._settings(board, pulled)
    return loader, " ".join(said)


def test_what_is_read_is_what_the_board_holds() -> None:
    board, _ = settled(store=True)
    pulled = backup.take(board)
    assert pulled.stored
    assert not pulled.empty
    assert pulled.scopes == {scope: board.read_scope(scope) for scope in (0, 1, 2)}
    assert pulled.new_keys() == []
    assert backup.digest_of(pulled.wanted()) == board.digests()["live"]


def test_a_new_board_has_nothing_to_lose() -> None:
    assert backup.take(started()[0]).empty


def test_a_store_that_survived_is_left_alone(tmp_path: Path) -> None:
    board, emulated = settled(store=True)
    pulled = backup.take(board)
    before = bytes(rested(board, emulated))
    again, second = started(before)
    loader, said = after_load(pulled, again, tmp_path)
    assert "survived" in said
    assert not loader.done.put_back
    assert rested(again, second) == rested(*started(before))  # no more than a start writes
    assert second.eeprom[:HOT_AT] == before[:HOT_AT]
    assert second.eeprom[HOT_END:] == before[HOT_END:]


def test_a_store_that_did_not_survive_is_put_back_and_stored(tmp_path: Path) -> None:
    board, _ = settled(store=True)
    pulled = backup.take(board)
    again, emulated = started()
    loader, _ = after_load(pulled, again, tmp_path)
    assert loader.done.put_back
    third, _ = started(bytes(emulated.eeprom))
    assert {scope: third.read_scope(scope) for scope in (0, 1, 2)} == pulled.scopes


def test_a_calibrated_axis_of_another_rod_is_replaced(tmp_path: Path) -> None:
    """By way of uncalibrated, as the board demands."""
    board, _ = settled(store=True)
    pulled = backup.take(board)
    again, _ = started()
    again.write_scope(1, {**AXIS, "raw_retracted": 7000, "raw_extended": 900})
    after_load(pulled, again, tmp_path)
    assert again.read_scope(1) == pulled.scopes[1]


def test_what_was_in_force_until_reset_is_not_stored_by_a_load(tmp_path: Path) -> None:
    board, emulated = settled(store=False)
    pulled = backup.take(board)
    assert not pulled.stored
    before = bytes(rested(board, emulated))
    again, second = started(before)
    loader, said = after_load(pulled, again, tmp_path)
    assert "was not stored" in said
    assert not loader.done.put_back
    assert rested(again, second) == rested(*started(before))  # no more than a start writes
    assert second.eeprom[:HOT_AT] == before[:HOT_AT]
    assert second.eeprom[HOT_END:] == before[HOT_END:]
    assert again.read_scope(1) == defaults("axis")


def test_a_firmware_that_refuses_says_where_the_settings_are(tmp_path: Path) -> None:
    board, _ = settled(store=True)
    pulled = backup.take(board)
    pulled.scopes[1]["trip_ma"] = 10**6  # out of range
    again, _ = started()
    with pytest.raises(ProcedureError, match="refuses the settings of before") as caught:
        after_load(pulled, again, tmp_path)
    assert isinstance(caught.value.__cause__, Refused)
    assert again.read_scope(1) == defaults("axis")


def test_the_newest_file_of_this_board_is_found(tmp_path: Path) -> None:
    board, _ = settled(store=True)
    pulled = backup.take(board)
    path = backup.save(pulled, tmp_path)
    (tmp_path / "backup" / "2999-settings-00000000.json").write_text("torn {")
    assert backup.newest(tmp_path, 77) == (path, pulled.wanted())
    assert backup.newest(tmp_path, 78) is None
    assert backup.newest(tmp_path, 0) is None
