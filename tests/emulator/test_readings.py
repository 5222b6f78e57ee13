"""What the converter says of the machine: noise, rounding, the order of conversions."""

import math
import statistics

import pytest
from rodbench.emulator.plant import Rod, Sensor
from rodbench.emulator.plant_file import BoardFigures, Machine, Supply
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import BRAKE, DRIVE, OFF
from rodbench.emulator.wiper import Pot

REST = ([0, 0], [OFF, OFF])


def rig(seed: int = 3, **parts: object) -> Rig:
    rod = Rod(name="one", stroke_mm=200.0, start_mm=70.3, **parts)
    return Rig(Machine(seed=seed, rods={1: rod}))


def quiet(**changes: float) -> Pot:
    return Pot(
        **{"retracted": 0.1, "extended": 0.9, "resistance_ohm": 0.01, "noise_lsb": 0.0, **changes}
    )


def pots(machine: Rig, ticks: int) -> list[int]:
    return [machine.step(*REST).pot[0] for _ in range(ticks)]


@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0])
def test_noise_of_a_sum_is_that_of_eight_conversions(sigma: float) -> None:
    """4 LSB rms a conversion is 11.3 raw a tick: sqrt(8) (sigma^2 + 1/12) by rounding."""
    raw = pots(rig(pot=quiet(noise_lsb=sigma)), 8000)
    expected = math.sqrt(8 * (sigma**2 + 1 / 12))
    assert statistics.stdev(raw) == pytest.approx(expected, rel=0.03)


def test_the_mean_of_noisy_readings_is_the_noise_free_pot() -> None:
    machine = rig(pot=quiet(noise_lsb=1.5))
    raw = pots(machine, 8000)
    share = 0.1 + 0.8 * 70.3 / 200.0
    assert machine.plants[1].pot_raw == pytest.approx(8192 * share - 4, abs=1e-3)
    assert statistics.fmean(raw) == pytest.approx(8192 * share - 4, abs=0.2)


def test_correlated_noise_has_its_share_and_its_time() -> None:
    """Half the power common to a tick and forgotten in 50 ms: the sum's variance is
    8 sigma^2 / 2 + 64 sigma^2 / 2, and what is common falls to 1/e in ten ticks."""
    pot = quiet(noise_lsb=2.0, noise_correlated=0.5, noise_time_ms=50.0)
    raw = pots(rig(pot=pot), 60_000)
    mean = statistics.fmean(raw)
    off = [value - mean for value in raw]
    variance = statistics.fmean([v * v for v in off])
    assert variance == pytest.approx(8 * (2.0 + 1 / 12) + 64 * 2.0, rel=0.08)
    lagged = statistics.fmean([a * b for a, b in zip(off, off[10:], strict=False)])
    assert lagged == pytest.approx(64 * 2.0 / math.e, rel=0.15)


def test_a_quiet_pot_reads_the_same_code_eight_times() -> None:
    machine = rig(pot=quiet())
    code = math.floor((0.1 + 0.8 * 70.3 / 200.0) * 1024)
    assert pots(machine, 3) == [8 * code] * 3


@pytest.mark.parametrize(("share", "raw"), [(0.0, 0), (1.0, 8 * 1023)])
def test_the_converter_ends_at_its_ends(share: float, raw: int) -> None:
    machine = rig(pot=quiet())
    machine.set_fault("pot_short", 1, share)
    assert pots(machine, 2)[-1] == raw


def test_sums_are_those_of_the_single_conversions() -> None:
    machine = Rig(Machine(rods={1: Rod(pot=quiet(noise_lsb=2.0)), 2: Rod(name="b")}))
    for tick in range(200):
        bridge = DRIVE if tick % 40 < 20 else BRAKE
        readings = machine.step([900 if bridge == DRIVE else 0, 0], [bridge, OFF])
        codes = machine.conversions()
        assert len(codes) == 2 + 5 + 5 + 9 + 9
        assert readings.supply == codes[1]
        assert readings.current == [sum(codes[3:7]), sum(codes[8:12])]
        assert readings.pot == [sum(codes[13:21]), sum(codes[22:30])]
        by_channel = machine.conversions_by_channel()
        assert sum(by_channel[0][1:]) == readings.pot[0]
        assert sum(by_channel[3][1:]) == readings.current[1]
        assert by_channel[4][1] == readings.supply


