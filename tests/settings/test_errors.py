"""What a person reads when a machine file is wrong: file, line, what is wrong, a way out."""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.errors import SettingsError
from rodbench.settings.machine import MachineFile

from tests.settings.test_machine_file import VENT


def error_of(old: str, new: str) -> SettingsError:
    assert old in VENT
    with pytest.raises(SettingsError) as caught:
        MachineFile(VENT.replace(old, new, 1), Path("machine.toml"))
    return caught.value


CASES = [
    (
        "trip_a = 2.9 ",
        "trip_a = 2,9 ",
        "32: trip_a = 2,9 is not TOML: a decimal comma. Write 2.9.",
    ),
    (
        "soft_stop_max_mm = 188.0",
        "soft_stop_max_in = 7.4",
        "31: axes.1.limits has no key 'soft_stop_max_in'. "
        '7.4 in is soft_stop_max_mm = 187.96, or soft_stop_max = "7.4 in".',
    ),
    (
        "trip_a = 2.9 ",
        "trip_a = 7.5 ",
        "32: trip_a = 7.5 is above fuse_a = 5.0 (line 9) and above the estimated stall of 6.2 A: "
        "it would never trip.",
    ),
    (
        "trip_a = 2.9 ",
        "trip_a = 75 ",
        "32: trip_a = 75 is above 30 A, the most that the board takes.",
    ),
    (
        "trip_a = 2.9 ",
        "trip_a = 0.01 ",
        "32: trip_a = 0.01 is below 0.05 A, the least that the board takes.",
    ),
    (
        "trip_a = 2.9 ",
        "trip = 2.9 ",
        '32: trip = 2.9 has no unit. Write trip_a = 2.9, or trip = "2.9 A".',
    ),
    (
        "trip_a = 2.9 ",
        'trip_a = "2.9 A" ',
        '32: trip_a = "2.9 A": this is a number in A. Write trip = "2.9 A".',
    ),
    ("trip_a = 2.9 ", 'trip = "2.9 V" ', "32: trip = \"2.9 V\": 'V' cannot be turned into A."),
    ("trip_a = 2.9 ", 'trip = "2,9 A" ', '32: trip = "2,9 A": a decimal comma: write a point.'),
    ("trip_a = 2.9 ", "trip_a = true ", "32: trip_a = true: this is a number in A."),
    ("trip_a = 2.9 ", "trip_a = nan ", "32: trip_a = nan: this is no number to work with."),
    ("trip_a = 2.9 ", "trip_a = inf ", "32: trip_a = inf: this is no number to work with."),
    ("trip_a = 2.9 ", "trip_a = ", "32: trip_a has no value."),
    (
        "trip_a = 2.9 ",
        'trip = "2 A"\ntrip_a = 2.9 ',
        "33: trip_a and trip (line 32) say the same thing: keep one.",
    ),
    (
        "trip_a = 2.9 ",
        "trip_a = 2\ntrip_a = 2.9 ",
        "33: 'trip_a' stands here a second time (line 32): keep one.",
    ),
    (
        "trip_a = 2.9 ",
        "trip_ma = 2900 ",
        "32: axes.1.limits has no key 'trip_ma'. "
        '2900 mA is trip_a = 2.9, or trip = "2900 mA".',
    ),
    (
        "trip_a = 2.9 ",
        "tripp_a = 2.9 ",
        "32: axes.1.limits has no key 'tripp_a'. Did you mean 'trip_a' or 'trip_ms'?",
    ),
    (
        "trip_a = 2.9 ",
        "stroke_mm = 2.9 ",
        "32: axes.1.limits has no key 'stroke_mm'. It belongs to [rods.NAME].",
    ),
    (
        "soft_stop_max_mm = 188.0",
        "soft_stop_max_mm = 240",
        "31: soft_stop_max_mm = 240: the upper soft stop lies beyond the stroke "
        "(stroke_mm = 203.0, line 14).",
    ),
    (
        'rod = "north"',
        'rod = "nort"',
        '23: rod = "nort": there is no [rods.nort]. Rods in this file: north.',
    ),
    (
        'rod = "north"',
        "",
        '22: axes.1 names no rod: write rod = "NAME" with [rods.NAME].',
    ),
    (
        "[axes.1]",
        '[axes.2]\nrod = "north"\n[axes.1]',
        '25: rod = "north": this rod is on axis 2 already.',
    ),
    ("[axes.1]", '[axes.3]\nrod = "north"\n[axes.1]', "22: axes.3: the board has axes 1 and 2."),
    ('"brake" ', '"brakes" ', '25: stop_by = "brakes" is not known. Did you mean "brake"?'),
    (
        "calibrated = true",
        "calibrated = 1",
        "24: calibrated = 1: this is true or false, without quotes.",
    ),
    ('name = "ridge vent"', "name = 5", "2: name = 5: this is a text in quotes."),
    (
        "[board]",
        "[boards]",
        "5: there is no table [boards]. Did you mean [board]?",
    ),
    (
        "machine_file = 1",
        "machine_file = 2",
        "1: machine_file = 2: this rodbench reads version 1 only.",
    ),
    (
        "machine_file = 1\n",
        "",
        "1: 'machine_file = 1' is missing: the first line says which version this is.",
    ),
    (
        "[board]",
        "[gang]\naxes = [1, 2]\n[board]",
        "5: [gang] is not known in this version. Leave it out for now.",
    ),
    (
        "[board]",
        "[linkage]\n[board]",
        "5: [linkage] is not known in this version. Leave it out for now.",
    ),
    (
        "[board]",
        '[positions]\nopen = "30 deg"\n[board]',
        "5: [positions] is not known in this version. Leave it out for now.",
    ),
    (
        "[board]",
        "[board]\nsupply_low_v = 10.5",
        "6: 'supply_low_v' is not known in this version. Leave it out for now.",
    ),
    (
        'feedback = "pot"',
        'feedback = "none"',
        '12: feedback = "none" is not known in this version. It can be "not-fitted" or "pot".',
    ),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "text"), CASES, ids=[c[1].strip()[:40] for c in CASES])
