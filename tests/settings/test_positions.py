"""Positions with a name, degrees through the linkage, and what a file says that holds."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from rodbench.errors import SettingsError
from rodbench.science.linkage import Linkage
from rodbench.settings import transfer
from rodbench.settings.limits import wrong_limits
from rodbench.settings.machine import MachineFile
from rodbench.settings.positions import Measure, Way, read_place
from rodbench.settings.quantity import QuantityError
from rodbench_protocol.schema import load_schema

from tests.settings.test_machine_file import VENT
from tests.settings.test_transfer import Scene, scene

__all__ = ["scene"]

KEY = {setting.name: setting for setting in load_schema().settings["axis"]}

LINKAGE = """
[linkage]
hinge_to_frame_pin_mm = 420
hinge_to_vent_pin_mm = 390
"""
POSITIONS = """
[positions]
closed = "3.5 mm"
open = "30 deg"                        # where the glass clears the gutter
"half way" = "50 %"
"""
SOUTH = """
[rods.south]
stroke_mm = 203.0
[axes.2]
rod = "south"
"""
GANG = """
[gang]
axes = [1, 2]
apart_trip_mm = 6.0
"""


def machine(text: str) -> MachineFile:
    return MachineFile(text, Path("machine.toml"))


def angle_by_hand(position_mm: float) -> float:
    """Hinge 420 and 390 mm from its pins, 305 mm from pin to pin retracted: law of cosines."""

    def hinge(rod: float) -> float:
        return math.degrees(math.acos((420**2 + 390**2 - rod**2) / (2 * 420 * 390)))

    return hinge(305 + position_mm) - hinge(305)


def test_names_and_degrees_become_places_on_the_rod() -> None:
    file = machine(VENT + LINKAGE + POSITIONS)
    assert list(file.positions) == ["closed", "open", "half way"]
    way = file.way_of(1)
    places = {name: way.mm(named.place) for name, named in file.positions.items()}
    assert places["closed"] == 3.5
    assert places["half way"] == pytest.approx((3.048 + 188.0) / 2)
    assert angle_by_hand(places["open"]) == pytest.approx(30.0, abs=1e-9)
    assert file.remarks == []


def test_the_settings_in_force_decide_where_the_way_ends() -> None:
    file = machine(VENT + LINKAGE)
    live = {**file.scope(1), "soft_stop_max_um": 100_000}
    assert file.way_of(1, live).high_mm == 100.0
    least, most = (float(part) for part in file.way_of(1, live).reach().split()[::2][:2])
    assert angle_by_hand(3.048) <= least <= angle_by_hand(3.048) + 0.1
    assert angle_by_hand(100.0) - 0.1 <= most <= angle_by_hand(100.0)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("31 deg", "out of reach: between the soft stops there are 0.5 to 30.8 deg"),
        ("-5 deg", "out of reach: between the soft stops there are 0.5 to 30.8 deg"),
        ("300 deg", "out of reach: between the soft stops there are 0.5 to 30.8 deg"),
        ("101 %", "0 to 100 % is the way between the soft stops"),
    ],
)
def test_places_out_of_reach(text: str, why: str) -> None:
    with pytest.raises(ValueError, match="^" + why + "$"):
        machine(VENT + LINKAGE).way_of(1).mm(read_place(text))


def test_degrees_need_a_linkage() -> None:
    with pytest.raises(ValueError, match="degrees need a"):
        machine(VENT).way_of(1).mm(read_place("20 deg"))


@pytest.mark.parametrize(
    ("text", "measure", "value"),
    [
        ("1.2 in", Measure.MM, 30.48),
        ("3mm", Measure.MM, 3.0),
        ("30 deg", Measure.DEG, 30.0),
        ("30°", Measure.DEG, 30.0),
        ("1 degree", Measure.DEG, 1.0),
        ("50 %", Measure.SHARE, 0.5),
    ],
)
def test_places_are_read(text: str, measure: Measure, value: float) -> None:
    place = read_place(text)
    assert place.measure is measure
    assert place.value == pytest.approx(value)


@pytest.mark.parametrize("text", ["open", "5", "3 kg", "3,5 mm", "", "2 rad s", "5 mm/s"])
def test_no_places(text: str) -> None:
    with pytest.raises(QuantityError):
        read_place(text)


sizes = st.floats(50.0, 1500.0)


@given(frame=sizes, vent=sizes, shares=st.tuples(*[st.floats(0.02, 0.98)] * 3))
def test_every_angle_within_reach_comes_back(
    frame: float, vent: float, shares: tuple[float, float, float]
) -> None:
    # A triangle's third side lies between the difference and the sum of the others.
    least_side, span = abs(frame - vent), frame + vent - abs(frame - vent)
    retracted, first, last = (least_side + share * span for share in sorted(shares))
    low, room = first - retracted, last - first
    assume(room > 1.0)
    linkage = Linkage(frame, vent, retracted)
    way = Way(low, low + room, linkage)
    least, most = (float(part) for part in way.reach().split()[::2][:2])
    for angle in (least, (least + most) / 2, most):
        if least <= most:
            assert way.holds(way.mm(read_place(f"{angle:.6f} deg")))
    with pytest.raises(ValueError, match="out of reach"):
        way.mm(read_place(f"{most + 0.2:.1f} deg"))


def remark(text: str) -> str:
    (only,) = machine(text).remarks
    return only


def test_a_position_that_no_axis_can_go_to_is_named_with_its_line() -> None:
    text = VENT + LINKAGE + POSITIONS.replace("30 deg", "35 deg").replace("3.5 mm", "2 mm")
    assert machine(text).remarks == [
        'machine.toml:41: closed = "2 mm": outside the soft stops of axis 1, 3.0 .. 188.0 mm.',
        'machine.toml:42: open = "35 deg": axis 1: out of reach: between the soft stops there '
        "are 0.5 to 30.8 deg.",
    ]


def test_a_linkage_says_what_it_lacks() -> None:
    short = LINKAGE.replace("390", "90")
    assert remark(VENT + short) == (
        "machine.toml:36: [linkage]: at 0.0 mm the pins make no triangle, only within 25.0 .. "
        "205.0 mm: measure hinge and pins again."
    )
    assert "degrees need retracted_pin_to_pin_mm in [rods.north]" in remark(
        VENT.replace("retracted_pin_to_pin_mm = 305.0\n", "") + LINKAGE
    )
    assert "[linkage] does not say whose it is" in remark(VENT + SOUTH + LINKAGE)


def test_each_axis_may_have_a_linkage_of_its_own_and_a_gang_shares_one() -> None:
    own = VENT + SOUTH + LINKAGE.replace("[linkage]", "[axes.1.linkage]")
    assert machine(own).remarks == []
    assert machine(own).way_of(2).linkage is None
    pins = SOUTH.replace("stroke", "retracted_pin_to_pin_mm = 305\nstroke")
    both = machine(VENT + pins + LINKAGE + GANG)
    assert both.way_of(2).linkage == both.way_of(1).linkage == Linkage(420, 390, 305)


BOTH = SOUTH.replace("stroke_mm", "pot_retracted = 0.1\npot_extended = 0.9\nstroke_mm") + (
    "calibrated = true\n[axes.2.limits]\nsoft_stop_min_mm = 3.0\nsoft_stop_max_mm = 188.0\n"
)


def test_a_gang_goes_to_the_board_as_a_distance() -> None:
    assert machine(VENT + BOTH + GANG).remarks == []
    assert machine(VENT + BOTH + GANG).scope(0)["apart_trip_um"] == 6000
    assert machine(VENT + BOTH).scope(0)["apart_trip_um"] == 0


def test_a_gang_that_cannot_move_or_never_trips_is_remarked() -> None:
    assert remark(VENT + SOUTH + GANG) == (
        "machine.toml:41: [gang]: axis 2 is not calibrated, and a gang moves with two that are: "
        "commission each first."
    )
    short = VENT + SOUTH.replace("203.0", "50.0") + GANG.replace("6.0", "50.0")
    assert len(machine(short).remarks) == 2
    narrow = VENT + BOTH.replace("188.0", "150.0") + GANG
    assert "1.5 .. 92.6 % of axis 1's stroke and 1.5 .. 73.9 % of axis 2's" in remark(narrow)
    assert "both go only where both may, 1.5 .. 73.9 %." in remark(narrow)


def test_advice_about_trips_and_supplies() -> None:
    blind = VENT.replace('current_sensor = "one-sided"', 'current_sensor = "none"')
    assert remark(blind) == (
        "machine.toml:32: trip_a = 2.9: axis 1 has no current sensor, so this never trips."
    )
    doubled = VENT.replace("supply_nominal_v = 12.0", "supply_nominal_v = 24.0")
    rated = doubled.replace("stall_a", "rated_supply_v = 12.0\nstall_a")
    assert remark(rated) == (
        'machine.toml:19: rated_supply_v = 12.0: rod "north" can get 24 V on axis 1. '
        "output_max = 0.50 holds it to its rating."
    )
    assert machine(rated.replace("stop_by", "output_max = 0.5\nstop_by")).remarks == []


def test_remarks_in_inches() -> None:
    text = VENT.replace('show_units = "mm"', 'show_units = "in"') + POSITIONS.replace("3.5", "2")
    text = text.replace("30 deg", "3 in")
    assert "axis 1, 0.120 .. 7.402 in." in remark(text)


FULL = VENT + SOUTH + LINKAGE + GANG + POSITIONS


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_any_file_to_the_wire_and_back_keeps_its_text(data: st.DataObject) -> None:
    """What means the same already is left as it was written, whatever else stands in the file."""
    file = machine(FULL)
    for axis in (1, 2):
        wires = ("trip_ms", "noise_x16", "move_hold_ms", "stall_time_ms", "duty_share_permille")
        some = data.draw(st.lists(st.sampled_from(wires), unique=True))
        file.put(axis, {w: data.draw(st.integers(KEY[w].min, KEY[w].max)) for w in some})
    again = machine(file.text)
    for scope in (0, 1, 2):
        again.put(scope, file.scope(scope))
    assert again.text == file.text
    assert file.text.endswith(FULL[FULL.index("\n[linkage]") :])


def test_push_and_pull_agree_with_every_table_there(scene: Scene) -> None:
    file = machine(FULL)
    done = transfer.push(file, scene.board)
    text = file.text
    assert transfer.pull(file, scene.board) == []
    assert file.text == text
    assert done.digest == file.digest() == scene.board.digests()["live"]


def test_the_new_tables_stay_as_written_when_values_change() -> None:
    text = VENT + SOUTH + LINKAGE + GANG + POSITIONS
    file = machine(text)
    file.put(1, {"trip_ma": 3000, "soft_stop_max_um": 187_000})
    file.put(2, {"trip_ma": 1000})
    tail = text[text.index("\n[linkage]") :]
    assert file.text.endswith(tail)


def test_limits_are_judged_before_they_are_sent() -> None:
    file = machine(VENT)
    values = file.scope(1)
    assert wrong_limits(values, fuse_a=5.0, working_ends_mm=(2.0, 190.0)) == []
    found = wrong_limits(
        {**values, "trip_ma": 7500, "soft_stop_max_um": 240_000}, fuse_a=5.0,
        working_ends_mm=(None, 190.0),
    )  # fmt: skip
    assert found == [
        "soft_stop_max_mm: the upper soft stop lies beyond the stroke.",
        "trip_a = 7.5 is above fuse_a = 5.0 and above the estimated stall of 6.2 A: it would never "
        "trip.",
        "soft_stop_max_mm = 240 lies outside the working end at 190 mm, where the machine ends the "
        "rod's way.",
    ]
    with pytest.raises(SettingsError):
        file.put(1, {"trip_ma": 7500})
