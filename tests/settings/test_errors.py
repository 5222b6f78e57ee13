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
        '32: trip_a = "2.9 A": this is a number in A. Write trip_a = 2.9, or trip = "2.9 A".',
    ),
    (
        "trip_a = 2.9 ",
        'trip_a = "3,1 A" ',
        '32: trip_a = "3,1 A": this is a number in A. Write trip_a = 3.1, or trip = "3.1 A".',
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
        "[gang]\naxes = [1, 3]\napart_trip_mm = 6\n[board]",
        "6: axes = [1, 3]: a gang is of the two axes. Write axes = [1, 2].",
    ),
    (
        "[board]",
        "[gang]\naxes = [1, 2]\n[board]",
        "5: [gang] has no apart_trip_mm: how far apart may the two come before both stop?",
    ),
    (
        "[board]",
        "[gang]\napart_trip_mm = 6\n[board]",
        "5: [gang] names no axes: write axes = [1, 2].",
    ),
    (
        'feedback = "pot"',
        'feedback = "none"\n[gang]\naxes = [1, 2]\napart_trip_mm = 6\n[rods.south]',
        '13: [gang]: rod "north" (line 27) has no pot (feedback = "none", line 12): its position '
        "is not known, so no gang.",
    ),
    (
        "[board]",
        "[linkage]\nhinge_to_frame_pin_mm = 420\n[board]",
        "5: [linkage] has no hinge_to_vent_pin_mm: measure it from the hinge to the pin.",
    ),
    (
        "[board]",
        "[linkage]\nhinge_to_frame_pin_mm = 420\nhinge_to_vent_pin = \"0 in\"\n[board]",
        '7: hinge_to_vent_pin = "0 in": this must be above 0.',
    ),
    (
        "[board]",
        "[linkage]\nhinge_to_frame_pin_mm = 420\nhinge_to_vent_pin_mm = 390\n"
        'opens_by = "retracting"\n[board]',
        '8: opens_by = "retracting": then closed_at_mm must say where 0 deg is.',
    ),
    (
        "[axes.1.limits]",
        "[linkage]\nhinge_to_frame_pin_mm = 420\nhinge_to_vent_pin_mm = 390\n[axes.1.linkage]\n"
        "hinge_to_frame_pin_mm = 420\nhinge_to_vent_pin_mm = 390\n[axes.1.limits]",
        "29: [linkage] stands beside [axes.1.linkage]: give each axis its own.",
    ),
    ("[board]", "[linkages]\n[board]", "5: there is no table [linkages]. Did you mean [linkage]?"),
    (
        "[board]",
        "[positions]\nopen = 30\n[board]",
        '6: open = 30: mm, deg or %? Write open = "30 mm", for example.',
    ),
    (
        "[board]",
        '[positions]\nopen = "30 kg"\n[board]',
        "6: open = \"30 kg\": 'kg' is no length, nor deg, nor %. "
        'Write open = "30 mm", "1.2 in", "30 deg" or "50 %".',
    ),
    (
        "[board]",
        '[positions]\nopen = "3,5 mm"\n[board]',
        '6: open = "3,5 mm": a decimal comma: write a point. '
        'Write open = "30 mm", "1.2 in", "30 deg" or "50 %".',
    ),
    (
        "[board]",
        '[positions]\n"3 mm" = "5 mm"\n[board]',
        '6: 3 mm = "5 mm": a name of a position begins with a letter; letters, digits, spaces, '
        "- and _ may follow.",
    ),
    (
        "soft_stop_max_mm = 188.0",
        'soft_stop_max_mm = 188.0\nworking_end_max = "7 in"',
        '31: soft_stop_max_mm = 188.0 lies outside the working end at 7 in (line 32), where the '
        "machine ends the rod's way.",
    ),
    (
        'soft_stop_min = "0.12 in"',
        "working_end_min_mm = 6",
        "30: soft_stop_min_mm = 5 (left out) lies outside the working end at 6 mm (line 30), where "
        "the machine ends the rod's way.",
    ),
    (
        'soft_stop_min = "0.12 in"',
        "working_end_max_mm = 203.5",
        "30: working_end_max_mm = 203.5 lies beyond the rod's own end: its stroke is 203 mm.",
    ),
    (
        'soft_stop_min = "0.12 in"',
        "working_end_min_mm = 195\nworking_end_max_mm = 190",
        "30: soft_stop_min_mm = 5 (left out) lies outside the working end at 195 mm (line 30), "
        "where the machine ends the rod's way.\n"
        "machine.toml:31: working_end_max_mm = 190: the working ends need min below max.",
    ),
    (
        "calibrated = true",
        'calibrated = true\nlearned_with = "south"',
        '24: calibrated = true: which way is out was learned on this axis with rod "south" (line '
        '25), and now it has rod "north" (line 23).',
    ),
    (
        'stop_by = "brake" ',
        'driver = "relays" ',
        '25: driver = "relays": relays only switch fully on and off: no creep and no ramps, and '
        "their contacts weld. Use an H-bridge that takes PWM.",
    ),
    (
        '[board]\nkind = "atmega328p-5v"',
        '[rods.s]\nstroke_mm = 9\n[axes.2]\nrod = "s"\n[board]\nkind = "posix-3v3"',
        "7: axes.2: a board of kind = \"posix-3v3\" has axis 1 alone.",
    ),
    (
        "[axes.1]",
        '[rods.south]\nstroke_mm = 90\n[axes.2]\nrod = "south"\n[axes.1]\n'
        'driver = "two-pwm-inputs"',
        "27: driver = \"two-pwm-inputs\": two PWM inputs take both PWM pins of the board: axis 1 "
        "alone, with no rod on axis 2.",
    ),
    (
        "[board]",
        "[board]\nsupply_low_v = 12.0",
        "6: supply_low_v: the low supply limit lies at or above the nominal supply: it would stop "
        "in normal work.",
    ),
    (
        'feedback = "pot"',
        'feedback = "pots"',
        '12: feedback = "pots" is not known. Did you mean "pot"?',
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
