"""The binary boots, answers, measures what the machine shows, and drives the lines as told."""

from __future__ import annotations

import itertools

import pytest
from rodbench.emulator.plant_file import default_machine
from rodbench.emulator.signals import BRAKE, DRIVE, OFF
from rodbench_protocol.names import SCHEMA_DIGEST, AxisState, ResetCause

from tests.board import build
from tests.board.host import Host, rod_settings
from tests.board.session_board import codes_of
from tests.board.simboard import BOOT_CYCLES, OK, TICK_CYCLES, Chip, SimBoard

READINGS = {"pot": [4001, 8184], "current": [0, 4092], "supply": 431, "bandgap": 225}


def board() -> SimBoard:
    machine = default_machine()
    machine.board.boot_ms = 5.0
    return SimBoard(machine)


@pytest.mark.parametrize("baud", [250_000, 115_200])
def test_hello_from_the_binary(baud: int) -> None:
    machine = default_machine()
    machine.board.boot_ms, machine.line.baud = 5.0, baud
    hello = Host(SimBoard(machine)).open()
    assert hello["schema_digest"] == SCHEMA_DIGEST
    assert hello["name"] == "rodbench"
    assert ResetCause(hello["reset_cause"]) is ResetCause.POWER_ON


def test_bridge_lines_are_low_before_anything_else() -> None:
    """Within the first hundred cycles, before variables exist; and never high through the boot."""
    chip = Chip(build.firmware())
    chip.run("cycles", 100)
    assert chip.data[0x24] & 0x26 == 0x26  # DDRB: D9, D10 and the alarm light are outputs
    assert chip.data[0x2A] & 0xF0 == 0xF0  # DDRD: D4 to D7
    while chip.run("to_tick", 1000) != OK:
        assert [chip.axis(0), chip.axis(1)] == [(OFF, 0.0), (OFF, 0.0)]
    chip.close()


def test_ticks_come_every_five_milliseconds_to_the_cycle() -> None:
    chip = Chip(build.firmware())
    assert chip.tick(BOOT_CYCLES) == OK
    boundaries = []
    for _ in range(50):
        assert chip.tick() == OK
        boundaries.append(chip.call("boundary"))
    assert {b - a for a, b in itertools.pairwise(boundaries)} == {TICK_CYCLES}
    chip.close()


def test_the_schedule_of_conversions_is_fixed_and_fits() -> None:
    chip = Chip(build.firmware())
    chip.tick(BOOT_CYCLES)
    seen = set()
    for _ in range(34):  # twice through the sixteen turns
        chip.tick()
        chip.run("cycles", TICK_CYCLES - 2000 - chip.call("tick_length"))
        seen.add((chip.call("conversions"), chip.call("first_conversion") // 500))
        assert chip.call("last_conversion") + 2000 < TICK_CYCLES
    assert seen == {(34, 16)}  # begun half a millisecond after the tick
    chip.close()


def test_sums_are_those_of_the_codes() -> None:
    chip = Chip(build.firmware())
    chip.codes(codes_of(READINGS))
    for _ in range(3):
        chip.tick(BOOT_CYCLES)
    values = chip.variable("latest")
    words = [int.from_bytes(values[n : n + 2], "little") for n in range(0, 12, 2)]
    assert words == [4001, 8184, 0, 4092, 431, 225]
    chip.close()


def test_telemetry_shows_the_machine() -> None:
    simulated = board()
    host = Host(simulated)
    host.open()
    host.settle(1, rod_settings(simulated.machine.rods[1]))
    host.do("subscribe", axis_period_ms=10, board_period_ms=100)
    host.step(60)
    plant = simulated.rig.plants[1]
    assert host.axis(1)["raw"] == pytest.approx(8 * (1024 * plant.pot_share - 0.5), abs=6)
    assert host.axis(1)["position_um"] / 1000 == pytest.approx(plant.position_mm, abs=1.0)  # bleed
    board_frames = [m.fields for m in host.heard if m.name == "telemetry_board"]
    assert board_frames[-1]["supply_mv"] / 1000 == pytest.approx(simulated.rig.supply_v, abs=0.1)
    assert board_frames[-1]["board_5v_mv"] == pytest.approx(5000, abs=30)
    assert board_frames[-1]["frames_bad"] == 0


def test_a_jog_drives_the_lines_and_a_stop_brakes_them() -> None:
    simulated = board()
    host = Host(simulated)
    host.open()
    host.settle(1, {"feedback": 1})
    host.do("subscribe", axis_period_ms=10, board_period_ms=100)
    host.alive = True
    host.do("jog", axis=1, unit=0, value=-250)
    host.step(60)
    assert simulated.chip.axis(0) == (DRIVE, -250.0)
    assert simulated.chip.axis(1) == (OFF, 0.0)
    assert host.axis()["output_permille"] == -250
    host.do("stop", axis=1, category=0)
    host.step(2)
    assert simulated.chip.axis(0) == (BRAKE, 0.0)
    host.until(AxisState.IDLE)


def test_silence_ends_a_jog_within_its_hold_and_ramp() -> None:
    simulated = board()
    host = Host(simulated)
    host.open()
    host.settle(1, {"feedback": 1})
    host.alive = True
    host.do("jog", axis=1, unit=0, value=250)
    host.step(40)
    host.alive = False
    simulated.step(50 + 8 + 20)  # the hold, the age of the last echo, the ramp
    assert simulated.chip.axis(0)[0] != DRIVE
