"""Resets of the binary: causes, duty kept to the tick, watchdog, restart."""

from __future__ import annotations

import random

import pytest
from rodbench.emulator.plant_file import default_machine
from rodbench.emulator.signals import DRIVE, OFF
from rodbench_protocol.names import AxisState, Fault, ResetCause

from tests.board import build
from tests.board.host import Host
from tests.board.simboard import TICK_CYCLES, SimBoard

WATCHDOG_MS = 32
HANG = 77  # permille on axis 2: the test build hangs there


def fitted(**options: bool | str) -> tuple[SimBoard, Host]:
    machine = default_machine()
    machine.board.boot_ms = 5.0
    simulated = SimBoard(machine, elf=build.firmware(**options))
    host = Host(simulated)
    host.open()
    for axis in (1, 2):
        host.settle(axis, {"feedback": 1, "duty_share_permille": 1000})
    host.store()
    return simulated, host


def on_ticks(host: Host) -> int:
    """Of axis 1, as the board has counted it."""
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.step(12)
    frames = [m.fields for m in host.heard if m.name == "telemetry_board"]
    return int(frames[-1]["on_ticks_1"])


class Truth:
    """Counts ticks with output on the lines, however time is stepped."""

    def __init__(self, simulated: SimBoard) -> None:
        self.driven = self.doubtful = 0
        self.simulated = simulated
        run = simulated._run

        def counting(arrived: bytes) -> None:
            run(arrived)
            self.driven += simulated.outputs.bridge[0] == DRIVE

        simulated._run = counting  # type: ignore[method-assign]

    def run_into_reset(self, cycles: int) -> None:
        """Run on for some cycles, then pull the reset line."""
        chip = self.simulated.chip
        began = chip.call("boundary")
        chip.run("cycles", cycles)
        if chip.call("boundary") != began:
            if chip.call("in_tick"):
                self.doubtful += 1  # the reset fell into the tick's own work
            else:
                self.driven += chip.axis(0)[0] == DRIVE
        self.simulated.reset()


def test_duty_is_exact_through_fifty_short_runs() -> None:
    simulated, host = fitted()
    truth = Truth(simulated)
    host.alive = True
    for number in range(50):
        host.do("jog", axis=1, unit=0, value=150 if number % 2 else -150)
        host.step(10 + number % 7)
        host.do("stop", axis=0, category=1)
        host.step(40)
    assert truth.driven > 500
    assert on_ticks(host) == truth.driven


def test_duty_is_exact_through_resets_at_any_cycle() -> None:
    simulated, host = fitted()
    truth = Truth(simulated)
    draw = random.Random(7)
    for number in range(50):
        host.alive = True
        host.do("jog", axis=1, unit=0, value=150 if number % 2 else -150)
        host.step(draw.randrange(5, 15))
        truth.run_into_reset(draw.randrange(TICK_CYCLES + TICK_CYCLES // 3))
        host.alive = False
        assert ResetCause(host.open()["reset_cause"]) is ResetCause.EXTERNAL
    counted = on_ticks(host)
    assert truth.driven > 300
    assert truth.driven <= counted <= truth.driven + truth.doubtful
    assert truth.doubtful < 30  # most resets fell where there is no doubt


def test_power_on_begins_a_new_record() -> None:
    simulated, host = fitted()
    simulated.power_cut(10)
    host.step(15)
    assert ResetCause(host.open()["reset_cause"]) is ResetCause.POWER_ON
    assert on_ticks(host) == 0


def test_every_start_has_another_nonce() -> None:
    simulated, host = fitted()
    nonces: list[int] = []
    for number in range(13):
        if number % 3 == 2:
            simulated.power_cut(4)
        else:
            simulated.reset()
        host.step(8)
        nonces.append(host.open()["boot_nonce"])
    assert len(set(nonces)) == len(nonces)


def test_restart_is_a_reset_with_its_own_cause() -> None:
    simulated, host = fitted()
    host.do("restart")
    simulated.step(20)
    assert simulated.chip.call("resets") == 1
    assert ResetCause(host.open()["reset_cause"]) is ResetCause.RESTART


@pytest.mark.parametrize("watchdog", ["reset", "noreset"])
def test_a_hung_loop_drops_the_outputs_and_starts_anew(watchdog: str) -> None:
    simulated, host = fitted(hang=True, watchdog=watchdog)
    chip = simulated.chip
    host.alive = True
    host.send("jog", host.seq + 1, axis=2, unit=0, value=HANG)
    for _ in range(20):
        host.step()
        if abs(chip.axis(1)[1]) == pytest.approx(HANG, abs=2):
            break
    kicked = chip.call("ended")  # the last tick that the loop ended
    assert chip.axis(1)[0] == DRIVE
    while chip.axis(1)[0] == DRIVE:
        chip.run("cycles", 1000)
        assert chip.call("now") - kicked < 2 * WATCHDOG_MS * 16_000
    waited_ms = (chip.call("now") - kicked) / 16_000
    assert WATCHDOG_MS - 1 < waited_ms < WATCHDOG_MS + 1
    assert [chip.axis(index)[0] for index in (0, 1)] == [OFF, OFF]
    host.alive = False
    simulated.step(20)
    assert chip.call("resets") == (1 if watchdog == "reset" else 0)
    assert ResetCause(host.open()["reset_cause"]) is ResetCause.WATCHDOG
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.step(12)
    assert host.axis(2)["state"] in (AxisState.IDLE, AxisState.FAULT)
    board_frames = [m.fields for m in host.heard if m.name == "telemetry_board"]
    assert board_frames[-1]["faults"] >> (Fault.WATCHDOG - 1) & 1
