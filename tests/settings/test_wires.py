"""Wires, ratings and the pot's resistance in a machine file: values, mistakes, dangers."""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.bench.wire_known import of_machine
from rodbench.errors import SettingsError
from rodbench.settings.machine import MachineFile

FIRST = Path(__file__).parent / "first_release.toml"
VENT = """\
machine_file = 1
[board]
supply_nominal_v = 12.0
fuse_a = 5.0
supply_rated_a = 8.0
supply_wire_length = "6 ft"
motor_wire_mm2 = 1.5
wire_drop_max = "5 %"
ambient = "104 degF"
[rods.north]
stroke_mm = 203.0
pot = "10 kohm"
running_a = 1.4
rated_current_a = 1.5
[axes.1]
rod = "north"
driver_continuous_a = 5.0
driver_peak = "10 A"
motor_wire_length_m = 3.0
"""


def read(text: str) -> MachineFile:
    return MachineFile(text, Path("machine.toml"))


def test_the_figures_of_a_file() -> None:
    known = of_machine(read(VENT))
    assert (known.supply_v, known.supply_rated_a, known.fuse_a) == (12.0, 8.0, 5.0)
    assert known.supply_wire_m == pytest.approx(6 * 0.3048)
    assert known.wire is not None
    assert known.wire.name == "1.5 mm2"
    assert known.drop_max == pytest.approx(0.05)
    assert known.ambient_c == pytest.approx(40.0)
    (rod,) = known.rods
    assert (rod.driver_continuous_a, rod.driver_peak_a, rod.wire_m) == (5.0, 10.0, 3.0)
    assert (rod.pot_ohm, rod.running_a, rod.running_from) == (10_000.0, 1.5, "by the label")
    assert (rod.stall_a, rod.trip_a) == (None, 1.5), "unknown; and what the board has by default"


@pytest.mark.parametrize(
    ("written", "name"),
    [("motor_wire_awg = 16", "AWG 16"), ('motor_wire = "2.5 mm2"', "2.5 mm2")],
)
def test_other_ways_to_say_a_wire(written: str, name: str) -> None:
    wire = read(VENT.replace("motor_wire_mm2 = 1.5", written)).fitted_wire()
    assert wire is not None
    assert wire.name == name


def test_a_file_without_them_is_as_it_was() -> None:
    text = FIRST.read_text("utf-8")
    file = read(text)
    assert file.text == text
    known = of_machine(file)
    assert (known.wire, known.supply_wire_m, known.supply_rated_a) == (None, None, None)
    assert (known.drop_max, known.ambient_c) == (0.03, 30.0)
    assert not [remark for remark in file.remarks if "wire" in remark]


def test_they_do_not_reach_the_board() -> None:
    lines = [line for line in VENT.splitlines() if not any(
        word in line for word in ("wire", "ambient", "driver_", "pot =", "supply_rated")
    )]  # fmt: skip
    assert read("\n".join(lines)).digest() == read(VENT).digest()


CASES = [
    (
        "motor_wire_mm2 = 1.5",
        "motor_wire_mm2 = 1.6",
        "7: motor_wire_mm2 = 1.6: no size known here (IEC 60228): 0.5, 0.75, 1, 1.5, 2.5, 4, 6, "
        "10.",
    ),
    (
        "motor_wire_mm2 = 1.5",
        "motor_wire_awg = 17",
        "7: motor_wire_awg = 17: no size known here (gauges for motor current): 20, 18, 16, 14, "
        "12, 10, 8.",
    ),
    (
        "motor_wire_mm2 = 1.5",
        "motor_wire_mm2 = 1.5\nmotor_wire_awg = 16",
        "8: motor_wire_awg = 16: motor_wire_mm2 = 1.5 (line 7) says it already: keep one.",
    ),
    (
        'driver_peak = "10 A"',
        'driver_peak = "4 A"',
        '18: driver_peak = "4 A": below driver_continuous_a = 5.0 (line 17); changed over.',
    ),
    ("supply_rated_a = 8.0", "supply_rated_a = 0", "5: supply_rated_a = 0: this must be above 0."),
    ("motor_wire_mm2 = 1.5", "motor_wire_mm2 = 0", "7: motor_wire_mm2 = 0: this must be above 0."),
    ('pot = "10 kohm"', "pot_ohm = 0", "12: pot_ohm = 0: this must be above 0."),
    (
        'pot = "10 kohm"',
        "pot_kohm = 10",
        "12: rods.north has no key 'pot_kohm'. 10 kohm is pot_ohm = 10000.0, or pot = \"10 kohm\".",
    ),
    ('pot = "10 kohm"', 'pot = "10 V"', "12: pot = \"10 V\": 'V' cannot be turned into ohm."),
    (
        'wire_drop_max = "5 %"',
        "wire_drop_max = 5",
        "8: wire_drop_max = 5: this is a share of the supply, at most 0.5.",
    ),
    (
        "motor_wire_length_m = 3.0",
        "motor_wire_length_mm = 3000",
        "19: axes.1 has no key 'motor_wire_length_mm'. 3000 mm is motor_wire_length_m = 3.0, or "
        'motor_wire_length = "3000 mm".',
    ),
    (
        "motor_wire_length_m = 3.0",
        "motor_wire_length_m = -3",
        "19: motor_wire_length_m = -3: this must not be below 0.",
    ),
    (
        "driver_continuous_a = 5.0",
        "supply_rated_a = 5.0",
        "17: axes.1 has no key 'supply_rated_a'. It belongs to [board].",
    ),
]


@pytest.mark.parametrize(("old", "new", "said"), CASES, ids=[new for _, new, _ in CASES])
def test_mistakes_are_said_with_their_line(old: str, new: str, said: str) -> None:
    assert old in VENT
    with pytest.raises(SettingsError) as caught:
        read(VENT.replace(old, new, 1))
    assert caught.value.message == f"machine.toml:{said}"
    assert caught.value.kept == "Nothing was sent."


def test_all_mistakes_at_once() -> None:
    text = VENT.replace("motor_wire_mm2 = 1.5", "motor_wire_mm2 = 7").replace('"10 A"', '"1 A"')
    with pytest.raises(SettingsError) as caught:
        read(text)
    assert [line.split(":")[1] for line in caught.value.message.splitlines()] == ["7", "18"]


def test_a_wire_that_burns_first_is_a_remark() -> None:
    """Air of 40 deg C leaves 3 A x sqrt(30/40) = 2.6 A of what 0.5 mm2 carries."""
    remarks = read(VENT.replace("motor_wire_mm2 = 1.5", "motor_wire_mm2 = 0.5")).remarks
    assert remarks == [
        "machine.toml:4: fuse_a = 5.0: the wire (0.5 mm2) carries 2.6 A and burns before this fuse "
        "opens. `rodbench wire` chooses both."
    ]
    assert read(VENT).remarks == []
