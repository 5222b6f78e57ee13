"""Sizing worked by hand: a vertical lift, a slope, a hinged vent; and the motor behind a sheet.

Statics and uniform acceleration (any text); a brushed motor has V = I R + K v and a force in
proportion to its current (any machines textbook). g 9.80665 m/s². All figures are own examples.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.emulator.load import Load
from rodbench.emulator.plant import TICK_S, Motor, Plant, Rod, Screw
from rodbench.emulator.signals import DRIVE
from rodbench.science.candidate import Assumed, Sheet, columns
from rodbench.science.hinge import Flap, turned
from rodbench.science.loads import Carried, Slope, Travel, straight
from rodbench.science.sizing import Check, Demand, Sized, current, size, speed, stall_force
from scipy.integrate import quad

EVEN = Sheet(
    "even", stroke_mm=320.0, force_n=400.0, volts=12.0, retracted_mm=430.0, static_n=800.0,
    speed_free_mm_s=20.0, speed_rated_mm_s=12.0, amps_free=1.0, amps_rated=4.0, duty=0.25,
    window_s=1200.0, rod_mm=10.0,
)  # fmt: skip
HOUR = Demand(extend_s=30.0, retract_s=20.0, cycles_per_hour=6.0, volts=12.0)


def sheet(**changes: Any) -> Sheet:
    return replace(EVEN, **changes)


def sized(travel: Travel, *sheets: Sheet, duty: Demand = HOUR, **assumed: float) -> Sized:
    return size(travel, duty, sheets or (EVEN,), Assumed(**assumed))


def check(found: Sized, name: str) -> Check:
    return next(each for each in found.checks if each.name == name)


def test_a_vertical_lift() -> None:
    """20 kg up 300 mm in guides with 10 N of friction.

    Weight 20 x 9.80665 = 196.133 N; up 206.133 N, down 10 - 196.133 = -186.133 N: the load
    drives. Speed up 20 - 8 x 206.133 / 400 = 15.87734 mm/s, down 20 mm/s. With ramps of 20 mm/s²
    at both ends a way takes D / v + v / 20: up 18.89485 + 0.79387 = 19.68872 s, down 15 + 1 =
    16 s. Demand 6 x 35.68872 / 3600 = 5.94812 %. Current up 1 + 3 x 206.133 / 400 = 2.5459975 A,
    down 1 A; energy 12 V x (2.5459975 x 18.89485 + 1 x 15) s / 3600 = 0.2103542 Wh.
    Force 400 / 206.133 = 1.940495; static 800 / 196.133 = 4.078865; time 30 / 19.68872.
    Pinned at both ends, 10 mm thick, at 430 + 300 = 730 mm: pi² x 200 000 x 490.8739 / 730² =
    1818.25 N; over 206.133 N that is 8.82077.
    """
    travel = straight(Carried(mass_kg=20.0, friction_n=10.0), Slope(300.0, 90.0))
    found = sized(travel)
    assert travel.extend_n.max() == pytest.approx(206.133)
    assert travel.retract_n.max() == pytest.approx(-186.133)
    assert [way.max() for way in travel.aiding_n] == pytest.approx([0.0, 196.133])
    assert found.extend_s[0] == pytest.approx(19.68872, abs=1e-5)
    assert found.retract_s[0] == pytest.approx(16.0)
    assert found.duty[0] == pytest.approx(0.0594812, abs=1e-7)
    assert found.peak_a[0] == pytest.approx(2.5459975)
    assert found.energy_wh[0] == pytest.approx(0.2103542, abs=1e-7)
    assert check(found, "force").margin[0] == pytest.approx(1.940495, abs=1e-6)
    assert check(found, "static").margin[0] == pytest.approx(4.078865, abs=1e-6)
    assert check(found, "time").margin[0] == pytest.approx(20.0 / 16.0)  # the closer of both ways
    assert check(found, "run").margin[0] == pytest.approx(300.0 / 19.68872, rel=1e-6)
    assert check(found, "stroke").margin[0] == pytest.approx(20.0)
    assert check(found, "buckling").margin[0] == pytest.approx(8.82077, abs=1e-4)
    assert found.fits[0]


def test_a_slope() -> None:
    """40 kg on 30 deg with a friction of 0.2: along it 392.266 x 0.5 = 196.133 N, square to it
    392.266 x 0.8660254 = 339.7123 N, friction 67.94246 N. Up 264.07546, down 67.94246 - 196.133 =
    -128.19054 N. Pulled up, the same forces stand the other way round."""
    carried = Carried(mass_kg=40.0)
    pushed = straight(carried, Slope(300.0, 30.0, friction=0.2))
    assert pushed.extend_n == pytest.approx(264.07546, abs=1e-5)
    assert pushed.retract_n == pytest.approx(-128.19054, abs=1e-5)
    pulled = straight(carried, Slope(300.0, 30.0, friction=0.2, raises=-1))
    np.testing.assert_allclose(pulled.retract_n, pushed.extend_n)
    np.testing.assert_allclose(pulled.extend_n, pushed.retract_n)
    assert pulled.pressed_n.max() == 0.0  # it hangs on the rod: nothing buckles
    assert pushed.pressed_n.max() == pytest.approx(264.07546, abs=1e-5)
    # Snow of 100 Pa on 0.5 m² of plan is 50 N more of weight: 25 N along, 8.66025 N of friction.
    snowed = straight(
        Carried(mass_kg=40.0, snow_pa=100.0, area_m2=0.5), Slope(300.0, 30.0, friction=0.2)
    )
    assert snowed.extend_n == pytest.approx(264.07546 + 25.0 + 8.66025, abs=1e-4)
    level = straight(Carried(mass_kg=40.0), Slope(300.0, 0.0, friction=0.2))
    assert level.extend_n == pytest.approx(0.2 * 392.266)
    assert level.retract_n == pytest.approx(0.2 * 392.266)
    assert level.rest_n.max() == 0.0


def test_what_is_pulled_is_judged_as_what_is_pushed() -> None:
    """The same slope, raised by retracting: times change places, margins stay."""
    pushed, pulled = (
        sized(straight(Carried(mass_kg=40.0), Slope(300.0, 30.0, 0.2, raises)),
              duty=Demand(30.0, 30.0, 6.0, 12.0))
        for raises in (1, -1)
    )  # fmt: skip
    assert pulled.retract_s[0] == pytest.approx(pushed.extend_s[0])
    assert pulled.extend_s[0] == pytest.approx(pushed.retract_s[0])
    assert pulled.extend_s[0] < pulled.retract_s[0]
    for name in ("force", "static", "time", "duty", "run"):
        assert check(pulled, name).margin[0] == pytest.approx(check(pushed, name).margin[0])
    assert pulled.energy_wh[0] == pytest.approx(pushed.energy_wh[0])
    assert pulled.peak_a[0] == pytest.approx(pushed.peak_a[0])


def test_snow_at_rest_counts_where_it_is_more() -> None:
    """600 Pa on 0.5 m² of a lift: 300 N on 196.133 N at rest; 100 Pa while it moves: 50 N."""
    snowed = Carried(mass_kg=20.0, area_m2=0.5, snow_pa=100.0, rest_snow_pa=600.0)
    travel = straight(snowed, Slope(100.0, 90.0))
    assert travel.rest_n.max() == pytest.approx(496.133)
    assert travel.extend_n.max() == pytest.approx(246.133)
    less = straight(replace(snowed, rest_snow_pa=50.0), Slope(100.0, 90.0))
    assert less.rest_n.max() == pytest.approx(246.133)


def test_a_hinged_vent() -> None:
    """A flap of 20 kg, level when closed; rod pin at 150 mm, frame pin 300 mm away and 60 deg
    below level: the rod is 150 sqrt(3) = 259.8076 mm long and its lever is 150 mm (a right angle
    at the flap's pin). Weight at 300 mm: 196.133 x 300 / 150 = 392.266 N. Wind of 100 Pa on
    0.5 m²: 50 N at 300 mm is 100 N either way. Snow of 200 Pa: 100 N at 300 mm is 200 N. A
    friction of 3 N m is 20 N.
    Extending 392.266 + 200 + 100 + 20 = 712.266 N. Retracting against the wind alone:
    20 + 100 - 392.266 = -272.266 N. At rest in a gale of 400 Pa 392.266 + 200 + 400 = 992.266 N.
    At 60 deg (h 98.19805 mm): weight 196.133 x 300 x 0.5 / h = 299.5981 N; snow
    100 x 300 x 0.5² / h = 76.3763 N; wind 50 x 300 / h = 152.7525 N; friction 30.5505 N.
    """
    carried = Carried(mass_kg=20.0, area_m2=0.5, wind_pa=100.0, snow_pa=200.0, rest_wind_pa=400.0)
    travel = turned(carried, Flap(300.0, 150.0, 300.0, 300.0, 0.0, 60.0, 60.0, 3.0))
    assert travel.extend_n[0] == pytest.approx(712.266, abs=1e-6)
    assert travel.retract_n[0] == pytest.approx(-272.266, abs=1e-6)
    assert travel.rest_n[0] == pytest.approx(992.266, abs=1e-6)
    assert travel.extend_n[-1] == pytest.approx(299.5981 + 76.3763 + 152.7525 + 30.5505, abs=1e-3)
    assert travel.turned_deg is not None
    assert travel.turned_deg[[0, -1]] == pytest.approx([0.0, 60.0], abs=1e-9)
    # 396.86270 - 259.80762 = 137.05508 mm of rod; a rod of 200 + 150 mm reaches to 350 only.
    assert travel.way_mm == pytest.approx(137.05508, abs=1e-5)
    found = sized(travel, sheet(retracted_mm=200.0, stroke_mm=150.0),
                  sheet(retracted_mm=250.0, stroke_mm=150.0),
                  sheet(retracted_mm=265.0, stroke_mm=150.0))  # fmt: skip
    assert check(found, "long").margin == pytest.approx([-46.86270, 3.13730, 18.13730], abs=1e-5)
    assert check(found, "short").margin == pytest.approx([59.80762, 9.80762, -5.19238], abs=1e-5)
    assert check(found, "long").holds.tolist() == [False, True, True]
    assert check(found, "short").holds.tolist() == [True, True, False]


def test_two_rods_share_unevenly_and_wind_may_come_one_way_only() -> None:
    one = straight(Carried(mass_kg=20.0, friction_n=10.0), Slope(300.0, 90.0))
    two = straight(Carried(mass_kg=20.0, friction_n=10.0, rods=2, uneven=1.2), Slope(300.0, 90.0))
    np.testing.assert_allclose(two.extend_n, 0.6 * one.extend_n)
    for way, high, low in (("both", 30.0, -30.0), ("against", 30.0, 0.0), ("with", 0.0, -30.0)):
        blown = straight(
            Carried(area_m2=0.3, wind_pa=100.0, wind_way=way, rest_force_n=7.0), Slope(10.0, 0.0)
        )
        assert (blown.high_n[0], blown.low_n[0]) == pytest.approx((high, low))
        assert blown.rest_high_n[0] == pytest.approx(max(high, 7.0))
        assert blown.rest_low_n[0] == pytest.approx(min(low, -7.0))


def test_a_spring_takes_half_of_force_times_way() -> None:
    """From 0 to 100 N over 200 mm: the time is an integral, 1 / (20 - 8 F / 400) over the way."""
    travel = straight(Carried(along_n=(0.0, 100.0)), Slope(200.0, 0.0), points=2001)
    found = sized(travel)
    steady, _ = quad(lambda x: 1.0 / (20.0 - 8.0 * (x / 2.0) / 400.0), 0.0, 200.0)
    mean = 200.0 / steady
    assert found.extend_s[0] == pytest.approx(steady + mean / 20.0, rel=1e-6)
    joule, _ = quad(lambda x: 12.0 * (1.0 + 3.0 * x / 800.0) / (20.0 - x / 100.0), 0.0, 200.0)
    back, _ = quad(lambda x: 12.0 * 1.0 / 20.0, 0.0, 200.0)
    assert found.energy_wh[0] == pytest.approx((joule + back) / 3600.0, rel=1e-6)


# ---------------------------------------------------------------- the motor behind the sheet

MOTORS = {
    "ohms": st.floats(0.3, 10.0),
    "constant": st.floats(0.2, 3.0),  # V s/mm
    "newton_per_a": st.floats(30.0, 600.0),
    "free_a": st.floats(0.05, 1.0),
    "volts": st.sampled_from([12.0, 24.0]),
    "supply": st.floats(5.0, 30.0),
    "source": st.floats(0.0, 0.5),
    "load": st.floats(0.0, 1.0),
}


@given(**MOTORS)
def test_the_line_is_that_of_the_motor_at_any_voltage(**m: float) -> None:
    """A sheet written from V = I R + K v, F = k (I - I0) is read back at another voltage, behind
    a source resistance: v = (V - I (R + Rs)) / K; stalled I = V / (R + Rs)."""
    stalled = m["volts"] / m["ohms"]
    rated_a = m["free_a"] + 0.3 * max(stalled - m["free_a"], 0.1)
    free, rated = ((m["volts"] - a * m["ohms"]) / m["constant"] for a in (m["free_a"], rated_a))
    if rated <= 0.0:
        return
    force = m["newton_per_a"] * (rated_a - m["free_a"])
    one = sheet(volts=m["volts"], force_n=force, speed_free_mm_s=free, speed_rated_mm_s=rated,
                amps_free=m["free_a"], amps_rated=rated_a)  # fmt: skip
    c, amps = columns([one], Assumed()), m["free_a"] + m["load"] * (rated_a - m["free_a"])
    asked = np.array([m["load"] * force])
    true = (m["supply"] - amps * (m["ohms"] + m["source"])) / m["constant"]
    assert current(c, asked)[0, 0] == pytest.approx(amps)
    got = speed(c, asked, m["supply"], m["source"])[0, 0]
    assert got == pytest.approx(max(true, 0.0), rel=1e-6, abs=1e-6)
    held_a = m["supply"] / (m["ohms"] + m["source"])
    travel = straight(Carried(along_n=(1.0, 1.0)), Slope(100.0, 0.0))
    duty = Demand(30.0, 30.0, 1.0, m["supply"], m["source"])
    assert sized(travel, one, duty=duty).stall_a[0] == pytest.approx(held_a, rel=1e-6)
    held_n = m["newton_per_a"] * max(held_a - m["free_a"], 0.0)
    got_n = stall_force(c, m["supply"], m["source"])[0]
    assert got_n == pytest.approx(held_n, rel=1e-6, abs=1e-6 * force)


@pytest.mark.parametrize("volts", [6.0, 12.0, 18.0])
@pytest.mark.parametrize("force", [0.0, 1000.0, 3000.0])
def test_an_emulated_rod_runs_as_its_sheet_says(volts: float, force: float) -> None:
    """A sheet measured on the plant at 12 V (no load, 3000 N) foretells its speed elsewhere."""
    one = sheet(force_n=3000.0, volts=12.0, stroke_mm=2000.0, **_measured())
    told = speed(columns([one], Assumed()), np.array([force]), volts)[0, 0]
    mm_s, amps = _steady(volts, force)
    assert told == pytest.approx(mm_s, rel=2e-3)
    assert current(columns([one], Assumed()), np.array([force]))[0, 0] == pytest.approx(
        amps, rel=2e-3
    )


def _measured() -> dict[str, float]:
    free, loaded = _steady(12.0, 0.0), _steady(12.0, 3000.0)
    return {"speed_free_mm_s": free[0], "speed_rated_mm_s": loaded[0],
            "amps_free": free[1], "amps_rated": loaded[1]}  # fmt: skip


def _steady(volts: float, force: float) -> tuple[float, float]:
    """Speed and current of an emulated rod that lifts `force`, after two seconds."""
    motor = Motor(resistance_ohm=1.2, constant_v_s_per_mm=1.5, friction_extend_a=0.5,
                  drag_a_s_per_mm=0.0, heat_j_per_k=1e6)  # fmt: skip
    screw = Screw(efficiency=0.8, back_efficiency=-0.2)
    plant = Plant(Rod(motor=motor, screw=screw, stroke_mm=2000.0, start_mm=500.0,
                      load=Load(force_n=force)))  # fmt: skip
    for _ in range(round(2.0 / TICK_S)):
        plant.step(volts, DRIVE)
    return plant.speed_mm_s, plant.current_a


# ---------------------------------------------------------------- silence of a sheet, and scaling


def test_a_sheet_with_one_speed_is_never_taken_to_be_faster_than_it_says() -> None:
    only_rated = sheet(speed_free_mm_s=None)
    only_free = sheet(speed_rated_mm_s=None)
    c, loads = columns([only_rated, only_free, EVEN], Assumed()), np.linspace(0.0, 400.0, 9)
    at_12 = speed(c, loads, 12.0)
    assert np.all(at_12[0] == 12.0)
    assert at_12[1, -1] == pytest.approx(0.7 * 20.0)
    assert at_12[1, 0] == pytest.approx(20.0)
    # At half the voltage a loaded rod falls below half of its speed.
    at_6 = speed(c, loads, 6.0)
    assert np.all(at_6[:, -1] < 0.5 * at_12[:, -1])
    assert at_6[0, 0] == pytest.approx(6.0)


def test_what_stalls_on_the_way_never_arrives() -> None:
    """The sheet's motor: R = 12 x 8 / (4 x 20 - 1 x 12) = 1.411765 ohm. Stalled at 4 V it draws
    2.833333 A, of which 1.833333 A push: 400 x 1.833333 / 3 = 244.4444 N."""
    travel = straight(Carried(along_n=(0.0, 390.0)), Slope(200.0, 0.0))
    found = sized(travel, duty=Demand(30.0, 30.0, 1.0, 4.0))
    assert found.stall_n[0] == pytest.approx(244.4444, abs=1e-4)
    assert found.stall_a[0] == pytest.approx(2.833333, abs=1e-6)
    assert math.isinf(found.extend_s[0])
    assert math.isinf(found.duty[0])
    assert not check(found, "time").holds[0]
    assert not check(found, "duty").holds[0]
    assert not check(found, "force").holds[0]
    assert not found.fits[0]


@given(
    mass=st.floats(0.1, 60.0),
    angle=st.floats(0.0, 90.0),
    friction=st.floats(0.0, 1.0),
    way=st.floats(1.0, 1000.0),
    times=st.floats(0.1, 10.0),
)
def test_forces_scale_with_the_mass_and_work_is_height_and_friction(
    mass: float, angle: float, friction: float, way: float, times: float
) -> None:
    slope = Slope(way, angle, friction)
    one, more = (straight(Carried(mass_kg=m), slope) for m in (mass, times * mass))
    np.testing.assert_allclose(more.extend_n, times * one.extend_n, rtol=1e-9)
    weight, turn = mass * 9.80665, math.radians(angle)
    gained = weight * way * math.sin(turn)
    rubbed = friction * weight * way * math.cos(turn)
    assert one.extend_n.mean() * way == pytest.approx(gained + rubbed, rel=1e-9)
    assert one.retract_n.mean() * way == pytest.approx(rubbed - gained, rel=1e-9, abs=1e-9)


@given(st.lists(st.floats(0.2, 5.0), min_size=2, max_size=8))
def test_each_row_is_as_if_it_stood_alone(scales: list[float]) -> None:
    travel = straight(Carried(mass_kg=10.0, friction_n=5.0), Slope(250.0, 60.0, shortest_mm=440.0))
    sheets = [
        sheet(force_n=400.0 * s, speed_free_mm_s=20.0 / s, speed_rated_mm_s=12.0 / s,
              rod_mm=None if s > 3 else 4.0 * s)
        for s in scales
    ]  # fmt: skip
    together = sized(travel, *sheets)
    for at, one in enumerate(sheets):
        alone = sized(travel, one)
        for name in ("extend_s", "retract_s", "energy_wh", "least_rod_mm", "power_w", "stall_a"):
            assert getattr(together, name)[at] == pytest.approx(getattr(alone, name)[0])
        for both, single in zip(together.checks, alone.checks, strict=True):
            assert both.margin[at] == pytest.approx(single.margin[0], nan_ok=True)
            assert both.holds[at] == single.holds[0]
        assert together.fits[at] == alone.fits[0]
