"""Starts of the port: what it says it is, what survives what, and starts that cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.emulator.signals import OFF, Readings
from rodbench_protocol.names import Fault, ResetCause

from tests.board.host import Host
from tests.posix.board import PosixBoard
from tests.posix.machine import settings
from tests.posix.process import Process, Record, refusal

HANGS, ASSERTS = 0xFE, 0xFF  # inputs that ask the test build to


def test_hello_says_what_it_is(host: Host) -> None:
    hello = host.do("hello")
    said = {name: hello[name] for name in FIGURES}
    assert said == FIGURES


# Two conversions of 12 bits: 2 x 4095. The supply is a 3.3 V rail.
FIGURES = {
    "board_kind": 2,
    "axis_count": 1,
    "adc_full_scale": 8190,
    "adc_reference_mv": 3300,
    "current_full_scale": 4095,
}


def test_conversions_are_summed_and_cut_to_twelve_bits(tmp_path: Path) -> None:
    process = Process(tmp_path / "eeprom")
    host = Host(Bare(process, Readings(pot=[4095 + 4090, 0], supply=1234)))
    host.open()
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.step(20)
    assert host.axis()["raw"] == 4095 + 4090
    board = [m.fields for m in host.heard if m.name == "telemetry_board"][-1]
    # 3300 mV are 4095 steps, behind the divider whose ratio is 5.71 until a meter was read
    assert board["supply_mv"] == pytest.approx(1234 / 4095 * 3300 * 5.71, abs=6)
    host.board.readings.pot[0] = 2 * 5000
    host.step(20)
    assert host.axis()["raw"] == 2 * 4095
    process.close()


class Bare:
    """A process with inputs that stand still, and no machine."""

    def __init__(self, process: Process, readings: Readings) -> None:
        self.process, self.readings = process, readings
        self.ticks = 0
        self.last = Record()
        self._to = b""

    def write(self, data: bytes) -> None:
        self._to += data

    def read(self) -> bytes:
        return self.process.sent()

    def step(self, ticks: int = 1) -> None:
        for _ in range(ticks):
            self.last = self.process.tick(self.readings, self._to)
            self._to = b""
            self.ticks += 1


def used(host: Host) -> int:
    """Ticks with output, as the board has counted them."""
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.step(12)
    return int([m.fields for m in host.heard if m.name == "telemetry_board"][-1]["on_ticks_1"])


def jogged(board: PosixBoard) -> Host:
    host = Host(board)
    host.open()
    host.settle(1, settings())
    host.store()
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.alive = True
    host.step(10)
    host.do("jog", axis=1, unit=1, value=4_000)
    host.step(100)
    host.do("stop", axis=1, category=1)
    host.step(100)
    return host


@pytest.mark.parametrize(
    ("how", "cause", "kept"),
    [
        ("restart", ResetCause.RESTART, True),
        ("reset line", ResetCause.EXTERNAL, True),
        ("power cut", ResetCause.POWER_ON, False),
    ],
)
def test_what_a_start_leaves(board: PosixBoard, how: str, cause: ResetCause, kept: bool) -> None:
    host = jogged(board)
    digest, on_ticks, nonce = (
        host.do("hello")["digest_live"], used(host), host.do("hello")["boot_nonce"],
    )  # fmt: skip
    assert on_ticks > 50
    if how == "restart":
        host.do("restart")
        host.step(20)
    elif how == "reset line":
        board.reset()
    else:
        board.power_cut()
    board.step(200)
    after = host.open()
    assert after["reset_cause"] == cause
    assert after["digest_live"] == after["digest_stored"] == digest
    assert after["boot_nonce"] != nonce
    assert (used(host) == on_ticks) is kept
    assert board.outputs.bridge[0] == OFF


def test_a_reset_takes_the_output_off_at_once(board: PosixBoard) -> None:
    host = jogged(board)
    host.do("jog", axis=1, unit=1, value=-4_000)
    host.step(60)
    assert board.outputs.drive[0] != 0
    board.reset()
    assert board.outputs.drive[0] == 0
    assert board.outputs.bridge[0] == OFF


def test_a_record_with_a_name_outlives_a_kill(tmp_path: Path) -> None:
    eeprom, record = tmp_path / "eeprom", str(tmp_path / "record")
    causes, nonces = [], []
    for _ in range(2):
        process = Process(eeprom, "--record", record, "--seed", "9")
        hello = Host(Bare(process, Readings(pot=[4000, 0]))).open()
        causes.append(hello["reset_cause"])
        nonces.append(hello["boot_nonce"])
        process.kill()
    assert causes == [ResetCause.UNKNOWN, ResetCause.EXTERNAL]
    assert nonces[1] != nonces[0]  # counted on from the record, though the seed is the same


def test_nonces_are_drawn_by_chance(tmp_path: Path) -> None:
    seen = set()
    for _ in range(4):
        process = Process(tmp_path / "eeprom")
        seen.add(Host(Bare(process, Readings(pot=[4000, 0]))).open()["boot_nonce"])
        process.kill()
    assert len(seen) > 2  # four alike of 65 536: never


@pytest.mark.parametrize(
    ("inputs", "cause", "fault"),
    [
        (HANGS, ResetCause.WATCHDOG, Fault.WATCHDOG),
        (ASSERTS, ResetCause.ASSERTION, Fault.ASSERTION),
    ],
)
def test_a_program_that_fails_ends_with_outputs_off(
    board: PosixBoard, inputs: int, cause: ResetCause, fault: Fault
) -> None:
    host = jogged(board)
    host.do("jog", axis=1, unit=1, value=-4_000)
    host.step(60)
    assert board.outputs.drive[0] != 0
    board.rig.inputs = inputs
    board.step()
    assert board._silent  # it starts anew
    assert board.outputs.bridge[0] == OFF
    board.rig.inputs = 0
    board.step(50)
    assert host.open()["reset_cause"] == cause
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.step(30)
    frame = [m.fields for m in host.heard if m.name == "telemetry_board"][-1]
    assert frame["faults"] == 1 << (fault - 1)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "no --eeprom"),
        (["--eeprom"], "--eeprom"),
        (["--eeprom", "/nowhere/eeprom"], "/nowhere/eeprom: No such file"),
        (["--eeprom", "/etc/hostname", "--lockstep"], "needs a --bench"),
        (["--nonsense", "1"], "--nonsense"),
        (["--eeprom", "/dev/null", "--line", "soup"], "soup: not a number"),
    ],
)
def test_a_start_that_cannot_be_says_why(words: list[str], said: str) -> None:
    code, complaint = refusal(words)
    assert code == 1
    assert said in complaint


def test_an_eeprom_of_another_size_is_refused_and_left(tmp_path: Path) -> None:
    other = tmp_path / "precious"
    other.write_bytes(b"not an EEPROM")
    code, complaint = refusal(["--eeprom", str(other)])
    assert code == 1
    assert "not 1024 bytes long" in complaint
    assert other.read_bytes() == b"not an EEPROM"
