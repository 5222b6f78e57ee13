"""The door of the emulator: what `emulator` and `emulator:FILE` open."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.paced import PacedBoard
from rodbench.emulator.plant_file import default_machine, load

STATE_NAME = "emulator-state.json"


def open_emulator(
    spec: str = "emulator", clock: VirtualClock | None = None, folder: str | Path | None = None
) -> EmulatedBoard:
    """The board of `emulator` (the packaged ridge vent) or `emulator:FILE` (a plant file).

    With a clock, the board is stepped by it. With a machine folder, EEPROM, surviving RAM and rod
    positions are kept there between commands. Raises SettingsError for a bad plant file.
    """
    _, _, path = spec.partition(":")
    board = open_board(path or None, Path(folder) / STATE_NAME if folder is not None else None)
    if clock is not None:
        clock.attach(board.step)
    return board


def open_paced(
    spec: str, take: Callable[[bytes], object], folder: str | Path | None = None
) -> PacedBoard:
    """The same board in real time; `take` gets the bytes that reach the host."""
    return PacedBoard(open_emulator(spec, folder=folder), take)


def open_board(plant: str | None, state_file: Path | None) -> EmulatedBoard:
    """A board on the machine of a plant file, or on the packaged one."""
    machine = load(plant) if plant else default_machine()
    return EmulatedBoard(machine, state_file=state_file)
