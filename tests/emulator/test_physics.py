"""The rod's physics against relations that do not come from its own code.

Motor relations: V = I R + Ke w, no-load speed V / Ke, stall current V / R, greatest power at half
speed (references: any machines textbook; the worked motor below is computed from them).
"""

import math

import pytest
from rodbench.emulator.load import Load
from rodbench.emulator.plant import TICK_S, Ends, Motor, Plant, Rod, Screw
from rodbench.emulator.signals import BRAKE, DRIVE, OFF
from rodbench.emulator.wiper import Pot


def frictionless(**changes: float) -> Motor:
    figures = {
        "resistance_ohm": 1.2,
        "constant_v_s_per_mm": 1.5,
        "friction_extend_a": 0.0,
        "friction_retract_a": 0.0,
        "drag_a_s_per_mm": 0.0,
        "heat_j_per_k": 1e5,
    }
    return Motor(**{**figures, **changes})


def rod(motor: Motor | None = None, **parts: object) -> Rod:
    ideal = {"screw": Screw(efficiency=1.0, back_efficiency=1.0), "stroke_mm": 2000.0}
    return Rod(motor=motor or frictionless(), start_mm=500.0, **{**ideal, **parts})


def run(plant: Plant, volts: float, bridge: int = DRIVE, seconds: float = 2.0) -> None:
    for _ in range(round(seconds / TICK_S)):
        plant.step(volts, bridge)


def test_no_load_speed_is_volts_over_the_constant() -> None:
    plant = Plant(rod())
    run(plant, 12.0)
    assert plant.speed_mm_s == pytest.approx(12.0 / 1.5, rel=1e-6)
    assert plant.current_a == pytest.approx(0.0, abs=1e-4)


def test_stall_current_is_volts_over_resistance() -> None:
    plant = Plant(rod())
    plant.set_fault("jam", 500.0)
    run(plant, 12.0, seconds=0.02)
    assert plant.speed_mm_s == 0.0
    assert plant.current_a == pytest.approx(10.0, rel=1e-3)  # 12 V / 1.2 ohm


@pytest.mark.parametrize("volts", [3.0, 6.0, 12.0, 24.0])
def test_speed_is_proportional_to_volts(volts: float) -> None:
    plant = Plant(rod())
    run(plant, volts)
    assert plant.speed_mm_s / volts == pytest.approx(1 / 1.5, rel=1e-6)


def test_power_is_greatest_at_half_speed_and_half_stall_force() -> None:
    """P = w0 Ts / 4 at w0 / 2: stall force 10 A x 1500 N/A, no-load speed 8 mm/s."""
    stall_n, free_mm_s = 15_000.0, 8.0
    powers = {}
    for tenths in range(1, 10):
        force = stall_n * tenths / 10.0
        plant = Plant(rod(load=Load(force_n=force)))
        run(plant, 12.0)
        powers[tenths] = force * plant.speed_mm_s / 1000.0
        assert plant.speed_mm_s == pytest.approx(free_mm_s * (1 - tenths / 10.0), rel=1e-4)
    assert max(powers, key=powers.get) == 5
    assert powers[5] == pytest.approx(stall_n * free_mm_s / 1000.0 / 4.0, rel=1e-4)


def test_energy_is_kept() -> None:
    """Electric work = heat in the winding + work on the load + kinetic energy."""
    force = 4000.0
    plant = Plant(rod(load=Load(force_n=force)))
    # kinetic energy of the moving mass: T = m R / K^2 gives m
    mass_kg = 0.060 * 1500.0 * 1500.0 / 1.2
    electric = heat = work = 0.0
    before = plant.position_mm
    # a first-order rise is known in closed form: i(t) = i_end + (i_0 - i_end) exp(-t / T)
    final_a, first_a = force / 1500.0, 12.0 / 1.2
    for tick in range(60):
        plant.step(12.0, DRIVE)
        expected = final_a + (first_a - final_a) * math.exp(-(tick + 1) * TICK_S / 0.060)
        assert plant.current_a == pytest.approx(expected, rel=1e-3)
    seconds = 60 * TICK_S
    decay, tau = math.exp(-seconds / 0.060), 0.060
    step = first_a - final_a
    charge = final_a * seconds + step * tau * (1 - decay)
    square = (
        final_a**2 * seconds
        + 2 * final_a * step * tau * (1 - decay)
        + step**2 * tau / 2 * (1 - decay**2)
    )
    electric, heat = 12.0 * charge, 1.2 * square
    work = force * (plant.position_mm - before) / 1000.0
    kinetic = mass_kg * (plant.speed_mm_s / 1000.0) ** 2 / 2
    assert electric == pytest.approx(heat + work + kinetic, rel=2e-3)


