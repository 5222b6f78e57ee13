"""Mounts, drivers, sensors of other kinds, and the board of 12 bits."""

import pytest
from rodbench.emulator.plant import Driver, Ends, Mount, Plant, Rod, Sensor
from rodbench.emulator.plant_file import BoardFigures, Machine, Supply, dump, parse
from rodbench.emulator.random_plants import random_machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import BRAKE, DRIVE, OFF
from rodbench.emulator.wiper import Pot
from rodbench.errors import SettingsError
from rodbench_protocol.schema import load_schema

HEAD = "plant_file = 1\n"


def run(plant: Plant, volts: float, ticks: int, bridge: int = DRIVE) -> None:
    for _ in range(ticks):
        plant.step(volts, bridge)


# ---------------------------------------------------------------- mounts


@pytest.mark.parametrize(("volts", "wall"), [(6.0, 120.0), (-6.0, 80.0)])
def test_the_machine_ends_the_travel_and_the_motor_stalls_there(volts: float, wall: float) -> None:
    """Stall current V / R, 6 V over 2 ohm (references); switches of the rod play no part."""
    plant = Plant(Rod(mount=Mount(80.0, 120.0)))
    run(plant, volts, 1500)
    assert plant.position_mm == wall
    assert plant.speed_mm_s == 0.0
    assert abs(plant.current_a) == pytest.approx(3.0, rel=0.03)
    assert plant.mount_pressed_a == pytest.approx(3.0, rel=0.03)
    assert plant.mount_pressed_ticks > 200


def test_a_rod_that_only_runs_into_the_mount_has_not_been_driven_into_it() -> None:
    plant = Plant(Rod(start_mm=119.9, mount=Mount(0.0, 120.0)))
    while plant.position_mm < 119.97:
        plant.step(12.0, DRIVE)
    run(plant, 0.0, 40, OFF)
    assert plant.position_mm == 120.0
    assert plant.mount_pressed_a == 0.0
    run(plant, -6.0, 2)  # drawing away from it is no press
    assert plant.mount_pressed_ticks == 0


def test_ticks_of_pressing_count_from_each_contact_anew() -> None:
    plant = Plant(Rod(start_mm=119.9, mount=Mount(0.0, 120.0)))
    while plant.position_mm < 120.0:
        plant.step(6.0, DRIVE)
    run(plant, 6.0, 2)
    assert plant.mount_pressed_ticks == 3
    run(plant, 0.0, 20, BRAKE)
    run(plant, 6.0, 1)  # still in touch: the same contact
    assert plant.mount_pressed_ticks == 4
    run(plant, -6.0, 200)
    while plant.position_mm < 120.0:
        plant.step(6.0, DRIVE)
    run(plant, 6.0, 1)
    assert plant.mount_pressed_ticks == 4


def test_the_rods_own_end_is_no_mount() -> None:
    plant = Plant(Rod(start_mm=2.0, mount=Mount(0.0, 120.0), ends=Ends(kind="hard")))
    run(plant, -6.0, 400)
    assert plant.position_mm == 0.0
    assert plant.mount_pressed_a == 0.0
    assert not Mount().fitted
    assert Mount(min_mm=3.0).fitted


# ---------------------------------------------------------------- drivers


def run_on(driver: Driver, asked: int) -> float:
    """mm from the tick at which output 0 is asked for until rest, from full speed."""
    machine = Rig(Machine(rods={1: Rod(driver=driver)}))
    for _ in range(300):
        machine.step([1000, 0], [DRIVE, OFF])
    before = machine.plants[1].position_mm
    for _ in range(400):
        machine.step([0, 0], [asked, OFF])
    return machine.plants[1].position_mm - before


def test_one_direction_line_leaves_no_choice_at_output_0() -> None:
    free = Driver()
    braked, coasted = run_on(free, BRAKE), run_on(free, OFF)
    assert coasted > 2 * braked
    line = "pwm-and-one-direction-line"
    for asked in (BRAKE, OFF):
        assert run_on(Driver(line, "coast"), asked) == pytest.approx(coasted, rel=1e-6)
        assert run_on(Driver(line, "brake"), asked) == pytest.approx(braked, rel=1e-6)
    for kind in ("two-pwm-inputs", "pwm-input-and-line"):
        assert run_on(Driver(kind), BRAKE) == pytest.approx(braked, rel=1e-6)


# ---------------------------------------------------------------- sensors


def reading(sensor: Sensor, permille: int, reference_v: float = 5.0, reverse: bool = False) -> int:
    rod = Rod(sensor=sensor)
    rod.motor.reversed = reverse
    machine = Rig(Machine(board=BoardFigures(reference_v=reference_v), rods={1: rod}))
    machine.set_fault("jam", 1, 100.0)
    machine.plants[1].faults["jam_side"] = 1.0
    for _ in range(20):
        readings = machine.step([permille, 0], [DRIVE, OFF])
    return readings.current[0]


def test_a_centred_sensor_sees_the_sign_of_the_lines() -> None:
    sensor = Sensor(kind="centred", v_per_a=0.1, zero_v=2.5, noise_lsb=0.0)
    plus = reading(sensor, 300)
    turned = reading(sensor, 300, reverse=True)
    assert plus > 4 * 512 + 20
    assert turned > 4 * 512 + 20


