"""The machine file: what is read, what is written back, and what stays as a person wrote it."""

from __future__ import annotations

import difflib
import re
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from rodbench.errors import SettingsError
from rodbench.settings.keys import all_keys, by_place, by_wire
from rodbench.settings.machine import MachineFile, new_text
from rodbench_protocol.schema import load_schema
from rodbench_protocol.settings import KEYS, check, defaults, digest_all

SMALLEST = 'machine_file = 1\n[rods.a]\nstroke_mm = 200\n[axes.1]\nrod = "a"\n'

# The page's own example, less the keys that later versions bring. All figures invented.
VENT = """\
machine_file = 1
name = "ridge vent"
show_units = "mm"

[board]
kind = "atmega328p-5v"
supply_nominal_v = 12.0
supply_divider_ratio = 5.71            # calibrate supply, meter 12.43 V
fuse_a = 5.0                           # checked against the trips

[rods.north]                           # belongs to the rod
feedback = "pot"
retracted_pin_to_pin_mm = 305.0
stroke_mm = 203.0
pot_retracted = 0.905425               # part of the reference; raw 7410 of 8184, spread 3
pot_extended = 0.074780                # raw 612: falls as the rod extends
end_retracted = "end-switch"           # evidence: 0.62 A -> 0.00 A
speed_extend_mm_s = 8.1                # at 12.4 V, free on the bench
stall_a = 6.2

# the driver of the north rod
[axes.1]                               # belongs to this driver and its sensor
rod = "north"
calibrated = true
stop_by = "brake"                      # "coast" withdraws the soft-stop promise
current_sensor = "one-sided"
current_sensor_v_per_a = 0.185

[axes.1.limits]                        # belongs to this machine
soft_stop_min = "0.12 in"
soft_stop_max_mm = 188.0               # glass touches the ridge at 193
trip_a = 2.9                           # running peak 1.9; stall estimated 6.2 +- 0.7
duty_share = "25 %"                    # 5 min on in any 20 min
duty_window = "1200 s"
"""


def machine(text: str = VENT) -> MachineFile:
    return MachineFile(text, Path("machine.toml"))


def changed_lines(before: str, after: str) -> list[str]:
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    return [line for line in lines if line[0] in "+-"]


def test_smallest_file_is_an_uncalibrated_axis() -> None:
    scope = machine(SMALLEST).scope(1)
    assert scope == {**defaults("axis"), "feedback": 1, "stroke_um": 200_000}
    assert scope["calibrated"] == 0
    assert machine(SMALLEST).scope(2) == defaults("axis")


def test_new_file_holds_and_has_no_axis() -> None:
    fresh = machine(new_text("ridge vent"))
    assert fresh.axes == []
    assert fresh.name == "ridge vent"
    assert fresh.digest() == digest_all(defaults("board"), defaults("axis"), defaults("axis"))


def test_what_a_new_file_suggests_holds_when_it_is_taken_up() -> None:
    text = new_text("ridge vent").replace("# [", "[")
    text = re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)
    file = machine(text)
    assert list(file.positions) == ["open", "closed"]
    assert file.host("closed_at_mm", ("linkage",)) == 3.0


def test_values_mean_what_the_page_says() -> None:
    scope = machine().scope(1)
    wanted = {
        "raw_retracted": 7410,
        "raw_extended": 612,
        "soft_stop_min_um": 3048,  # an inch is 25.4 mm exactly
        "soft_stop_max_um": 188_000,
        "trip_ma": 2900,
        "duty_share_permille": 250,
        "duty_window_s": 1200,
        "current_uv_per_ma": 185,
        "current_sensor": 1,
        "stop_by": 0,
        "calibrated": 1,
        "stall_ma": 6200,
    }
    assert {key: scope[key] for key in wanted} == wanted
    assert machine().scope(0)["supply_ratio_x1000"] == 5710


@pytest.mark.parametrize("place", [("rods", "pot_retracted"), ("rods", "pot_extended")])
def test_every_raw_survives_six_digits(place: tuple[str, str]) -> None:
    key = by_place()[place]
    for raw in range(8185):
        value = key.to_file(raw)
        assert len(f"{value}".partition(".")[2]) <= 6
        assert round(float(value) * 8184) == raw  # by plain arithmetic
        assert key.to_wire(value) == raw


def test_every_current_zero_survives_six_digits() -> None:
    key = by_place()["axes", "current_zero"]
    for raw in range(4093):
        assert key.to_wire(key.to_file(raw)) == raw == round(float(key.to_file(raw)) * 4092)


def test_every_wire_value_of_every_narrow_key_survives() -> None:
    for key in all_keys():
        if key.wire is None or key.high - key.low > 70_000:
            continue
        for wire in range(key.low, key.high + 1, 1 if key.high < 9000 else 7):
            assert key.to_wire(key.to_file(wire)) == wire, key.name


def scopes(kind: str) -> st.SearchStrategy[dict[str, int]]:
    """Any settings within their ranges that the file has places for."""
    keys = {}
    for key in KEYS[kind]:
        named = by_wire().get((kind, key.name)) is not None
        low, high = (key.setting.min, key.setting.max) if named else (key.setting.default,) * 2
        keys[key.name] = st.integers(low, high)
    return st.fixed_dictionaries(keys)


