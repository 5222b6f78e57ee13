"""Two random rods on one native board, moved as one; `gang_rods.py 300` prints figures.

    python tests/core/gang_rods.py 300

The rods are those of the promise of the soft stops: a plant that shares nothing with core or
emulator. Strokes, speeds, loads and noise differ between the two; their settings are as a
calibration finds them.
"""

from __future__ import annotations

import argparse
import ctypes as ct
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from rodbench_protocol import framing, messages, settings
from rodbench_protocol.names import AxisState, Bridge, Status

from tests.core import motion_promise as promise
from tests.core.host import SESSION, Host
from tests.core.native import CState
from tests.twin import memory

ALIVE_TICKS = 10
AT_REST = (AxisState.IDLE, AxisState.FAULT)


class State(ct.Structure):
    """plant_t."""

    _fields_ = (
        ("p", ct.c_void_p),
        *((name, ct.c_double) for name in ("x_mm", "v", "i", "slow_noise")),
        ("random", ct.c_uint64),
    )


class Rod:
    """One plant. `jammed`: it stands still whatever drives it; `pushed_mm` a tick moves it."""

    def __init__(self, library: ct.CDLL, plant: promise.Plant, share: float) -> None:
        self.library, self.plant, self.state = library, plant, State()
        start = ct.c_double(plant.stroke_mm * share)
        library.plant_start(ct.byref(self.state), ct.byref(plant), start)
        self.jammed = False
        self.pushed_mm = 0.0

    @property
    def share(self) -> float:
        """Of its stroke."""
        return float(self.state.x_mm / self.plant.stroke_mm)

    def step(self, drive: int, bridge: int) -> tuple[int, int]:
        """5 ms; pot and current as read."""
        before = self.state.x_mm
        self.library.plant_step(ct.byref(self.state), drive, bridge)
        if self.jammed:
            self.state.x_mm, self.state.v = before, 0.0
            stalled = self.plant.stall_a * abs(drive) / 1000
            self.state.i = stalled / self.plant.stall_a if bridge == Bridge.DRIVE else 0.0
        self.state.x_mm += self.pushed_mm
        pot = self.library.plant_pot(ct.byref(self.state))
        return pot, self.library.plant_current4(ct.byref(self.state))


@dataclass
class Pair:
    """The board and its rods, whose host lives."""

    apart_mm: float
    rods: tuple[Rod, Rod]
    values: tuple[dict[str, int], dict[str, int]]
    apart: list[float] = field(default_factory=list)
    alive: bool = True

    def __post_init__(self) -> None:
        board = settings.defaults("board") | {"apart_trip_um": int(self.apart_mm * 1000)}
        pots = [rod.step(0, Bridge.OFF)[0] for rod in self.rods]
        self.host = Host(memory.image(0, board, *self.values), pots=(pots[0], pots[1]))
        self.longer_mm = max(rod.plant.stroke_mm for rod in self.rods)
        self.frames = b""
        for _ in range(40):
            self.tick()

    def tick(self, data: bytes = b"") -> None:
        """One tick: the rods under the outputs of the last one, then the board."""
        out, board = self.host.board.outputs(), self.host.board
        read = [rod.step(out.drive[n], out.bridge[n]) for n, rod in enumerate(self.rods)]
        board.set_readings((read[0][0], read[1][0]), (read[0][1], read[1][1]))
        now = self.state.tick
        if self.alive and now % ALIVE_TICKS == 0:
            data += framing.encode(messages.pack("alive", SESSION, 0, tick=now))
        self.host.tick(data)
        self.apart.append((self.rods[0].share - self.rods[1].share) * self.longer_mm)

    @property
    def state(self) -> CState:
        """The board's, after the last tick."""
        return self.host.board.fields()

    @property
    def as_read(self) -> float:
        """How far rod 1 is ahead, mm of the longer rod, by the positions that the board told."""
        shares = [
            axis.position_um / values["stroke_um"]
            for axis, values in zip(self.state.axis, self.values, strict=True)
        ]
        return (shares[0] - shares[1]) * self.longer_mm

    def run(self, ticks: int) -> None:
        """So many ticks."""
        for _ in range(ticks):
            self.tick()

    def spend(self, index: int) -> None:
        """All of an axis's duty budget but half a second."""
        values = self.values[index]
        budget = values["duty_window_s"] * values["duty_share_permille"] // 5
        used = int(self.state.axis[index].duty_used)
        wishes = (ct.c_uint8 * (budget - used - 100))(*[1] * (budget - used - 100))
        self.host.board.lib.harness_duty_run(
            self.host.board.address, index, wishes, len(wishes), budget
        )

    def ask(self, name: str, **fields: object) -> int:
        """A request in the next tick; its status."""
        self.host.replies.clear()
        self.tick(self.host.frame(name, **fields))
        return int(self.host.replies[0].fields["status"])

    def until(self, done: Callable[[], bool], most: int = 20_000) -> int:
        """Ticks until it is so."""
        for count in range(most):
            if done():
                return count
            self.tick()
        raise AssertionError(f"not in {most} ticks")

    @property
    def at_rest(self) -> bool:
        """Neither axis has a motion under way."""
        return all(axis.state in AT_REST for axis in self.state.axis)

    def um(self, index: int, share: float) -> int:
        """A place on one rod."""
        return int(share * self.values[index]["stroke_um"])

    def room(self) -> tuple[float, float]:
        """Shares of stroke inside both rods' soft stops."""
        low = max(v["soft_stop_min_um"] / v["stroke_um"] for v in self.values)
        high = min(v["soft_stop_max_um"] / v["stroke_um"] for v in self.values)
        return low, high