def test_a_centred_sensor_sees_what_braking_circulates() -> None:
    sensor = Sensor(kind="centred", v_per_a=0.1, zero_v=2.5, noise_lsb=0.0)
    machine = Rig(Machine(rods={1: Rod(sensor=sensor)}))
    for _ in range(300):
        machine.step([1000, 0], [DRIVE, OFF])
    braked = machine.step([0, 0], [BRAKE, OFF]).current[0]
    amps = machine.plants[1].current_a
    assert amps < -1.0
    assert braked == pytest.approx(4 * 1024 * (2.5 + 0.1 * amps) / 5.0, abs=5)


@pytest.mark.parametrize("reference_v", [4.6, 5.0, 5.2])
def test_a_ratiometric_sensor_reads_the_same_on_every_supply(reference_v: float) -> None:
    """Its output and the converter's scale are both shares of the same supply: they cancel."""
    figures = {"kind": "centred", "v_per_a": 0.2, "zero_v": 2.5, "noise_lsb": 0.0}
    follows = reading(Sensor(ratiometric=True, **figures), 1000, reference_v)
    fixed = reading(Sensor(**figures), 1000, reference_v)
    assert follows == pytest.approx(reading(Sensor(**figures), 1000, 5.0), abs=4)
    assert fixed == pytest.approx(follows * 5.0 / reference_v, abs=8)


def test_the_input_of_a_rod_without_a_pot_reads_0() -> None:
    """The bleed holds it at ground: what the track would add of noise is not there."""
    machine = Rig(Machine(rods={1: Rod(pot=Pot(fitted=False, noise_lsb=2.0))}))
    assert {machine.step([500, 0], [DRIVE, OFF]).pot[0] for _ in range(300)} == {0}
    assert machine.plants[1].position_mm > 101.0


# ---------------------------------------------------------------- the board of 12 bits


def fine(**parts: object) -> Rig:
    supply = Supply(volts=12.0, noise_lsb=0.0)
    board = BoardFigures(reference_v=3.3, kind="posix-3v3")
    rod = Rod(stroke_mm=200.0, start_mm=70.3, **parts)
    return Rig(Machine(supply=supply, board=board, rods={1: rod}))


def test_twelve_bits_of_three_volts_three() -> None:
    pot = Pot(0.1, 0.9, resistance_ohm=0.01, noise_lsb=0.0)
    sensor = Sensor(v_per_a=0.3, zero_v=0.5, noise_lsb=0.0)
    machine = fine(pot=pot, sensor=sensor)
    for _ in range(300):
        readings = machine.step([1000, 0], [DRIVE, OFF])
    plant = machine.plants[1]
    assert readings.pot[0] == 2 * int(plant.pot_share * 4096)
    assert readings.current[0] == int((0.5 + 0.3 * plant.current_a) / 3.3 * 4096)
    assert readings.supply == pytest.approx(machine.supply_v / 5.71 / 3.3 * 4096, abs=1)
    assert readings.bandgap == int(1.1 / 3.3 * 4096)


def test_its_full_scales_are_those_of_the_schema() -> None:
    kind = load_schema().board_kinds["posix_3v3"]
    machine = fine(pot=Pot(noise_lsb=0.0), sensor=Sensor(zero_v=5.0))
    machine.set_fault("pot_short", 1, 1.0)
    machine.set_fault("supply_sag", 0, 60.0)
    for _ in range(2):
        readings = machine.step([0, 0], [OFF, OFF])
    assert readings.pot[0] == kind.adc_full_scale
    assert readings.current[0] == kind.current_full_scale
    assert readings.supply == kind.supply_full_scale


def test_noise_is_in_steps_of_its_own_converter() -> None:
    import statistics

    machine = fine(pot=Pot(noise_lsb=3.0))
    raw = [machine.step([0, 0], [OFF, OFF]).pot[0] for _ in range(4000)]
    assert statistics.stdev(raw) == pytest.approx((2 * (9 + 1 / 12)) ** 0.5, rel=0.05)


def test_its_supply_is_three_volts_three_unless_a_file_says_so() -> None:
    text = HEAD + "[board]\nkind = 'posix-3v3'\n"
    assert parse(text, "x").board.reference_v == 3.3
    assert parse(text + "reference_v = 3.25\n", "x").board.reference_v == 3.25
    machine = random_machine(3)
    machine.board.kind, machine.board.reference_v = "posix-3v3", 3.3
    assert parse(dump(machine), "x") == machine


# ---------------------------------------------------------------- files


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("[axes.1.mount]\nmin_mm = 120\nmax_mm = 50\n", 4, "crosswise"),
        ("[axes.1.mount]\nmax_mm = 300\n", 3, "beyond stroke_mm"),
        ("[axes.1]\nstart_mm = 30\n[axes.1.mount]\nmin_mm = 40\n", 3, "beyond the machine's ends"),
        ("[axes.1.pot]\nwired = 'wrong'\n", 3, "is not one of right, wiper-on-supply"),
        ("[axes.1.driver]\nkind = 'relays'\n", 3, "is not one of pwm-and-two"),
        ("[board]\nkind = 'posix-3v3'\n[axes.2]\nname = 'b'\n", 4, "has one axis"),
        ("[axes.2.driver]\nkind = 'two-pwm-inputs'\n", 3, "for axis 1 alone"),
        ("[axes.1.driver]\nkind = 'two-pwm-inputs'\n[axes.2]\n", 4, "axis 2 cannot be"),
        ("[axes.1.sensor]\nratiometric = 1\n", 3, "must be true or false"),
    ],
)
def test_what_cannot_be_meant_names_its_line(text: str, line: int, words: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse(HEAD + text, "vent.toml")
    assert caught.value.message.startswith(f"vent.toml:{line}: ")
    assert words in caught.value.message