@given(board=scopes("board"), axis=scopes("axis"), other=scopes("axis"))
@settings(max_examples=150, deadline=None)
def test_pull_then_push_gives_the_same_digest(
    board: dict[str, int], axis: dict[str, int], other: dict[str, int]
) -> None:
    for values in (axis, other):
        values["calibrated"] = 0
        values["creep_output_permille"] = min(
            values["creep_output_permille"], values["output_max_permille"]
        )
        values["running_ma"] = min(values["running_ma"], values["trip_ma"] - 1)
        values["current_sensor"] = 0
        values["stall_ma"] = 0
        assume(not check("axis", values))
    if 2 in (axis["driver"], other["driver"]):  # two PWM inputs: axis 1 alone
        other |= {"driver": 0, "feedback": 0}
    board["board_5v_mv"] = max(board["board_5v_mv"], 4400)
    assume(not check("board", board))
    file = machine(new_text("any"))
    for scope, values in ((0, board), (1, axis), (2, other)):
        file.put(scope, values)
    again = machine(file.text)
    assert again.scopes() == {0: board, 1: axis, 2: other}
    assert again.digest() == digest_all(board, axis, other)


@given(scope=scopes("axis"), data=st.data())
@settings(max_examples=100, deadline=None)
def test_only_what_changed_is_rewritten(scope: dict[str, int], data: st.DataObject) -> None:
    file = machine()
    wire = data.draw(st.sampled_from(["stall_time_ms", "noise_x16", "trip_ms", "move_hold_ms"]))
    before = file.scope(1)
    file.put(1, {**before, wire: scope[wire]})
    lines = changed_lines(VENT, file.text)
    assert len(lines) == (0 if scope[wire] == before[wire] else 1)
    assert machine(file.text).scope(1) == {**before, wire: scope[wire]}


def test_comments_order_and_units_stay() -> None:
    file = machine()
    file.put(1, {"soft_stop_min_um": 5080, "trip_ma": 3100, "duty_window_s": 1800})
    assert changed_lines(VENT, file.text) == [
        '- soft_stop_min = "0.12 in"',
        '+ soft_stop_min = "0.2 in"',
        "- trip_a = 2.9                           # running peak 1.9; stall estimated 6.2 +- 0.7",
        "+ trip_a = 3.1                           # running peak 1.9; stall estimated 6.2 +- 0.7",
        '- duty_window = "1200 s"',
        '+ duty_window = "1800 s"',
    ]


def test_a_measured_note_is_replaced_and_a_persons_comment_is_not() -> None:
    file = machine()
    file.put(1, {"raw_extended": 613, "noise_x16": 40}, {"raw_extended": "a", "noise_x16": "b"})
    file.put(1, {"noise_x16": 41}, {"noise_x16": "c"})
    assert "pot_extended = 0.074902                # raw 612" in file.text
    assert "noise_raw = 2.56  # rodbench: c\n" in file.text
    assert "rodbench: b" not in file.text


def test_a_new_key_stands_with_its_own_table() -> None:
    file = machine()
    file.put(1, {"run_on_extend_um": 400})
    lines = file.text.splitlines()
    assert lines[lines.index("run_on_extend_mm = 0.4") - 1].startswith("stall_a")
    assert lines[lines.index("# the driver of the north rod") + 1].startswith("[axes.1]")


def test_a_second_axis_gets_a_rod_of_its_own() -> None:
    file = machine()
    file.put(2, {**defaults("axis"), "feedback": 1, "stroke_um": 90_000, "trip_ma": 1000})
    assert file.rod_of(2) == "rod2"
    assert file.scope(2)["stroke_um"] == 90_000
    assert file.scope(1) == machine().scope(1)


def test_a_put_that_would_not_hold_changes_nothing() -> None:
    file = machine()
    with pytest.raises(SettingsError, match="soft_stop_max_mm = 240"):
        file.put(1, {"soft_stop_max_um": 240_000})
    assert file.text == VENT
    assert file.scope(1)["soft_stop_max_um"] == 188_000


def test_host_keys_have_their_place() -> None:
    file = machine()
    file.put_host(("rods", "north"), "end_extended", "stall", "0.6 A to 1.2 A")
    file.put_host(("board",), "fuse_a", 4.0)
    assert file.host("end_extended", ("rods", "north")) == "stall"
    assert "fuse_a = 4.0                           # checked against the trips" in file.text


def test_what_the_file_does_not_say_is_no_figure_of_it() -> None:
    """A setting's default is the board's, in wire units: it is never taken for a measurement."""
    file = machine(SMALLEST)
    assert file.host("pot_extended", ("rods", "a")) is None
    assert file.host("stroke_mm", ("rods", "a")) == 200
    assert file.host("closed_at_mm", ("linkage",)) == 0.0


def test_save_keeps_what_somebody_else_wrote_meanwhile(tmp_path: Path) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(VENT)
    file = MachineFile.load(path)
    file.put(1, {"trip_ma": 2800})
    path.write_text(VENT + "# a thought\n")
    with pytest.raises(SettingsError, match="changed by somebody else"):
        file.save()
    assert path.read_text() == VENT + "# a thought\n"
    assert sorted(tmp_path.iterdir()) == [path]


def test_save_writes_the_text(tmp_path: Path) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(VENT)
    file = MachineFile.load(path)
    file.put(1, {"trip_ma": 2800})
    file.save()
    assert MachineFile.load(path).scope(1)["trip_ma"] == 2800
    assert sorted(tmp_path.iterdir()) == [path]


def test_every_setting_with_a_place_has_a_key() -> None:
    named = {
        (s.scope, s.name) for group in load_schema().settings.values() for s in group if s.file
    }
    assert named == set(by_wire())
    assert all(key.doc for key in all_keys())