def test_friction_takes_its_current_and_its_share_of_speed() -> None:
    plant = Plant(rod(frictionless(friction_extend_a=1.0, friction_retract_a=2.0)))
    run(plant, 12.0)
    assert plant.current_a == pytest.approx(1.0, rel=1e-3)
    assert plant.speed_mm_s == pytest.approx((12.0 - 1.2) / 1.5, rel=1e-4)
    run(plant, -12.0)
    assert plant.current_a == pytest.approx(-2.0, rel=1e-3)
    assert plant.speed_mm_s == pytest.approx(-(12.0 - 2.4) / 1.5, rel=1e-4)


@pytest.mark.parametrize("magnets", [1.0, 0.9, 0.5])
def test_weaker_magnets_run_faster_and_push_less_for_each_ampere(magnets: float) -> None:
    """V = I R + K w, force = K I: with K' = m K the same friction takes I / m, and at the same
    volts w' = (V - R I / m) / (m K). The mass behind the response, T K^2 / R, stays: T' = T / m^2.
    """
    plant = Plant(rod(frictionless(friction_extend_a=1.0, magnets=magnets)))
    run(plant, 12.0, seconds=3.0)
    assert plant.current_a == pytest.approx(1.0 / magnets, rel=1e-3)
    assert plant.speed_mm_s == pytest.approx((12.0 - 1.2 / magnets) / (1.5 * magnets), rel=1e-4)
    plant = Plant(rod(frictionless(magnets=magnets)))
    run(plant, 12.0, seconds=0.1)
    rise = 1.0 - math.exp(-0.1 * magnets**2 / 0.060)
    assert plant.speed_mm_s == pytest.approx(12.0 / (1.5 * magnets) * rise, rel=1e-3)


def test_where_the_screw_is_tight_it_takes_more_current_both_ways() -> None:
    tight = Screw(1.0, 1.0, tight_from_mm=510.0, tight_to_mm=530.0, tight=0.2)
    motor = frictionless(friction_extend_a=1.0, friction_retract_a=2.0)
    plant = Plant(rod(motor, screw=tight))
    for volts, friction, ticks in ((12.0, 1.0, 1400), (-12.0, 2.0, 1800)):
        seen = {}
        for _ in range(ticks):
            plant.step(volts, DRIVE)
            seen[round(plant.position_mm)] = abs(plant.current_a)
        assert seen[520] == pytest.approx(1.2 * friction, rel=1e-3)
        assert seen[505] == pytest.approx(friction, rel=0.02)
        assert seen[535] == pytest.approx(friction, rel=0.02)


def test_stiction_holds_what_friction_alone_would_let_go() -> None:
    motor = frictionless(friction_extend_a=1.0, friction_retract_a=1.0, stiction=1.5)
    plant = Plant(rod(motor))
    run(plant, 1.2 * 1.4)  # 1.4 A: above friction, below breaking away
    assert plant.position_mm == 500.0
    run(plant, 1.2 * 1.6)
    assert plant.position_mm > 500.1
    before = plant.position_mm
    run(plant, 1.2 * 1.4)
    assert plant.position_mm > before + 0.1  # once moving, it goes on


