"""Commissioned machines judged by the plant's truth; rods with a pot are driven about as well."""

from __future__ import annotations

import random
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from math import sqrt

from rodbench.bench.commission import Commissioned
from rodbench.board import Outcome
from rodbench.clock import TICK_S
from rodbench.emulator.plant import Plant, Rod
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.random_plants import random_machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import DRIVE, OFF
from rodbench.emulator.twin.core import Twin
from rodbench.errors import RodbenchError
from rodbench.science.ends import LEAST_COUNTS, End
from rodbench.science.trapezoid import least_time, stopping_distance
from rodbench_protocol.names import AxisFlags, Ended

from .harness import Bench

ADC_STEP_V = 5.0 / 1023
KINDS = {"switch": End.SWITCH, "hard": End.STALL, "clutch": End.STALL}

TIMES_SHARE = 0.10  # what a measured stroke time may be off by
MOUNT_MARGIN_MM = 0.2  # the least that a soft stop stands inside the machine's end
ENDPOINT_SHARE = 0.005  # of the stroke: an endpoint that claims a kind stands so near its end
NO_CLAIM = ("unknown", "shown-by-hand")  # kinds of end that say nothing of how the travel ends


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


# ---------------------------------------------------------------- by what was stored


@dataclass(frozen=True)
class Ends:
    """Where the two stored endpoints truly are, in mm, and how far off: a share of the stroke. Of
    the rod's own ends the worse one, of working ends shown by hand the distance between them."""

    true_mm: tuple[float, float]
    soft_mm: tuple[float, float]
    error: float

    @classmethod
    def of(cls, plant: Plant, settings: Mapping[str, int], *, working: bool = False) -> Ends:
        low, high = settings["raw_retracted"], settings["raw_extended"]
        true = (_where(plant, low), _where(plant, high))
        stroke, whole = settings["stroke_um"] / 1000.0, plant.rod.stroke_mm
        share = (true[1] - true[0]) / stroke
        soft = [settings[f"soft_stop_{name}_um"] / 1000.0 for name in ("min", "max")]
        own = max(abs(true[0]), abs(true[1] - whole)) / whole
        error = abs(share - 1.0) if working else own
        return cls(true, (true[0] + soft[0] * share, true[0] + soft[1] * share), error)


def _where(plant: Plant, raw: float) -> float:
    """The position in mm at which the sound pot reads `raw`: by halving, for it is monotonic. Far
    from both ends a stored endpoint may lie off the track; then where its line would be."""
    stroke = plant.rod.stroke_mm
    low, high = -0.1 * stroke, 1.1 * stroke
    rises = plant.pot_raw_at(stroke) > plant.pot_raw_at(0.0)
    for _ in range(50):
        middle = (low + high) / 2.0
        if (plant.pot_raw_at(middle) < raw) == rises:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def false_ends(rod: Rod, ends: Ends, kept: Mapping[str, object]) -> str:
    """What is claimed of the rod's own ends against what is true; empty when nothing is false."""
    found = []
    places = (ends.true_mm[0], rod.stroke_mm - ends.true_mm[1])
    for name, off in zip(("retracted", "extended"), places, strict=True):
        kind = kept.get(f"rods.end_{name}", "unknown")
        if kind in NO_CLAIM:
            continue
        if kind != KINDS[rod.ends.kind]:
            found.append(f"{name} end is a {rod.ends.kind}, said to be {kind}")
        if abs(off) > ENDPOINT_SHARE * rod.stroke_mm + 2.0 * rod.pot.repeat_mm:
            found.append(f"{kind} claimed {off:+.1f} mm from the {name} end")
    return "; ".join(found)


def wrong_mounts(rod: Rod, ends: Ends, settings: Mapping[str, int]) -> list[str]:
    """Soft stops of a mounted rod that do not keep it off the machine's ends."""
    mount, found = rod.mount, []
    assert settings["calibrated"]
    if ends.soft_mm[0] < mount.min_mm + (MOUNT_MARGIN_MM if mount.min_mm else 0.0):
        found.append(f"soft stop at {ends.soft_mm[0]:.2f} mm, the machine ends at {mount.min_mm}")
    high = mount.max_mm or rod.stroke_mm
    if ends.soft_mm[1] > high - (MOUNT_MARGIN_MM if mount.max_mm else 0.0):
        found.append(f"soft stop at {ends.soft_mm[1]:.2f} mm, the machine ends at {high}")
    return found


def wrong_times(machine: Machine, axis: int, settings: Mapping[str, int]) -> list[str]:
    """Stored stroke times that are not those of the plant, from end to end at the ceiling."""
    found = []
    for way, name in ((1, "extend"), (-1, "retract")):
        told = settings[f"stroke_time_{name}_cs"] / 100.0
        true = stroke_time_s(machine, axis, way, settings["output_max_permille"])
        if abs(told / true - 1.0) > TIMES_SHARE:
            found.append(f"{name} takes {true:.2f} s, said to take {told:.2f} s")
    return found


def stroke_time_s(machine: Machine, axis: int, way: int, permille: int) -> float:
    """Seconds from the first output at one end until the rod stands at the other."""
    alone = deepcopy(machine)
    rod = alone.rods[axis]
    rod.start_mm = 0.0 if way > 0 else rod.stroke_mm
    rig = Rig(alone)
    plant = rig.plants[axis]
    drive, bridge = [0, 0], [OFF, OFF]
    drive[axis - 1] = -way * permille if rod.motor.reversed else way * permille
    bridge[axis - 1] = DRIVE
    far = rod.stroke_mm if way > 0 else 0.0
    while (plant.position_mm - far) * way < 0.0:
        rig.step(drive, bridge)
    return rig.ticks * TICK_S


def told_place(twin: Twin, axis: int) -> str | None:
    """Where the board says that a rod without a pot is: "retracted", "extended", "between"."""
    flags = twin.axis[axis - 1].flags
    if flags & AxisFlags.NEAR_RETRACTED:
        return "retracted"
    if flags & AxisFlags.NEAR_EXTENDED:
        return "extended"
    return "between" if flags & AxisFlags.BETWEEN else None
