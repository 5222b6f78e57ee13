"""Faults do what they say, when they are said."""

import pytest
from rodbench.emulator.faults import KINDS, Fault
from rodbench.emulator.plant import Ends, Rod
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import BRAKE, DRIVE, OFF, Readings
from rodbench.emulator.wiper import Pot
from rodbench.errors import UsageError


def rig(*faults: Fault, start_mm: float = 100.0, ends: str = "switch") -> Rig:
    rod = Rod(start_mm=start_mm, ends=Ends(kind=ends), pot=Pot(noise_lsb=0.3))
    return Rig(Machine(rods={1: rod}, faults=list(faults)))


def drive(machine: Rig, permille: int, ticks: int) -> Readings:
    bridge = DRIVE if permille else OFF
    for _ in range(ticks):
        readings = machine.step([permille, 0], [bridge, OFF])
    return readings


def test_an_open_pot_falls_to_0_within_25_ms() -> None:
    machine = rig()
    assert drive(machine, 0, 10).pot[0] > 3000
    machine.set_fault("pot_open", 1)
    assert drive(machine, 0, 5).pot[0] < 8 * 4
    assert drive(machine, 0, 5).pot[0] <= 8
    machine.clear_fault("pot_open", 1)
    assert drive(machine, 0, 1).pot[0] > 3000


def test_a_shorted_pot_reads_its_rail() -> None:
    machine = rig()
    machine.set_fault("pot_short", 1)
    assert drive(machine, 0, 1).pot[0] == 8184
    machine.set_fault("pot_short", 1, 0.0)
    assert drive(machine, 0, 1).pot[0] <= 8


def test_a_frozen_pot_stays_while_the_rod_goes() -> None:
    machine = rig()
    before = machine.plants[1].pot_raw
    machine.set_fault("pot_frozen", 1)
    drive(machine, 1000, 400)
    assert machine.plants[1].position_mm > 110
    assert machine.plants[1].pot_raw == before


def test_a_noisy_pot_gets_its_noise() -> None:
    machine = rig()
    quiet = {drive(machine, 0, 1).pot[0] for _ in range(300)}
    machine.set_fault("pot_noisy", 1, 8.0)
    loud = {drive(machine, 0, 1).pot[0] for _ in range(300)}
    assert max(quiet) - min(quiet) < 12
    assert max(loud) - min(loud) > 60  # six sigma of 22.6 raw, and more


def test_swapped_pot_wires_mirror_the_reading() -> None:
    machine = rig()
    straight = machine.plants[1].pot_raw
    machine.set_fault("pot_swapped", 1)
    assert machine.plants[1].pot_raw + straight == pytest.approx(8184, abs=80)
    falling = machine.plants[1].pot_raw
    drive(machine, 1000, 100)
    assert machine.plants[1].pot_raw < falling - 50


def test_an_open_motor_lead_stops_current_and_rod() -> None:
    machine = rig()
    drive(machine, 1000, 100)
    machine.set_fault("motor_open", 1)
    drive(machine, 1000, 300)
    stood = machine.plants[1].position_mm
    readings = drive(machine, 1000, 100)
    assert machine.plants[1].position_mm == stood
    assert readings.current[0] <= 4


def test_swapped_motor_wires_turn_it_round() -> None:
    machine = rig()
    machine.set_fault("motor_swapped", 1)
    drive(machine, 1000, 200)
    assert machine.plants[1].position_mm < 95


@pytest.mark.parametrize(("permille", "at"), [(1000, 110.0), (-1000, 90.0)])
def test_a_jam_holds_the_rod_at_its_place_from_either_side(permille: int, at: float) -> None:
    machine = rig()
    machine.set_fault("jam", 1, at)
    readings = drive(machine, permille, 800)
    assert machine.plants[1].position_mm == pytest.approx(at)
    assert abs(machine.plants[1].current_a) > 5.5  # stalled
    assert readings.current[0] > 600
    drive(machine, -permille, 400)
    assert abs(machine.plants[1].position_mm - at) > 5


def test_a_dead_end_switch_lets_the_rod_run_into_its_hard_end() -> None:
    machine = rig(start_mm=198.0)
    machine.set_fault("end_switch_dead", 1)
    drive(machine, 1000, 600)
    assert machine.plants[1].position_mm == 207.0  # 4 mm of overtravel
    assert machine.plants[1].current_a > 5.5


def test_a_stuck_driver_drives_whatever_the_bridge_is_told() -> None:
    machine = rig()
    machine.set_fault("driver_stuck", 1, 500.0)
    for _ in range(200):
        readings = machine.step([0, 0], [BRAKE, OFF])
    assert machine.plants[1].position_mm > 102
    assert readings.current[0] > 100


def test_a_sagging_supply() -> None:
    machine = rig()
    machine.set_fault("supply_sag", 0, 8.0)
    drive(machine, 0, 2)
    assert machine.supply_v == 8.0
    machine.clear_fault("supply_sag")
    drive(machine, 0, 2)
    assert machine.supply_v == pytest.approx(12.4)


def test_faults_come_and_go_at_their_times() -> None:
    machine = rig(
        Fault("pot_frozen", 1, at_s=0.5, until_s=1.0), Fault("bytes_lost", value=0.1, at_s=0.25)
    )
    story = []
    for _ in range(250):
        drive(machine, 0, 1)
        story.append(("pot_frozen" in machine.plants[1].faults, bool(machine.line_faults)))
    frozen = [tick for tick, (now, _) in enumerate(story) if now]
    assert (frozen[0], frozen[-1]) == (100, 199)
    assert [lost for _, lost in story].index(True) == 50


def test_a_fault_that_nobody_knows_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        rig().set_fault("gremlin", 1)
    assert "pot_open" in (caught.value.hint or "")
    with pytest.raises(UsageError, match="axis 2 has none"):
        rig().set_fault("jam", 2, 1.0)


def test_every_kind_of_fault_on_a_rod_can_be_cleared() -> None:
    for name, kind in KINDS.items():
        machine, axis = rig(), 1 if kind.place == "rod" else 0
        machine.set_fault(name, axis)
        machine.clear_fault(name, axis)
        assert machine.plants[1].faults == {}
        assert machine.line_faults == {}
