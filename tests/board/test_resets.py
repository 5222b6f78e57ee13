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
from tests.core.bench import hot_of

WATCHDOG_MS = 32
HANG = 77  # permille on axis 2: the test build hangs there
NOT_KNOWN = 0xFFFFFFFF
WINDOW_S = 7200
BUDGET = WINDOW_S * 200  # ticks, at a share of 1000
RECORD_TICKS = 20  # in which the memory's record of the start is written
LEAD, AHEAD, UNIT = 64, 6016, 32  # ticks that it tells in advance, at rest and in motion; its unit


def fitted(**options: bool | str) -> tuple[SimBoard, Host]:
    machine = default_machine()
    machine.board.boot_ms = 5.0
    simulated = SimBoard(machine, elf=build.firmware(**options))
    host = Host(simulated)
    host.open()
    for axis in (1, 2):
        host.settle(axis, {"feedback": 1, "duty_share_permille": 1000, "duty_window_s": WINDOW_S})
    host.store()
    return simulated, host


def board_told(host: Host) -> dict[str, int]:
    """The board's own telemetry."""
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.step(12)
    return [m.fields for m in host.heard if m.name == "telemetry_board"][-1]


def powered(simulated: SimBoard) -> Host:
    """A host of the board that has power again; half a frame may have been on the line."""
    host = Host(simulated)
    host.step(15)
    assert ResetCause(host.open()["reset_cause"]) is ResetCause.POWER_ON
    return host


def on_ticks(host: Host) -> int:
    """Of axis 1, as the board has counted it."""
    return board_told(host)["on_ticks_1"]


def used(host: Host) -> int:
    """Ticks of axis 1 that count against its budget."""
    return BUDGET - board_told(host)["duty_left_1_ms"] // 5


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

    def run_on(self, cycles: int) -> None:
        """Run on for some cycles, as far as nobody tells the machine."""
        chip = self.simulated.chip
        began = chip.call("boundary")
        chip.run("cycles", cycles)
        if chip.call("boundary") != began:
            if chip.call("in_tick"):
                self.doubtful += 1  # the reset fell into the tick's own work
            else:
                self.driven += chip.axis(0)[0] == DRIVE

    def run_into_reset(self, cycles: int) -> None:
        """Run on for some cycles, then pull the reset line."""
        self.run_on(cycles)
        self.simulated.reset()

    def run_into_power_cut(self, cycles: int, draw: random.Random) -> None:
        """Run on, then cut the power; a byte that was being written may read anything."""
        self.simulated.chip.writes()
        self.run_on(cycles)
        begun = self.simulated.chip.writes()
        self.simulated.power_cut(10, {address: draw.randrange(256) for address, _ in begun})


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
    assert used(host) == counted  # all lies in the window


def test_power_cuts_in_motion_forget_nothing_and_add_no_more_than_stated() -> None:
    """A torn byte among them; RAM is lost, so what the memory tells counts."""
    simulated, host = fitted()
    truth = Truth(simulated)
    draw = random.Random(11)
    for cut in range(1, 9):
        host.alive = True
        host.do("jog", axis=1, unit=0, value=250)
        host.step(draw.randrange(4, 40))
        truth.run_into_power_cut(draw.randrange(TICK_CYCLES + TICK_CYCLES // 3), draw)
        host = powered(simulated)
        assert truth.driven <= used(host) <= truth.driven + cut * (AHEAD + LEAD + UNIT)
        assert on_ticks(host) == NOT_KNOWN
    assert truth.driven > 50


def test_the_memory_tells_of_a_tick_before_it_is_driven() -> None:
    simulated, host = fitted()
    truth = Truth(simulated)
    host.do("subscribe", axis_period_ms=50, board_period_ms=200)
    host.alive = True
    host.do("jog", axis=1, unit=0, value=250)
    for _ in range(120):
        host.step()
        assert hot_of(simulated.eeprom)[1] * UNIT >= truth.driven
    assert truth.driven > LEAD


def test_a_board_that_never_moved_has_spent_nothing() -> None:
    _, host = fitted()
    assert board_told(host)["on_ticks_1"] == used(host) == 0


def test_a_power_loss_at_rest_adds_what_the_memory_tells_in_advance() -> None:
    """How much was driven in all is not known any more: RAM had counted it."""
    simulated, host = fitted()
    for cut in range(1, 6):
        host.step(RECORD_TICKS)
        simulated.power_cut(10)
        host = powered(simulated)
        assert 0 < used(host) <= cut * (LEAD + UNIT)
        assert on_ticks(host) == NOT_KNOWN


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
