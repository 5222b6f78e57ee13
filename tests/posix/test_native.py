"""The port against the core itself: the same readings and bytes give the same lines, bytes and
EEPROM, tick by tick. What the layer does (sums, order of a tick, line, memory) is all in between.

The core is built here for the port's kind of board, and fed sums that are made of the conversions
without the port's help.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field

from rodbench.emulator.signals import Readings
from rodbench_protocol.names import AxisState

from tests.board.host import Host
from tests.core.native import CHECKED, Board, build_library, load
from tests.posix.board import PosixBoard
from tests.posix.machine import machine, settings
from tests.posix.process import IN, Process, Record, readings_record

POWER_ON = 1


PORT = ("-DCORE_KIND=POSIX_3V3", "-DCORE_LOCAL_INPUTS=0")  # this board has no buttons or stick


@functools.cache
def core():
    return load(build_library("core-posix.so", (*CHECKED, *PORT)))


@dataclass
class Tick:
    """What went in and came out of one tick of the port."""

    conversions: tuple[int, ...]
    heard: bytes
    record: Record
    said: bytes


@dataclass
class Recorder:
    """Stands before the process and keeps its life."""

    process: Process
    life: list[Tick] = field(default_factory=list)

    def __getattr__(self, name: str):
        return getattr(self.process, name)

    def tick(self, readings: Readings, rx: bytes = b"", control: int = 0) -> Record:
        readings.bandgap = 1300 + len(self.life) % 97  # when it is taken matters
        record = self.process.tick(readings, rx, control)
        conversions = IN.unpack(readings_record(readings, control))[:5]
        self.life.append(Tick(conversions, rx, record, b""))
        return record

    def sent(self) -> bytes:
        self.life[-1].said = self.process.sent()
        return self.life[-1].said


def lived() -> tuple[list[Tick], bytes]:
    """A life with settings, a store, motions of every kind, a silence and a stop."""
    board = PosixBoard(machine())
    board.process.kill()
    board.process = Process(board._file, "--seed", "4660")
    recorder = board.process = Recorder(board.process)  # type: ignore[assignment]
    host = Host(board)
    host.open()
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.settle(1, settings())
    host.store()
    host.alive = True
    host.step(10)
    host.do("move", axis=1, target_um=25_000, speed_um_s=0)
    host.step(60)
    host.until(AxisState.IDLE)
    host.do("jog", axis=1, unit=1, value=-5_000)
    host.step(150)
    host.do("stop", axis=1, category=1)
    host.step(100)
    host.do("run", axis=1, output_permille=600)
    host.step(100)
    host.alive = False
    host.step(200)
    host.board.write(bytes(range(256)) + b"\0")  # no frame of any kind
    host.step(20)
    host.ask("counters")
    eeprom = board.eeprom
    board.close()
    return recorder.life, eeprom


def test_outputs_bytes_and_memory_are_those_of_the_core() -> None:
    life, eeprom = lived()
    native, bandgap = Board(core()), 0
    native.eeprom[:] = b"\xff" * 1024
    native.boot(POWER_ON, 4660)
    for number, was in enumerate(life):
        first, second, current, supply, now = was.conversions
        bandgap = now if number % 16 == 0 else bandgap
        native.set_readings((first + second, 0), (current, 0), supply, bandgap)
        native.tick(was.heard)
        out, tick = native.outputs(), was.record
        if out.ee_write:
            native.eeprom[out.ee_address] = out.ee_value
        mine = (number + 1, out.drive[0], out.bridge[0], out.driver[0], out.alarm)
        assert mine == (tick.tick, tick.drive, tick.bridge, tick.driver, tick.alarm)
        assert native.sent() == was.said, f"tick {number + 1}"
    assert bytes(native.eeprom) == eeprom
    drives = {tick.record.drive for tick in life}
    assert min(drives) < -100  # it did move both ways
    assert max(drives) > 100
    assert eeprom.count(b"\xff") < 800  # and stored
