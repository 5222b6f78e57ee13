"""One random machine commissioned and then driven, judged by the plant's truth."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from math import sqrt

from rodbench.bench.commission import Commissioned
from rodbench.board import Outcome
from rodbench.clock import TICK_S
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import RodbenchError
from rodbench.science.ends import LEAST_COUNTS, End
from rodbench.science.trapezoid import least_time, stopping_distance
from rodbench_protocol.names import Ended

from .harness import Bench

ADC_STEP_V = 5.0 / 1023
KINDS = {"switch": End.SWITCH, "hard": End.STALL, "clutch": End.STALL}


@dataclass
class Verdict:
    """What was seen of one machine. mm, s, shares; `failed` says why it could not be judged."""

    seed: int
    stroke_mm: float
    failed: str = ""
    polarity_right: bool = False
    ends: list[str] = field(default_factory=list)  # right, unknown, wrong, unknown though clear
    endpoint_error: float = 0.0  # share of stroke, the worse
    past_mm: float = 0.0  # the furthest past a soft stop
    allowed_mm: float = 0.0
    rest_error: float = 0.0  # in units of what is allowed, the worst
    times: list[float] = field(default_factory=list)  # in units of the least time
    trips: list[str] = field(default_factory=list)
    moves: int = 0
    stall_error: float | None = None  # estimate over truth, less 1
    rested_s: float = 0.0  # virtual time beyond 400 s: rests for the duty budget

    @property
    def beyond(self) -> bool:
        """A soft stop was passed by more than is allowed."""
        return self.past_mm > self.allowed_mm


def judge(seed: int, *, correlated: float = 0.0, coast: bool = False, moves: int = 6) -> Verdict:
    """Commission the machine of a seed, then move and jog it about."""
    machine = random_machine(seed, correlated=correlated)
    seen = Verdict(seed, machine.rods[1].stroke_mm)
    bench = Bench.of(machine)
    if coast:
        bench.board.write_scope(1, {"stop_by": 1})
    try:
        done = bench.commission()
        _judge_learning(seen, machine, bench, done)
        Drive(bench, done, seen, random.Random(f"drive {seed}")).all(moves)
    except RodbenchError as error:
        seen.failed = f"{type(error).__name__}: {error}"
    return seen


def _judge_learning(seen: Verdict, machine: Machine, bench: Bench, done: Commissioned) -> None:
    rod = machine.rods[1]
    falls = rod.pot.extended < rod.pot.retracted
    found = (done.polarity.motor_reversed, done.polarity.pot_falls)
    seen.polarity_right = found == (rod.motor.reversed, falls)
    ends = [bench.true_raw(0.0), bench.true_raw(rod.stroke_mm)]
    errors = [abs(a - b) for a, b in zip(done.ends.raw, ends, strict=True)]
    seen.endpoint_error = max(errors) / abs(ends[1] - ends[0])
    # The retracted end was reached retracting: currents are (extend, retract).
    for kind, current in zip(done.ends.kinds, reversed(done.ends.creep_a), strict=True):
        clear = current * rod.sensor.v_per_a / ADC_STEP_V >= LEAST_COUNTS
        if kind == KINDS[rod.ends.kind]:
            seen.ends.append("right")
        elif kind != End.UNKNOWN:
            seen.ends.append("wrong")
        else:
            seen.ends.append("unknown though clear" if clear else "unknown")
    stall = done.proposed.stall
    if stall is not None:
        ohms = rod.motor.resistance_ohm + machine.supply.source_ohm
        seen.stall_error = stall.current_a / (machine.supply.volts / ohms) - 1.0
    noise_mm = done.at_rest.pot_noise_raw * done.ends.mm_per_raw
    seen.allowed_mm = max(0.2, 0.001 * rod.stroke_mm, 2.0 * noise_mm)
    seen.rested_s = max(0.0, bench.clock.now() - 400.0)


class Drive:
    """Moves and jogs of a calibrated axis, watched tick by tick through the board's own line."""

    def __init__(
        self, bench: Bench, done: Commissioned, seen: Verdict, draw: random.Random
    ) -> None:
        self.bench, self.seen, self.draw = bench, seen, draw
        self.without_rests()
        self.set = bench.board.read_scope(1)
        self.low, self.high = self.set["soft_stop_min_um"] / 1e3, self.set["soft_stop_max_um"] / 1e3
        self.stroke = self.set["stroke_um"] / 1e3
        self.tolerance = max(1.0, 0.01 * self.stroke)
        self.track: list[float] = []
        self.outputs: list[int] = []
        bench.clock.attach(self.look)

    def without_rests(self) -> None:
        """Time passes faster without rests; the winding is cooled by hand instead."""
        self.bench.board.write_scope(1, {"duty_share_permille": 1000})

    def look(self, _: int) -> None:
        """Each tick: where the board's line puts the rod, and how far past a soft stop."""
        place = self.bench.line_mm(self.set)
        self.track.append(place)
        self.outputs.append(self.bench.emulated.outputs.drive[0])
        self.seen.past_mm = max(self.seen.past_mm, self.low - place, place - self.high)

    def all(self, moves: int) -> None:
        """Moves to and fro, the soft stops among them, and jogs into both stops."""
        self.track.append(self.bench.line_mm(self.set))
        self.move(self.somewhere(), timed=False)  # the commit left the direction unproven
        for number in range(moves):
            self.move((self.low, self.high)[number % 2] if number < 2 else self.somewhere())
        for way in (1, -1):
            self.jog(way)
        self.bench.board.restart()
        self.without_rests()
        self.move(self.somewhere(), timed=False)

    def somewhere(self) -> float:
        """A place at least a fifth of the stroke away."""
        while True:
            place = self.draw.uniform(self.low, self.high)
            if abs(place - self.track[-1]) > 0.21 * self.stroke:
                return place

    def move(self, target_mm: float, *, timed: bool = True) -> None:
        """One move, its rest and its time."""
        self.bench.cool()
        begin, start = len(self.track), self.bench.line_mm(self.set)
        with self.bench.board.axis(1).move(target_mm) as motion:
            outcome = motion.wait()
        assert outcome is not None
        self.note_end(outcome)
        self.bench.board.sleep(0.3)
        self.seen.moves += 1
        error = abs(self.track[-1] - target_mm) / self.tolerance
        self.seen.rest_error = max(self.seen.rest_error, error)
        if timed and abs(target_mm - start) >= 0.2 * self.stroke:
            self.seen.times.append(self.time_share(begin, start, target_mm))

    def time_share(self, begin: int, start: float, target: float) -> float:
        """Time from the first output until within the tolerance, over the least time to there."""
        first = next(i for i in range(begin, len(self.outputs)) if self.outputs[i])
        there = next(
            (i for i in range(first, len(self.track)) if self.near(i, target)), len(self.track)
        )
        ramps = (self.set["acceleration_um_s2"] / 1e3, self.set["deceleration_um_s2"] / 1e3)
        speed = self.set["speed_max_um_s"] / 1e3
        whole = least_time(target - start, speed, *ramps)
        rest = min(self.tolerance, stopping_distance(speed, ramps[1]))
        least = whole - sqrt(2.0 * rest / ramps[1]) - (self.tolerance - rest) / speed
        return (there - first) * TICK_S / least

    def near(self, tick: int, target: float) -> bool:
        return abs(self.track[tick] - target) <= self.tolerance

    def jog(self, way: int) -> None:
        """A jog at full speed into the soft stop."""
        self.bench.cool()
        with self.bench.board.axis(1).jog(way * self.set["speed_max_um_s"] / 1e3) as motion:
            outcome = motion.wait(timeout_s=4 * self.stroke / self.set["speed_max_um_s"] * 1e3)
        if outcome is not None:
            self.note_end(outcome)
        self.bench.board.sleep(0.3)

    def note_end(self, outcome: Outcome) -> None:
        """A guard that tripped in normal work, or a move that did not arrive."""
        if outcome.ended not in (Ended.REACHED, Ended.SOFT_STOP, Ended.STOPPED):
            self.seen.trips.append(f"{Ended(outcome.ended).name.lower()} {outcome.cause}")
            self.bench.board.clear(1)