@pytest.mark.parametrize("bridge", [BRAKE, OFF])
def test_a_braked_rod_runs_on_less_than_a_coasting_one(bridge: int) -> None:
    """At 8 mm/s, friction a sixth of stall: braking 0.2-1 mm, coasting v^2 / 2a."""
    plant = Plant(Rod())
    run(plant, 12.4)
    speed, before = plant.speed_mm_s, plant.position_mm
    run(plant, 0.0, bridge)
    assert plant.speed_mm_s == 0.0
    run_on = plant.position_mm - before
    assert 7.5 < speed < 8.5
    if bridge == BRAKE:
        assert 0.2 < run_on < 1.0
    else:
        motor = Motor()
        gain = motor.resistance_ohm / (motor.response_ms / 1000 * motor.constant_v_s_per_mm)
        least, most = (speed**2 / 2 / gain / a for a in (motor.friction_extend_a + 0.5, 0.98))
        assert least < run_on < most


def test_exact_steps_do_not_depend_on_how_time_is_cut() -> None:
    """A stop in mid tick lands where a hundred times finer stepping by Euler lands."""
    motor = Motor()
    plant = Plant(Rod())
    run(plant, 12.4)
    speed, place = plant.speed_mm_s, plant.position_mm
    run(plant, 0.0, BRAKE)
    gain = motor.resistance_ohm / (motor.response_ms / 1000 * motor.constant_v_s_per_mm)
    ohm = motor.resistance_ohm * (1 + 0.00393 * (plant.temperature_c - 20))
    step = TICK_S / 1000
    while speed > 0:
        current = -motor.constant_v_s_per_mm * speed / ohm
        pull = current - motor.friction_extend_a - motor.drag_a_s_per_mm * speed
        speed += gain * pull * step
        place += speed * step
    assert plant.position_mm == pytest.approx(place, abs=2e-3)


def test_an_end_switch_opens_and_its_diode_lets_the_rod_leave() -> None:
    plant = Plant(Rod(start_mm=195.0))
    run(plant, 12.4, seconds=3.0)
    assert 203.0 <= plant.position_mm < 206.0
    assert plant.speed_mm_s == 0.0
    assert plant.current_a == 0.0
    run(plant, 12.4, seconds=1.0)
    stuck = plant.position_mm
    run(plant, 12.4, seconds=1.0)
    assert plant.position_mm == stuck
    run(plant, -12.4, seconds=1.0)
    assert plant.position_mm < stuck - 5.0


@pytest.mark.parametrize(("start", "volts", "wall"), [(200.0, 6.0, 203.0), (3.0, -6.0, 0.0)])
def test_a_hard_end_stops_the_rod_dead_and_the_motor_stalls(
    start: float, volts: float, wall: float
) -> None:
    plant = Plant(Rod(start_mm=start, ends=Ends(kind="hard")))
    run(plant, volts, seconds=4.0)
    assert plant.position_mm == wall
    assert abs(plant.current_a) == pytest.approx(6.0 / 2.0, rel=0.05)


def test_a_clutch_holds_the_current_where_it_slips() -> None:
    plant = Plant(Rod(start_mm=200.0, ends=Ends(kind="clutch", clutch_a=4.0)))
    run(plant, 12.4, seconds=2.0)
    assert plant.position_mm == 203.0
    assert plant.current_a == pytest.approx(4.0)
    run(plant, 4.0, seconds=0.1)  # 2 A: not enough to slip
    assert plant.current_a == pytest.approx(2.0, rel=0.05)


def test_reversing_the_leads_reverses_the_rod() -> None:
    straight, crossed = Plant(Rod()), Plant(Rod(motor=Motor(reversed=True)))
    for plant in (straight, crossed):
        run(plant, 6.0, seconds=0.5)
    assert straight.position_mm > 100.5
    assert crossed.position_mm < 99.5


