"""The linearity table in the machine file: there and back, and what is wrong with one."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from rodbench.errors import SettingsError
from rodbench.settings import pot_table, transfer
from rodbench.settings.machine import MachineFile
from rodbench.show.tables import differences

from .test_transfer import VENT, Scene

TEXT = """machine_file = 1
[rods.north]
stroke_mm = 203.0
pot_retracted = 0.905425
pot_extended = 0.07478
pot_table = [[0.7, 50.8], [0.3, 152.4]]  # mine
[axes.1]
rod = "north"
calibrated = true
"""


def machine(text: str) -> MachineFile:
    return MachineFile(text, Path("machine.toml"))


def test_points_become_settings() -> None:
    """0.7 and 0.3 of 8184, 50.8 and 152.4 of 203 mm in parts of 65536, by hand."""
    values = machine(TEXT).scope(1)
    assert values["table_points"] == 2
    assert (values["table_raw_1"], values["table_raw_2"]) == (5729, 2455)
    assert (values["table_place_1"], values["table_place_2"]) == (16400, 49200)
    assert values["table_raw_3"] == values["table_place_8"] == 0


@pytest.mark.parametrize("stroke_mm", [5.0, 203.0, 2000.0])
def test_settings_come_back_as_they_were(stroke_mm: float) -> None:
    rng = random.Random(stroke_mm)
    for points in range(1, 9):
        file = machine(TEXT.replace("203.0", str(stroke_mm)).replace("= true", "= false"))
        values = pot_table.NONE | {"table_points": points}
        for n in range(1, points + 1):
            values[f"table_raw_{n}"] = rng.randrange(8185)
            values[f"table_place_{n}"] = rng.randrange(65536)
        file.put(1, values)
        again = machine(file.text).scope(1)
        assert {wire: again[wire] for wire in values} == values
        assert "# mine" in file.text


def test_no_points_take_the_line_out_and_the_same_ones_leave_it() -> None:
    file = machine(TEXT)
    file.put(1, file.scope(1))
    assert file.text == TEXT
    file.put(1, pot_table.NONE)
    assert file.text == TEXT.replace("pot_table = [[0.7, 50.8], [0.3, 152.4]]  # mine\n", "")


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ('"0.7"', "this is no table"),
        ("[]", "this is no table"),
        ("[[0.7]]", "this is no table"),
        ("[[1.7, 3.0]]", "this is no table"),
        ("[[0.7, true]]", "this is no table"),
        ("[[0.7, -1.0]]", "this is no table"),
        (str([[0.9 - n / 20, 10.0 * n] for n in range(1, 10)]), "at most 8 points"),
        ("[[0.3, 50.8], [0.7, 152.4]]", "out of order"),
        ("[[0.95, 50.8]]", "out of order"),
        ("[[0.85, 152.4]]", "twice as steep"),
    ],
)
def test_a_table_that_cannot_be_is_named_with_its_line(table: str, why: str) -> None:
    with pytest.raises(SettingsError) as caught:
        machine(TEXT.replace("[[0.7, 50.8], [0.3, 152.4]]", table))
    assert "machine.toml:6" in str(caught.value)
    assert why in str(caught.value)


def test_a_table_goes_to_the_board_and_comes_back() -> None:
    scene = Scene()
    stroke = next(line for line in VENT.splitlines() if line.startswith("stroke_mm"))
    scene.file = machine(VENT.replace(stroke, f"{stroke}\npot_table = [[0.7, 50.8], [0.3, 152.4]]"))
    pushed = transfer.push(scene.file, scene.board)
    assert pushed.digest == scene.file.digest()
    assert scene.board.read_scope(1)["table_points"] == 2
    said = differences(pushed.changed)
    assert re.search(r"^pot_table of axis 1 +2 points +none$", said, re.MULTILINE), said
    assert "table_raw" not in said
    plain = machine(VENT)
    changed = {each.wire for each in transfer.pull(plain, scene.board)}
    assert {"table_points", "table_raw_1", "table_place_2"} <= changed
    assert plain.digest() == pushed.digest
    assert plain.scope(1) == scene.file.scope(1)