Changes = tuple[dict[str, int], dict[str, int]]


def random_pair(
    library: ct.CDLL, seed: int, apart_mm: float | None = None, changes: Changes = ({}, {})
) -> Pair:
    """Two rods that have nothing in common but the share at which they lie."""
    random = np.random.default_rng([41, seed])
    share = random.uniform(0.15, 0.85)
    plants = [promise.random_plant(random, 0.0, True) for _ in range(2)]
    rods = [Rod(library, plant, share) for plant in plants]
    values = [promise.calibrated(library, plant, random) for plant in plants]
    longer = max(plant.stroke_mm for plant in plants)
    trip = max(3.0, longer * 0.03) if apart_mm is None else apart_mm
    return Pair(trip, (rods[0], rods[1]), (values[0] | changes[0], values[1] | changes[1]))


@dataclass
class Way:
    """One move of both: how it went, in shares of stroke."""

    ended: tuple[int, int]
    cause: tuple[int, int]
    faults: int
    furthest: float  # apart on the way, of the trip
    late: float  # of the stroke: what the other had to go when the first came within its tolerance
    ticks: int
    ideal: float  # ticks, of the slower rod at its full speed

    @property
    def slow(self) -> float:
        """Time taken, by that of the slower rod alone at its full speed."""
        return self.ticks / self.ideal


def move(pair: Pair, index: int, to: float) -> Way:
    """Both to a share of stroke, asked of one axis."""
    trip = pair.apart_mm
    begun = len(pair.apart)
    before = [rod.share for rod in pair.rods]
    assert pair.ask("move", axis=index + 1, target_um=pair.um(index, to), speed_um_s=0) == Status.OK
    near = max(max(1.0 / rod.plant.stroke_mm, 0.01) for rod in pair.rods)
    late: list[float] = []

    def done() -> bool:
        left = [abs(rod.share - to) for rod in pair.rods]
        if not late and min(left) <= near:
            late.append(max(left) - near)
        return pair.at_rest

    ticks = pair.until(done)
    axes = pair.state.axis
    speeds = [v["speed_max_um_s"] / v["stroke_um"] for v in pair.values]
    return Way(
        ended=(axes[0].ended, axes[1].ended),
        cause=(axes[0].cause, axes[1].cause),
        faults=pair.state.faults,
        furthest=max(abs(mm) for mm in pair.apart[begun:]) / trip,
        late=late[0] if late else 9.0,
        ticks=ticks,
        ideal=abs(to - before[0]) / min(speeds) * 200,
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("pairs", type=int, nargs="?", default=100)
    options = parser.parse_args(arguments)
    library = promise.build()
    ways = []
    for seed in range(options.pairs):
        pair = random_pair(library, seed)
        low, high = pair.room()
        for index, to in ((0, low + 0.02), (1, high - 0.02), (0, 0.5)):
            way = move(pair, index, to)
            ways.append(way)
            if way.ended != (2, 2) or way.late > 0.03:
                print(seed, index, round(to, 2), way)
    for name in ("furthest", "late", "slow"):
        column = np.array([getattr(way, name) for way in ways])
        print(f"{name:9} median {np.median(column):.4f}  worst {column.max():.4f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
