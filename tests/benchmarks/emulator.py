"""Emulator seconds per wall second, every tick run, two axes, plant and line on.

    python tests/benchmarks/emulator.py [SECONDS] [--profile]

Moving: both rods go to and fro between their soft stops by `move`, renewed every 50 ms, with
telemetry of both axes at 100 Hz carried over the line and read. At rest: the same, nothing moves.
Emulated seconds are counted in ticks of 5 ms. Aim: 50 on one core. Beside it, in the same run, what
the machine alone costs (rig), so that its share shows.
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import time
from collections.abc import Callable

from rodbench.board import Board
from rodbench.clock import TICK_S, VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import default_machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import BRAKE, DRIVE
from rodbench.link.transport import EmulatorTransport
from rodbench_protocol import framing, messages
from rodbench_protocol.names import AxisState

RENEW_TICKS = 10
NEAR_MM, FAR_MM = 30.0, 160.0


def ready() -> EmulatedBoard:
    """A board whose two rods are calibrated by the plant's truth."""
    board, clock = EmulatedBoard(default_machine()), VirtualClock()
    clock.attach(board.step)
    host = Board.direct(EmulatorTransport(board, clock), clock)
    for axis, plant in board.rig.plants.items():
        stroke = plant.rod.stroke_mm
        host.write_scope(
            axis,
            {
                "feedback": 1,
                "calibrated": 1,
                "motor_reversed": int(plant.rod.motor.reversed),
                "raw_retracted": round(plant.pot_raw_at(0.0)),
                "raw_extended": round(plant.pot_raw_at(stroke)),
                "stroke_um": round(stroke * 1000),
                "soft_stop_min_um": 10_000,
                "soft_stop_max_um": 190_000,
                "speed_max_um_s": 7000,
                "creep_speed_um_s": 1500,
                "full_speed_extend_um_s": 8100,
                "full_speed_retract_um_s": 8500,
                "run_on_extend_um": 400,
                "run_on_retract_um": 400,
                "trip_ma": 6000,
                "duty_share_permille": 1000,
            },
        )
    return board


class Driver:
    """The least host: renews, and sends each rod back when it has arrived."""

    SESSION = 99

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        self.seq = 0
        self.moves = 0
        nonce = board.twin.noinit.nonce
        self.send("open", boot_nonce=nonce, protocol_major=1, protocol_minor=0)
        self.send("subscribe", axis_period_ms=10, board_period_ms=100)

    def send(self, name: str, **fields: int) -> None:
        """A request, two ticks ago when this returns."""
        self.seq = (self.seq + 1) & 0xFF
        self.board.write(framing.encode(messages.pack(name, self.SESSION, self.seq, **fields)))
        self.board.step(2)

    def renew(self) -> None:
        tick = self.board.twin.ticks
        self.board.write(framing.encode(messages.pack("alive", self.SESSION, 0, tick=tick)))

    def drive(self) -> None:
        twin = self.board.twin
        self.renew()
        for axis in (1, 2):
            if twin.axis[axis - 1].state == AxisState.IDLE:
                out = self.board.rig.plants[axis].position_mm < (NEAR_MM + FAR_MM) / 2
                target = FAR_MM if out else NEAR_MM
                self.send("move", axis=axis, target_um=round(target * 1000), speed_um_s=0)
                self.moves += 1


def moving(driver: Driver, seconds: float) -> None:
    board = driver.board
    end = board.ticks + round(seconds / TICK_S)
    while board.ticks < end:
        driver.drive()
        board.step(RENEW_TICKS)
        board.read()


def at_rest(board: EmulatedBoard, seconds: float) -> None:
    for _ in range(round(seconds / TICK_S / RENEW_TICKS)):
        board.step(RENEW_TICKS)
        board.read()


def rig_alone(seconds: float) -> None:
    rig = Rig(default_machine())
    for tick in range(round(seconds / TICK_S)):
        drive = 800 if tick % 3000 < 1500 else -800
        rig.step([-drive, drive], [DRIVE, DRIVE] if tick % 1500 > 20 else [BRAKE, BRAKE])


def figure(what: str, seconds: float, run: Callable[[], None]) -> None:
    start, busy = time.perf_counter(), time.process_time()
    run()
    wall, busy = time.perf_counter() - start, time.process_time() - busy
    per_tick = busy / (seconds / TICK_S) * 1e6
    print(
        f"{what:<24} {seconds / wall:7.1f} s per wall second, {seconds / busy:7.1f} s per second "
        f"of the processor, {per_tick:5.1f} us a tick"
    )


def main(words: list[str]) -> None:
    numbers = [word for word in words if not word.startswith("-")]
    seconds = float(numbers[0]) if numbers else 60.0
    board = ready()
    driver = Driver(board)
    if "--profile" in words:
        profile = cProfile.Profile()
        profile.runcall(moving, driver, seconds)
        pstats.Stats(profile).sort_stats("tottime").print_stats(40)
        return
    on_before = [duty.total for duty in board.twin.noinit.duty]
    figure("two axes moving", seconds, lambda: moving(driver, seconds))
    on = [
        duty.total - before for duty, before in zip(board.twin.noinit.duty, on_before, strict=True)
    ]
    figure("two axes at rest", seconds, lambda: at_rest(board, seconds))
    figure("rig alone, both moving", seconds, lambda: rig_alone(seconds))
    share = [100.0 * ticks * TICK_S / seconds for ticks in on]
    print(f"moving: {driver.moves} moves, output on in {share[0]:.0f} % and {share[1]:.0f} %")


if __name__ == "__main__":
    main(sys.argv[1:])