@pytest.mark.parametrize(("back", "moves"), [(-0.5, False), (0.6, True)])
def test_a_load_drives_back_only_a_screw_that_does_not_lock(back: float, moves: bool) -> None:
    motor = frictionless(friction_extend_a=0.2, friction_retract_a=0.2)
    plant = Plant(rod(motor, screw=Screw(0.4, back), load=Load(force_n=1000.0)))
    run(plant, 0.0, OFF, seconds=0.5)
    assert (plant.position_mm < 499.9) is moves


def test_a_self_locking_screw_makes_an_aiding_load_a_burden() -> None:
    speeds = []
    for force in (0.0, -1000.0):
        plant = Plant(rod(screw=Screw(0.4, -0.5), load=Load(force_n=force)))
        run(plant, 12.0)
        speeds.append(plant.speed_mm_s)
    assert speeds[1] < speeds[0] - 0.1


def test_efficiency_divides_a_resisting_load() -> None:
    plant = Plant(rod(screw=Screw(0.25, -1.0), load=Load(force_n=750.0)))
    run(plant, 12.0)
    assert plant.current_a == pytest.approx(750.0 / 0.25 / 1500.0, rel=1e-3)  # N / eff / (N/A)


def test_a_hot_winding_has_more_resistance() -> None:
    """1.2 ohm at 20 C is 1.577280 ohm at 100 C with 0.00393 per K (copper, references)."""
    plant = Plant(rod(frictionless(ambient_c=100.0)))
    plant.set_fault("jam", 500.0)
    plant.step(12.0, DRIVE)
    assert 12.0 / plant.current_a == pytest.approx(1.577280, rel=1e-6)


def test_a_stalled_motor_warms_as_its_losses_say() -> None:
    plant = Plant(rod(frictionless(heat_j_per_k=100.0, cooling_k_per_w=1000.0)))
    plant.set_fault("jam", 500.0)
    run(plant, 12.0, seconds=3.2)  # 120 W at first, less as it warms
    assert plant.temperature_c == pytest.approx(20.0 + 3.2 * 120.0 / 100.0, rel=0.02)


def test_a_spring_pushes_by_its_way() -> None:
    load = Load(kind="spring", force_n=50.0, spring_n_per_mm=2.0, spring_from_mm=100.0)
    assert [load.at(mm) for mm in (0.0, 100.0, 150.0)] == [50.0, 50.0, 150.0]


@pytest.mark.parametrize(
    ("theta_deg", "length_mm", "force_n"),
    [
        (0.0, 259.807621, 392.266),
        (15.0, 298.674214, 390.532464),
        (30.0, 335.410197, 379.809921),
        (60.0, 396.862697, 299.598106),
    ],
)
def test_a_hinged_arm_pushes_as_virtual_work_says(
    theta_deg: float, length_mm: float, force_n: float
) -> None:
    """a 150, b 300, c 300 mm, 60 degrees, 20 kg: worked by virtual work in the references."""
    load = Load(kind="hinge", arm_kg=20.0, pin_to_pin_mm=250.0)
    assert load.at(length_mm - 250.0) == pytest.approx(force_n, rel=1e-6)


def test_backlash_lets_the_rod_turn_before_the_pot_does() -> None:
    plant = Plant(Rod(screw=Screw(backlash_mm=0.4), pot=Pot(resistance_ohm=0.001)))
    run(plant, 12.4, seconds=1.0)
    assert plant.position_mm - plant.pot_position_mm == pytest.approx(0.2, abs=1e-9)
    run(plant, -12.4, seconds=1.0)
    assert plant.pot_position_mm - plant.position_mm == pytest.approx(0.2, abs=1e-9)


def test_the_bleed_loads_the_pot_as_thevenin_says() -> None:
    """V/V0 = x / (1 + x (1-x) R/RL): worst for R/RL = 0.1 is -1.44933 % of the supply."""
    worst = 0.0
    for percent in range(101):
        plant = Plant(
            Rod(start_mm=203.0 * percent / 100, pot=Pot(0.0, 1.0, resistance_ohm=47_000.0))
        )
        worst = min(worst, plant.pot_share - percent / 100)
    assert worst == pytest.approx(-0.0144933, rel=1e-3)