def test_the_dropped_conversion_carries_the_channel_before() -> None:
    """A firmware that keeps it reads wrong: the pot's first code lies between the channels."""
    machine = rig(pot=quiet(), sensor=Sensor(noise_lsb=0.0))
    machine.step(*REST)
    codes = machine.conversions()
    assert codes[12] < codes[13] - 100


def test_one_sided_sensors_see_size_and_centred_ones_sign() -> None:
    for kind, zero, signs in (("one-sided", 0.1, (1, 1)), ("centred", 2.5, (1, -1))):
        sensor = Sensor(kind=kind, v_per_a=0.5, zero_v=zero, noise_lsb=0.0)
        for drive, sign in zip((1000, -1000), signs, strict=True):
            machine = rig(pot=quiet(), sensor=sensor)
            for _ in range(100):
                readings = machine.step([drive, 0], [DRIVE, OFF])
            amps = abs(machine.plants[1].current_a) * sign
            expected = 4 * (zero + 0.5 * amps) / 5.0 * 1024
            assert readings.current[0] == pytest.approx(expected, abs=4)


def test_a_one_sided_sensor_is_blind_while_the_bridge_brakes() -> None:
    machine = rig(sensor=Sensor(noise_lsb=0.0))
    for _ in range(100):
        machine.step([1000, 0], [DRIVE, OFF])
    readings = machine.step([0, 0], [BRAKE, OFF])
    assert machine.plants[1].current_a < -2.0
    assert readings.current[0] == 0


def test_supply_and_bandgap_read_through_the_boards_own_reference() -> None:
    supply = Supply(volts=13.0, divider_ratio=6.0, noise_lsb=0.0)
    machine = Rig(Machine(supply=supply, board=BoardFigures(4.8, 1.1)))
    readings = machine.step(*REST)
    assert readings.supply == int(13.0 / 6.0 / 4.8 * 1024)
    assert readings.bandgap == int(1.1 / 4.8 * 1024)


def test_the_bandgap_has_its_turn_every_sixteenth_scan() -> None:
    machine = rig()
    machine.restart_scan()
    seen = []
    for _ in range(40):
        machine.machine.board.reference_v -= 0.004
        seen.append(machine.step(*REST).bandgap)
    changes = [tick for tick in range(1, 40) if seen[tick] != seen[tick - 1]]
    assert changes == [16, 32]


def test_the_supply_sags_under_its_source() -> None:
    machine = Rig(Machine(supply=Supply(12.0, source_ohm=0.5), rods={1: Rod()}))
    for _ in range(300):
        machine.step([1000, 0], [DRIVE, OFF])
    amps = machine.plants[1].current_a
    assert machine.supply_v == pytest.approx(12.0 - 0.5 * amps, abs=1e-3)
    assert machine.supply_v < 11.5


def test_pwm_draws_its_share_of_the_motor_current() -> None:
    """What goes into the bridge comes out: V I of the supply = V I of the motor."""
    machine = Rig(Machine(supply=Supply(12.0, source_ohm=0.5), rods={1: Rod()}))
    for _ in range(300):
        machine.step([500, 0], [DRIVE, OFF])
    drawn = (12.0 - machine.supply_v) / 0.5
    motor = machine.plants[1]
    assert drawn * machine.supply_v == pytest.approx(motor.current_a * motor.volts, rel=1e-3)


def test_the_same_seed_gives_the_same_run() -> None:
    def story(seed: int) -> list[tuple[int, int, int]]:
        machine = rig(seed)
        steps = []
        for _ in range(700):
            readings = machine.step([600, 0], [DRIVE, OFF])
            steps.append((readings.pot[0], readings.current[0], readings.supply))
        return steps

    assert story(5) == story(5)
    assert story(5) != story(6)


def test_a_fault_elsewhere_does_not_change_the_noise_already_drawn() -> None:
    plain, faulty = rig(9), rig(9)
    faulty.set_fault("jam", 1, 150.0)
    assert pots(plain, 50) == pots(faulty, 50)
