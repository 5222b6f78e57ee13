"""The judge notices what it is there for: each kind of falsehood, planted."""

import pytest
from rodbench.emulator.plant import Ends as RodEnds
from rodbench.emulator.plant import Motor, Mount, Plant, Rod
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.emulator.twin.core import Twin
from rodbench_protocol.names import AxisFlags

from . import judge
from .judge import Ends


def settings(plant: Plant, low_mm: float, high_mm: float, **changes: int) -> dict[str, int]:
    """Endpoints captured at two places, soft stops 3 mm inside."""
    stroke = round(1000 * (high_mm - low_mm))
    keys = {
        "calibrated": 1,
        "raw_retracted": round(plant.pot_raw_at(low_mm)),
        "raw_extended": round(plant.pot_raw_at(high_mm)),
        "stroke_um": stroke,
        "soft_stop_min_um": 3000,
        "soft_stop_max_um": stroke - 3000,
    }
    return {**keys, **changes}


def test_endpoints_are_where_the_pot_truly_was() -> None:
    plant = Plant(Rod(stroke_mm=200.0))
    ends = Ends.of(plant, settings(plant, 0.0, 200.0))
    assert ends.true_mm == pytest.approx((0.0, 200.0), abs=0.05)
    assert ends.soft_mm == pytest.approx((3.0, 197.0), abs=0.05)
    assert ends.error < 0.0003
    off = Ends.of(plant, settings(plant, 4.0, 200.0))
    assert off.error == pytest.approx(0.02, abs=0.0003)


def test_a_false_kind_and_a_kind_off_the_end_are_noticed() -> None:
    plant = Plant(Rod(stroke_mm=200.0, ends=RodEnds(kind="switch")))
    good = Ends.of(plant, settings(plant, 0.0, 200.0))
    right = {"rods.end_retracted": "end-switch", "rods.end_extended": "end-switch"}
    assert judge.false_ends(plant.rod, good, right) == ""
    assert judge.false_ends(plant.rod, good, {"rods.end_retracted": "unknown"}) == ""
    stall = {"rods.end_retracted": "stall"}
    assert "said to be stall" in judge.false_ends(plant.rod, good, stall)
    early = Ends.of(plant, settings(plant, 0.0, 190.0))
    assert "from the extended end" in judge.false_ends(plant.rod, early, right)


@pytest.mark.parametrize(("low", "high", "count"), [(52, 148, 0), (46, 148, 1), (52, 155, 1)])
def test_soft_stops_at_or_past_the_machine_are_noticed(low: float, high: float, count: int) -> None:
    """Captured 3 mm outside the stops: the machine ends at 50 and 150 mm."""
    plant = Plant(Rod(stroke_mm=200.0, mount=Mount(50.0, 150.0)))
    stored = settings(plant, low, high)
    found = judge.wrong_mounts(plant.rod, Ends.of(plant, stored), stored)
    assert len(found) == count


def test_a_wrong_distance_between_working_ends_is_an_error() -> None:
    plant = Plant(Rod(stroke_mm=200.0, mount=Mount(50.0, 150.0)))
    stored = settings(plant, 52.0, 148.0)
    assert Ends.of(plant, stored, working=True).error < 0.001
    stored["stroke_um"] = 80_000
    assert Ends.of(plant, stored, working=True).error == pytest.approx(0.2, abs=0.002)


def test_a_stroke_takes_its_length_over_its_speed() -> None:
    """A rod without friction from a stiff supply: v = V / Ke (references), 12 / 1.5 = 8 mm/s, less
    a time constant of 60 ms for the start; 200 mm take 25.06 s."""
    motor = Motor(1.2, 1.5, 60.0, 0.0, 0.0, 1.0, 0.0, reversed=True)
    rod = Rod(stroke_mm=200.0, motor=motor)
    machine = Machine(supply=Supply(volts=12.0, source_ohm=0.0), rods={2: rod})
    assert judge.stroke_time_s(machine, 2, 1, 1000) == pytest.approx(25.06, abs=0.01)
    assert judge.stroke_time_s(machine, 2, -1, 500) == pytest.approx(50.06, abs=0.01)
    keys = {"output_max_permille": 1000, "stroke_time_extend_cs": 2700}
    assert judge.wrong_times(machine, 2, keys | {"stroke_time_retract_cs": 2300}) == []
    late = judge.wrong_times(machine, 2, keys | {"stroke_time_retract_cs": 2790})
    assert len(late) == 1
    assert "said to take 27.90 s" in late[0]


@pytest.mark.parametrize("place", ["retracted", "extended", "between", None])
def test_the_place_that_the_board_tells(place: str | None) -> None:
    twin = Twin(bytearray(b"\xff" * 1024), None, 1, 7)
    flags = {
        "retracted": AxisFlags.NEAR_RETRACTED,
        "extended": AxisFlags.NEAR_EXTENDED,
        "between": AxisFlags.BETWEEN,
    }
    twin.axis[1].flags = int(flags.get(place or "", 0)) | AxisFlags.PROVEN
    assert judge.told_place(twin, 2) == place