def test_the_error_reads(old: str, new: str, text: str) -> None:
    error = error_of(old, new)
    assert str(error) == f"machine.toml:{text}"
    assert error.kept == "Nothing was sent."
    assert error.exit_code == 7


def test_a_trip_error_names_the_way_out() -> None:
    assert error_of("trip_a = 2.9 ", "trip_a = 7.5 ").hint == (
        "`rodbench propose 1` gives a trip and says why."
    )


def test_all_findings_come_at_once_in_the_order_of_the_lines() -> None:
    text = VENT.replace("trip_a = 2.9 ", "trip_a = 75 ").replace("fuse_a = 5.0", "fuse_a = -5.0")
    with pytest.raises(SettingsError) as caught:
        MachineFile(text, Path("machine.toml"))
    lines = str(caught.value).splitlines()
    assert [line.split(":")[1] for line in lines] == ["9", "32"]
    assert lines[0] == "machine.toml:9: fuse_a = -5.0: this must not be below 0."


NO_FILES = ["\x00", "= 3", "[", "[[rods]]\n", 'a = "', "rods = 3", "axes = []"]


@pytest.mark.parametrize("text", NO_FILES)
def test_no_text_gets_past_as_a_traceback(text: str) -> None:
    with pytest.raises(SettingsError):
        MachineFile("machine_file = 1\n" + text, Path("machine.toml"))


@pytest.mark.parametrize(
    ("name", "make", "text"),
    [
        ("missing.toml", None, "there is no such machine file"),
        ("folder", "folder", "this is a folder"),
        ("latin.toml", b"name = \xe4", "this is not UTF-8 text"),
    ],
)
def test_files_that_cannot_be_read(tmp_path: Path, name: str, make: object, text: str) -> None:
    path = tmp_path / name
    if make == "folder":
        path.mkdir()
    elif isinstance(make, bytes):
        path.write_bytes(make)
    with pytest.raises(SettingsError, match=text):
        MachineFile.load(path)
