"""A random machine on an emulated board in virtual time, and a person who knows it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial

from rodbench.bench import commission
from rodbench.bench.ask import Answers, Asker, Eye, Yes
from rodbench.bench.commission import Commissioned
from rodbench.bench.job import Job
from rodbench.bench.keeper import KnownRod
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant import Plant
from rodbench.emulator.plant_file import Machine
from rodbench.link.transport import EmulatorTransport
from rodbench_protocol.settings import digest_all

from tests import boards

PIN_TO_PIN_MM = 105.0  # of a retracted rod; invented


class MemoryKeeper:
    """Keeps what the machine file would, in wire integers."""

    def __init__(self, board: Board) -> None:
        self.scopes = {number: board.read_scope(number) for number in board.scopes}
        self.file_only: dict[str, object] = {}
        self.known: dict[str, KnownRod] = {}

    def keep(
        self,
        axis: int,
        rod: str,
        settings: Mapping[str, int],
        file_only: Mapping[str, object],
        notes: Mapping[str, str],
    ) -> None:
        self.scopes[axis] = dict(settings)
        self.file_only |= file_only

    def wrong_rod(self, axis: int, name: str) -> str | None:
        return None

    def wrong_feedback(self, axis: int, word: str) -> str | None:
        return None

    def rod_on(self, axis: int) -> str | None:
        return None

    def given(self, axis: int, rod: str, keys: Iterable[str]) -> dict[str, int]:
        return {}

    def known_rod(self, name: str) -> KnownRod | None:
        return self.known.get(name)

    def digest(self) -> int:
        return digest_all(*self.scopes.values())


@dataclass
class Bench:
    """An emulated board in virtual time with a Board on it."""

    machine: Machine
    emulated: EmulatedBoard
    clock: VirtualClock
    board: Board
    talk: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, machine: Machine) -> Bench:
        emulated, clock = boards.make(machine), VirtualClock()
        clock.attach(emulated.step)
        board = Board.direct(EmulatorTransport(emulated, clock), clock)
        nominal = 12_000 if machine.supply.volts < 18.0 else 24_000
        ratio = round(1000 * machine.supply.divider_ratio)
        board.write_scope(0, {"supply_nominal_mv": nominal, "supply_ratio_x1000": ratio})
        return cls(machine, emulated, clock, board)

    def asker(self, axis: int = 1, **answers: object) -> Asker:
        look = partial(self.emulated.eye.look, axis=axis)
        given = label(self.machine, axis) | answers
        return Asker(Answers(given), Yes(), Eye(look))

    def job(self, axis: int = 1, **answers: object) -> Job:
        return Job(self.board, axis, self.asker(axis, **answers), self.talk.append)

    def commission(self, axis: int = 1, **answers: object) -> Commissioned:
        done = commission.run(self.job(axis, **answers), MemoryKeeper(self.board))
        assert isinstance(done, Commissioned)
        return done

    @property
    def plant(self) -> Plant:
        """The true state of axis 1."""
        return self.emulated.rig.plants[1]

    def cool(self) -> None:
        """What the rests between motions would do to the winding of axis 1."""
        self.plant.temperature_c = self.plant.rod.motor.ambient_c
        self.plant._resistance()

    def true_raw(self, position_mm: float) -> float:
        """What the board would read on average with the rod of axis 1 at a place, noise aside."""
        return float(self.plant._pot_ideal(position_mm)) * 8192.0 - boards.half_step_raw()

    def line_mm(self, settings: Mapping[str, int]) -> float:
        """The noise-free pot, read through the line that the board has in its settings."""
        raw = self.plant.pot_raw - boards.half_step_raw()
        low, high = settings["raw_retracted"], settings["raw_extended"]
        return (raw - low) / (high - low) * settings["stroke_um"] / 1000.0


def label(machine: Machine, axis: int = 1) -> dict[str, object]:
    """What a person reads off the rod and the wiring, and the decision to accept."""
    rod = machine.rods[axis]
    stall = machine.supply.volts / rod.motor.resistance_ohm
    return {
        "rod": "north",
        "wires": "motor + pot",
        "mounting": "bench",
        "retracted_pin_to_pin": f"{rod.retracted_pin_to_pin_mm} mm",
        "extended_pin_to_pin": f"{rod.retracted_pin_to_pin_mm + rod.stroke_mm} mm",
        "driver": rod.driver.kind,
        "current_sensor": rod.sensor.kind,
        "current_sensor_v_per_a": rod.sensor.v_per_a,
        "current_sensor_ratiometric": rod.sensor.ratiometric,
        "fuse_a": fuse(stall),
        "accept": "accept",
        "run_at": "yes",
    }


def fuse(stall_a: float) -> float:
    """The next fuse above the stall current: a driver and wire that could bear it."""
    return next(size for size in (3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 30.0) if size >= stall_a)
