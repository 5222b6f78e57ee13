"""The twin against the whole binary: the same bytes on the line and the same bridge, tick by tick.

The binary lives its life under the emulated machine; what it read and heard is then given to the
twin. Nothing may differ. The one figure that may, `worst_tick_us` in the reply to counters, is
measured on the board and is 0 in the twin; it is not asked for here.
"""

from __future__ import annotations

import struct
from collections.abc import Callable

import pytest
from rodbench.emulator.plant_file import default_machine
from rodbench.emulator.signals import BRAKE, DRIVE, OFF, Outputs, Readings
from rodbench.emulator.twin.core import Twin
from rodbench_protocol import framing
from rodbench_protocol.messages import parse
from rodbench_protocol.names import AxisState, Features

from tests.board.host import Host, rod_settings
from tests.board.simboard import EEPROM_BYTES, POWER_ON, SimBoard

Bridge = tuple[int, float]


class Recorded(SimBoard):
    """A simulated board that keeps what it read, heard, said and drove in each tick."""

    def __init__(self) -> None:
        machine = default_machine()
        machine.board.boot_ms = 5.0
        self.life: list[tuple[Readings, bytes, list[Bridge]]] = []
        self.said = bytearray()
        super().__init__(machine, eeprom=b"\xff" * EEPROM_BYTES)

    def _run(self, arrived: bytes) -> None:
        push = self._up.push
        self._up.push = lambda data: (self.said.extend(data), push(data))  # type: ignore[method-assign, assignment, func-returns-value]
        super()._run(arrived)
        self._up.push = push  # type: ignore[method-assign]
        assert self.chip.call("waiting") == 0  # all that arrived was heard in its tick
        words = struct.unpack("<6H", self.chip.variable("latest")[:12])
        read = list(words[0:2]), list(words[2:4]), words[4], words[5]
        readings = Readings(*read, inputs=self.rig.inputs)
        self.life.append((readings, arrived, [self.chip.axis(0), self.chip.axis(1)]))


def lines(out: Outputs, index: int) -> Bridge:
    """What these outputs do to the bridge's lines: 401 steps of PWM, and 0 is off."""
    if out.bridge[index] == DRIVE:
        drive = out.drive[index]
        steps = (2 * abs(drive) + 2) // 5
        return (DRIVE, (steps if drive > 0 else -steps) * 2.5) if steps else (OFF, 0.0)
    return (out.bridge[index], 0.0)


def relive(board: Recorded, nonce: int) -> None:
    """Give the twin the same life; nothing may differ."""
    eeprom, said = bytearray(b"\xff" * EEPROM_BYTES), bytearray()
    twin = Twin(eeprom, None, POWER_ON, nonce)
    for tick, (readings, heard, driven) in enumerate(board.life, 1):
        if heard:
            twin.receive(heard)
        out = twin.tick(readings)
        assert [lines(out, 0), lines(out, 1)] == driven, f"tick {tick}"
        if out.ee_write:
            eeprom[out.ee_address] = out.ee_value
        said += twin.transmit()
    assert eeprom == board.eeprom
    mine, theirs = frames(bytes(said)), frames(bytes(board.said))
    assert len(mine) - len(theirs) < 4  # the last ones are still on their way
    for wanted, got in zip(mine, theirs, strict=False):
        said_1, said_2 = parse(framing.decode(wanted)), parse(framing.decode(got))
        if said_1.name == "hello":  # the twin has local control: this build has the gang instead
            assert said_1.fields["features"] == said_2.fields["features"] | Features.LOCAL_CONTROL
            said_1.fields["features"] = said_2.fields["features"]
            assert said_1 == said_2
        else:
            assert wanted == got, (said_1, said_2)


def frames(data: bytes) -> list[bytes]:
    """All whole frames."""
    return framing.Splitter().feed(data)


def moves(board: Recorded, host: Host) -> None:
    host.settle(1, rod_settings(board.machine.rods[1]))
    host.settle(2, rod_settings(board.machine.rods[2]))
    host.alive = True
    host.step(10)
    at = {axis: host.axis(axis)["position_um"] for axis in (1, 2)}
    host.do("move", axis=1, target_um=at[1] + 12_000, speed_um_s=0)
    host.do("move", axis=2, target_um=at[2] - 9_000, speed_um_s=4000)
    host.step(200)
    for axis in (1, 2):
        host.until(AxisState.IDLE, axis)
    host.do("jog", axis=1, unit=1, value=-3000)
    host.step(100)
    host.do("jog", axis=1, unit=1, value=5000)
    host.do("run", axis=2, output_permille=700)
    host.step(150)
    host.do("stop", axis=1, category=1)
    host.do("stop", axis=2, category=0)
    host.step(100)
    host.do("move", axis=1, target_um=at[1], speed_um_s=0)
    host.step(60)
    host.alive = False  # the host falls silent in a move: a latched fault
    host.step(250)
    assert host.axis(1)["state"] == AxisState.FAULT


def learning(board: Recorded, host: Host) -> None:
    host.settle(1, {"feedback": 1, "creep_output_permille": 350})
    board.rig.plants[1].place(6.0)
    host.step(4)
    host.alive = True
    direction = -1 if not board.machine.rods[1].motor.reversed else 1
    host.do("jog", axis=1, unit=0, value=200)
    host.step(60)
    host.do("stop", axis=1, category=1)
    host.step(200)
    host.do("seek", axis=1, direction=direction)
    host.step(1500)
    host.do("outcome", axis=1)
    assert host.axis(1)["state"] == AxisState.IDLE
    host.store()
    host.do("digests")


def troubles(board: Recorded, host: Host) -> None:
    host.settle(1, rod_settings(board.machine.rods[1]) | {"stall_time_ms": 200})
    host.settle(2, rod_settings(board.machine.rods[2]) | {"stop_by": 1})
    host.alive = True
    for axis, fault in ((1, "jam"), (2, "pot_open")):
        host.do("run", axis=axis, output_permille=-400)
        host.step(100)
        board.rig.set_fault(fault, axis, board.rig.plants[axis].position_mm - 1.0)
        host.step(500)
        assert host.axis(axis)["state"] == AxisState.FAULT, (axis, host.axis(axis))
        board.rig.clear_fault(fault, axis)
        host.step(50)
        host.do("clear", axis=axis)
        host.step(20)
    board.write(b"\x05\x01\x02\x00\x00noise\x00")
    host.step(10)


@pytest.mark.parametrize("procedure", [moves, learning, troubles])
def test_same_telemetry_and_same_lines(procedure: Callable[[Recorded, Host], None]) -> None:
    board = Recorded()
    host = Host(board)
    nonce = host.open()["boot_nonce"]
    host.do("subscribe", axis_period_ms=10, board_period_ms=100)
    host.step(20)
    procedure(board, host)
    driven = sum(state == DRIVE for _, _, both in board.life for state, _ in both)
    assert driven > 100
    assert any(state == BRAKE for _, _, both in board.life for state, _ in both)
    relive(board, nonce)
