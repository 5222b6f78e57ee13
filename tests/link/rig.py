"""A small machine whose truth is known, calibrated from its figures, and a record of every tick."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass

from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.plant_file import Machine, parse
from rodbench.emulator.serve import PtyDoor, Served, TcpDoor
from rodbench.link.transport import EmulatorTransport

from tests import boards

# all figures invented
PLANT = """
plant_file = 1
name = "link test"
seed = 5
[supply]
volts = 12.0
[board]
boot_ms = 200.0
[axes.1]
stroke_mm = 100.0
start_mm = 40.0
[axes.1.motor]
resistance_ohm = 2.0
constant_v_s_per_mm = 0.7
friction_extend_a = 0.8
friction_retract_a = 0.8
[axes.1.pot]
retracted = 0.1
extended = 0.9
"""
SPEED_UM_S = 8_000
DECELERATION_UM_S2 = 40_000
RAMP_TICKS = 200 * SPEED_UM_S // DECELERATION_UM_S2
HOLD_TICKS = {"jog": 50, "move": 100}
PACE = 0.5  # of real time, for computers that are busy with other tests; all is counted in ticks
SETTLE_TICKS = 12  # from the end of the ramp's reference to output 0, and the tick that sees it

SETTINGS = {
    "feedback": 1,
    "calibrated": 1,
    "raw_retracted": boards.raw(0.1),
    "raw_extended": boards.raw(0.9),
    "stroke_um": 100_000,
    "soft_stop_min_um": 5_000,
    "soft_stop_max_um": 95_000,
    "speed_max_um_s": 10_000,
    "acceleration_um_s2": 40_000,
    "deceleration_um_s2": DECELERATION_UM_S2,
    "creep_output_permille": 300,
    "creep_speed_um_s": 2_500,
    "trip_ma": 4_000,
    "running_ma": 1_400,
    "full_speed_extend_um_s": 13_000,
    "full_speed_retract_um_s": 13_000,
    "speed_supply_mv": 12_000,
    "dead_zone_extend_permille": 133,
    "dead_zone_retract_permille": 133,
    "run_on_extend_um": 500,
    "run_on_retract_um": 500,
}


def machine(**line: float) -> Machine:
    """The machine, fresh."""
    return parse(PLANT, "link test")


def emulated(made: Machine | None = None):
    """The emulator's board, or the one that stands for it (tests/boards.py)."""
    return boards.make(made or machine())


def simulated(made: Machine | None = None):
    """The real binary in its simulator."""
    from tests.board.simboard import SimBoard

    return SimBoard(made or machine())


KINDS = {"emulator": emulated, "binary": simulated}
if boards.name() != "emulator":
    KINDS = {boards.name(): emulated}


@dataclass
class Tick:
    """What the board did in a tick."""

    drive: int
    position_mm: float
    speed_mm_s: float


class Recorded:
    """A board with a record of every tick."""

    def __init__(self, board) -> None:
        self.board = board
        self.ticks: list[Tick] = []

    def __getattr__(self, name):
        return getattr(self.board, name)

    def step(self, ticks: int = 1) -> None:
        for _ in range(ticks):
            self.board.step(1)
            plant = self.board.rig.plants[1]
            self.ticks.append(
                Tick(self.board.outputs.drive[0], plant.position_mm, plant.speed_mm_s)
            )

    @property
    def on_ticks(self) -> int:
        """Ticks with output, counted at the H-bridge."""
        return sum(t.drive != 0 for t in self.ticks)


def direct(board, **settings: int) -> tuple[Board, VirtualClock]:
    """A Board in virtual time on it, calibrated when settings are given."""
    clock = VirtualClock()
    clock.attach(board.step)
    api = Board.direct(EmulatorTransport(board, clock), clock)
    if settings:
        api.write_scope(1, settings)
    return api, clock


def calibrated(kind: str) -> Recorded:
    """A recorded board whose stored settings are true."""
    recorded = Recorded(KINDS[kind]())
    api, _ = direct(recorded, **SETTINGS)
    api.store()
    recorded.ticks.clear()
    return recorded


class Bench:
    """A calibrated board behind a port in real time. `hold_up` makes bytes wait before it."""

    def __init__(self, kind: str, way: str = "pty", pace: float = PACE) -> None:
        self.board = calibrated(kind)
        self.door = PtyDoor() if way == "pty" else TcpDoor(0)
        self.served = Served(self.board, self.door, pace)
        self._passing = threading.Event()
        self._passing.set()
        write = self.served.paced.write

        def write_when_passing(data: bytes) -> None:
            self._passing.wait()
            write(data)

        self.served.paced.write = write_when_passing

    @property
    def port(self) -> str:
        return self.door.address

    @property
    def now(self) -> int:
        """Ticks so far."""
        return len(self.board.ticks)

    def hold_up(self) -> None:
        """From now on bytes to the board wait in the port's buffer."""
        self._passing.clear()

    def let_pass(self) -> None:
        """The waiting bytes reach the board."""
        self._passing.set()

    def until(self, condition, timeout_s: float = 15.0) -> int:
        """The first tick from now on that satisfies it."""
        at, end = self.now, time.monotonic() + timeout_s
        while time.monotonic() < end:
            while at < self.now:
                if condition(self.board.ticks[at]):
                    return at
                at += 1
            time.sleep(0.002)
        raise AssertionError("nothing of the kind happened")

    def pass_ticks(self, count: int) -> None:
        """Let ticks pass."""
        end = self.now + count
        while self.now < end:
            time.sleep(0.002)

    def close(self) -> None:
        self.let_pass()
        self.served.close()
