"""A rod goes to another axis or board whole; what belongs to the axis or board is learned anew."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from rodbench.errors import SettingsError
from rodbench.settings import transfer
from rodbench.settings.machine import MachineFile

from tests.settings.test_machine_file import VENT
from tests.settings.test_transfer import Scene, scene

__all__ = ["scene"]

TWO = (
    VENT.replace('rod = "north"\n', 'rod = "north"\nlearned_with = "north"\n')
    + """
[rods.south]
stroke_mm = 203.0
pot_retracted = 0.1
pot_extended = 0.9
[axes.2]
rod = "south"
calibrated = true
learned_with = "south"
motor_reversed = true
[axes.2.limits]
soft_stop_max_mm = 180.0
"""
)


def machine(text: str) -> MachineFile:
    return MachineFile(text, Path("machine.toml"))


def swapped(text: str) -> str:
    for old, new in (("north", "*"), ("south", "north"), ("*", "south")):
        text = text.replace(f'\nrod = "{old}"', f'\nrod = "{new}"')
    return text


def test_a_rod_goes_to_another_axis_by_one_line_and_takes_what_is_its_own() -> None:
    moved = machine(swapped(TWO).replace("calibrated = true", "calibrated = false"))
    before = machine(TWO)
    own = ("raw_retracted", "raw_extended", "stroke_um", "full_speed_extend_um_s", "stall_ma")
    assert {k: moved.scope(2)[k] for k in own} == {k: before.scope(1)[k] for k in own}
    assert moved.scope(2)["motor_reversed"] == 1  # the axis's own, and not trusted:
    assert moved.scope(2)["calibrated"] == 0


def test_an_axis_is_not_calibrated_with_another_rod_than_it_learned_with() -> None:
    with pytest.raises(SettingsError) as caught:
        machine(swapped(TWO))
    first, second = str(caught.value).splitlines()
    assert 'was learned on this axis with rod "north"' in first
    assert 'and now it has rod "north"' in second
    assert caught.value.hint is not None
    assert "`rodbench calibrate polarity 1`" in caught.value.hint
    assert "Endpoints, stroke and speeds belong to the rod" in caught.value.hint


def test_a_rod_without_a_pot_is_held_to_it_though_it_is_never_calibrated() -> None:
    text = 'machine_file = 1\n[rods.a]\nfeedback = "none"\nstroke_mm = 9\n[axes.1]\nrod = "a"\n'
    assert machine(text + 'learned_with = "a"\n').scope(1)["feedback"] == 2
    with pytest.raises(SettingsError, match='learned on this axis with rod "b"'):
        machine(text + 'learned_with = "b"\n')


def test_polarity_learned_anew_makes_it_the_axis_of_the_rod() -> None:
    file = machine(swapped(TWO).replace("calibrated = true", "calibrated = false"))
    file.put(1, {"motor_reversed": 1}, {"motor_reversed": "by two short runs"})
    assert file.host("learned_with", ("axes", "1")) == "south"
    file.put(1, {"calibrated": 1})
    assert file.scope(1)["calibrated"] == 1
    with pytest.raises(SettingsError, match="learned on this axis"):
        machine(file.text.replace("calibrated = false", "calibrated = true"))  # axis 2 was not


def test_another_rod_put_on_an_axis_takes_it_out_of_use() -> None:
    file = machine(VENT.replace("calibrated", 'learned_with = "north"\ncalibrated'))
    file.put_rod(1, "east", 100.0)
    assert file.scope(1)["calibrated"] == 0
    assert file.host("learned_with", ("axes", "1")) is None
    assert file.scope(1)["stroke_um"] == 100_000


def test_a_push_notes_rod_and_board_once(scene: Scene) -> None:
    done = transfer.push(scene.file, scene.board)
    number = scene.board.read_scope(0)["board_id"]
    assert 'learned_with = "north"' in scene.file.text
    assert f"learned_on_board = {number}" in scene.file.text
    assert done.notes == []
    text = scene.file.text
    assert transfer.push(scene.file, scene.board).changed == []
    assert scene.file.text == text


def test_a_calibrated_axis_is_not_pushed_to_another_board(scene: Scene) -> None:
    transfer.push(scene.file, scene.board)
    number = scene.board.read_scope(0)["board_id"]
    scene.board.write_scope(0, {"board_id": 4711})
    without = scene.file.text.replace(f"board_id = {number}\n", "", 1)
    with pytest.raises(SettingsError, match="learned on board") as caught:
        transfer.push(machine(without), scene.board)
    assert "Nothing was sent" in str(caught.value.kept)
    assert "endpoints are shares of the reference and stay" in str(caught.value.hint)
    assert scene.board.read_scope(0)["board_id"] == 4711
    again = machine(without.replace("calibrated = true", "calibrated = false"))
    transfer.push(again, scene.board)
    assert scene.board.read_scope(1)["calibrated"] == 0
    assert scene.board.digests()["live"] == again.digest()


def test_a_board_without_an_id_takes_the_files_and_this_is_said(scene: Scene) -> None:
    file = machine(VENT.replace("[board]", "[board]\nboard_id = 4711"))
    assert "the board had no id and takes 4711" in transfer.push(file, scene.board).notes[0]
    assert scene.board.read_scope(0)["board_id"] == 4711


def test_a_file_of_another_kind_of_board_is_refused(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    hello = dataclasses.replace(scene.board.ask_hello(), board_kind=2)
    monkeypatch.setattr(scene.board, "ask_hello", lambda: hello)
    with pytest.raises(SettingsError, match='kind = "atmega328p-5v", but this board is posix-3v3'):
        transfer.push(scene.file, scene.board)
    empty = machine('machine_file = 1\n[board]\nkind = "atmega328p-5v"  # ours\n')
    transfer.diff(empty, scene.board)
    assert 'kind = "posix-3v3"  # ours' in empty.text


def test_shares_follow_the_kind_of_board() -> None:
    """12 bits summed twice and once: 8190 and 4095; ten bits summed eight and four times."""
    text = 'machine_file = 1\n[board]\nkind = "posix-3v3"\n[rods.a]\nstroke_mm = 9\npot_extended = '
    text += '0.5\n[axes.1]\nrod = "a"\ncurrent_zero = 0.5\n'
    scope = machine(text).scope(1)
    assert (scope["raw_extended"], scope["current_zero"]) == (4095, 2048)  # 2047.5: to even
    scope = machine(text.replace("posix-3v3", "atmega328p-5v")).scope(1)
    assert (scope["raw_extended"], scope["current_zero"]) == (4092, 2046)


def rods(driver: str, second: bool) -> MachineFile:
    text = 'machine_file = 1\n[rods.a]\nstroke_mm = 90\n[axes.1]\nrod = "a"\n'
    text += f'driver = "{driver}"\n'
    return machine(text + '[rods.b]\nstroke_mm = 90\n[axes.2]\nrod = "b"\n' * second)


def test_axes_that_share_pins_are_committed_in_the_order_that_holds(scene: Scene) -> None:
    one, two = "two-pwm-inputs", "pwm-and-two-direction-lines"
    for driver, second in ((two, True), (one, False), (two, True)):
        file = rods(driver, second)
        file.put(0, {"board_id": scene.board.read_scope(0)["board_id"]})
        done = transfer.push(file, scene.board)
        assert done.digest == file.digest()
