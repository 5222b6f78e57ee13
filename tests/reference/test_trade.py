"""Facts of the trade: common practice, no source.

Two more of them are shown of the emulated rod in tests/emulator/test_physics.py: reversing the
leads reverses the rod, and a switch with a diode lets the rod leave the end that it sits on.
"""

from __future__ import annotations

import numpy as np
import pytest
from rodbench.emulator.load import Load
from rodbench.emulator.plant import TICK_S, Ends, Motor, Plant, Rod, Screw
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import DRIVE, OFF
from rodbench.emulator.wiper import Pot
from rodbench.science.candidate import Assumed, Sheet, columns
from rodbench.science.loads import Carried, Slope, straight
from rodbench.science.sizing import Demand, Sized, size, speed
from rodbench.settings.quantity import convert


def sized(way_mm: float, duty: Demand, *sheets: Sheet, load_n: float = 10.0) -> Sized:
    travel = straight(Carried(friction_n=load_n), Slope(way_mm, 0.0))
    return size(travel, duty, sheets, Assumed())


def geared(ratio: float) -> Sheet:
    """One motor behind a gear: measured on an emulated rod, whose force and speed go with it."""
    motor = Motor(resistance_ohm=1.2, constant_v_s_per_mm=1.5 * ratio, friction_extend_a=0.5,
                  drag_a_s_per_mm=0.0, heat_j_per_k=1e6)  # fmt: skip
    amps = 3.0  # the rating of the motor, whatever its gear
    force = (amps - 0.5) * motor.constant_v_s_per_mm * 1000.0
    mm_s = {}
    for load in (0.0, force):
        plant = Plant(
            Rod(motor=motor, screw=Screw(1.0, 1.0), stroke_mm=2000.0, load=Load(force_n=load))
        )
        for _ in range(round(2.0 / TICK_S)):
            plant.step(12.0, DRIVE)
        mm_s[load] = plant.speed_mm_s
        assert plant.current_a == pytest.approx(amps if load else 0.5, rel=1e-2)
    return Sheet(f"{ratio:g}", 1000.0, force, 12.0, speed_free_mm_s=mm_s[0.0],
                 speed_rated_mm_s=mm_s[force], amps_free=0.5, amps_rated=amps)  # fmt: skip


def test_same_motor_three_gears_force_times_speed_about_constant() -> None:
    sheets = [geared(ratio) for ratio in (1.0, 2.5, 5.0)]
    found = sized(500.0, Demand(600.0, 600.0, 1.0, 12.0), *sheets)
    assert found.power_w == pytest.approx([found.power_w[0]] * 3, rel=0.01)
    assert found.power_w[0] > 10.0
    forces = [sheet.force_n for sheet in sheets]
    assert forces == sorted(forces)
    assert np.all(np.diff(found.extend_s) > 0.0)  # the stronger is the slower


@pytest.mark.parametrize(("rated", "supply"), [(12.0, 12.0), (24.0, 12.0), (12.0, 24.0)])
@pytest.mark.parametrize("amps_free", [None, 0.5])
def test_speed_in_proportion_to_voltage(
    rated: float, supply: float, amps_free: float | None
) -> None:
    """Without load. A sheet that tells the current shows what friction takes from the rule."""
    sheet = Sheet("any", 200.0, 500.0, rated, speed_free_mm_s=20.0, speed_rated_mm_s=14.0,
                  amps_free=amps_free, amps_rated=3.0)  # fmt: skip
    free = speed(columns([sheet], Assumed()), np.array([0.0]), supply)[0, 0]
    within = 1e-9 if amps_free is None else 0.06
    assert free == pytest.approx(20.0 * supply / rated, rel=within)


def test_twelve_inches_at_an_inch_an_hour_take_twelve_hours() -> None:
    mm_s = convert("1 in/h", "mm/s")
    slow = Sheet("slow", convert("12 in", "mm"), 1000.0, 12.0,
                 speed_free_mm_s=mm_s, speed_rated_mm_s=mm_s)  # fmt: skip
    found = sized(convert("12 in", "mm"), Demand(86400.0, 86400.0, 0.01, 12.0), slow)
    assert found.extend_s[0] / 3600.0 == pytest.approx(12.0, rel=1e-6)


def test_a_quarter_duty_means_fifteen_minutes_an_hour() -> None:
    """Ways of 90 s each, five cycles: 15 minutes an hour are just what 25 % allows."""
    sheet = Sheet("any", 1000.0, 1000.0, 12.0, duty=0.25, window_s=1200.0, speed_free_mm_s=10.0,
                  speed_rated_mm_s=10.0)  # fmt: skip
    way = 10.0 * 90.0 - 5.0  # and half a second of ramps: v / 20
    found = sized(way, Demand(100.0, 100.0, 5.0, 12.0), sheet)
    spent = 5.0 * (found.extend_s[0] + found.retract_s[0])
    assert spent == pytest.approx(15.0 * 60.0)
    duty = next(check for check in found.checks if check.name == "duty")
    assert duty.margin[0] == pytest.approx(1.0)


def test_a_pot_of_ten_kilohm_reads_near_0_at_one_end_and_near_full_at_the_other() -> None:
    """Of an emulated rod at its two ends; the track begins and ends a little inside the stroke."""
    raw = {}
    for place in (0.0, 200.0):
        pot = Pot(retracted=0.02, extended=0.98, resistance_ohm=10_000.0)
        rod = Rod(pot=pot, ends=Ends(kind="hard"), stroke_mm=200.0, start_mm=place)
        rig = Rig(Machine(rods={1: rod}))
        raw[place] = rig.step([0, 0], [OFF, OFF]).pot[0] / (8 * 1023)
    assert raw[0.0] < 0.05
    assert raw[200.0] > 0.95
