"""Calibrated axes with sound, worn, scattering and noisy pots, and what `measure pot` says of them.

`python -m tests.procedures.pots --kind clean | worn | loose` prints it for many.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import random
from dataclasses import dataclass
from functools import partial

import numpy as np
from rodbench.bench import pot
from rodbench.bench.pot import PotReport
from rodbench.bench.pot_turns import TURNS
from rodbench.emulator.plant import Rod
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.random_plants import full_speed, random_machine
from rodbench.errors import RodbenchError

from .harness import Bench

STOP_SHARE = 0.06  # soft stops so far inside, share of the stroke


def settings_of(bench: Bench) -> dict[str, int]:
    """What a calibration that makes no mistake would put on the board."""
    rod, volts = bench.machine.rods[1], bench.machine.supply.volts
    fast = [full_speed(rod, volts, way) for way in (1, -1)]
    dead = [1.0 - speed * rod.motor.constant_v_s_per_mm / volts for speed in fast]
    creep = min(0.55, max(dead) + 0.22)
    slow = min((creep - d) / (1.0 - d) * v for d, v in zip(dead, fast, strict=True))
    noise = max(1.2, rod.pot.noise_lsb * math.sqrt(8.0))
    return {
        "feedback": 1,
        "calibrated": 1,
        "motor_reversed": int(rod.motor.reversed),
        "raw_retracted": round(bench.true_raw(0.0)),
        "raw_extended": round(bench.true_raw(rod.stroke_mm)),
        "stroke_um": round(1000 * rod.stroke_mm),
        "soft_stop_min_um": round(1000 * STOP_SHARE * rod.stroke_mm),
        "soft_stop_max_um": round(1000 * (1 - STOP_SHARE) * rod.stroke_mm),
        "full_speed_extend_um_s": round(1000 * fast[0]),
        "full_speed_retract_um_s": round(1000 * fast[1]),
        "dead_zone_extend_permille": min(600, max(0, round(1000 * dead[0]))),
        "dead_zone_retract_permille": min(600, max(0, round(1000 * dead[1]))),
        "speed_max_um_s": round(900 * min(fast)),
        "creep_output_permille": round(1000 * creep),
        "creep_speed_um_s": max(200, round(1000 * slow)),
        "run_on_extend_um": round(60 * fast[0]) + 100,
        "run_on_retract_um": round(60 * fast[1]) + 100,
        "noise_x16": round(16 * noise),
        "current_uv_per_ma": round(1000 * rod.sensor.v_per_a),
        "current_zero": round(rod.sensor.zero_v / bench.board.hello.adc_reference_v * 4096),
        "trip_ma": min(30_000, round(900 * volts / rod.motor.resistance_ohm)),
        "duty_share_permille": 1000,
    }


def calibrated(machine: Machine) -> Bench:
    """A bench of the machine with its first axis calibrated."""
    machine.board.boot_ms = 50.0
    bench = Bench.of(machine)
    bench.board.write_scope(1, settings_of(bench))
    return bench


def machine(seed: int, stroke_mm: float = 120.0, **changes: float) -> Machine:
    """A random machine with one rod of this stroke; `changes` are of its pot."""
    made = random_machine(seed, stroke_mm=(stroke_mm, stroke_mm + 1.0))
    for name, value in changes.items():
        setattr(made.rods[1].pot, name, value)
    return made


@dataclass
class Seen:
    """One measurement and the truth."""

    bench: Bench
    report: PotReport
    offsets_mm: list[float]  # what each stroke really read aside
    motor_s: float
    furthest_mm: tuple[float, float]  # how far in and out the rod really was

    @property
    def rod(self) -> Rod:
        return self.bench.machine.rods[1]

    @property
    def scatter_mm(self) -> float:
        """Rms of one place over the strokes that were counted, by what the plant did."""
        changes = np.diff(self.offsets_mm[-TURNS - 1 :])
        return float(np.sqrt(np.mean(changes**2) / 2.0)) if changes.size else 0.0

    @property
    def found(self) -> list[tuple[float, float]]:
        return [(z.from_mm, z.to_mm) for z in self.report.zones]


class Watch:
    """What the plant really does, tick by tick."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.on, self.offsets = bench, 0, list[float]()
        self.low = self.high = bench.plant.position_mm
        bench.clock.attach(self.look)

    def look(self, _: int) -> None:
        plant = self.bench.plant
        self.on += self.bench.emulated.outputs.drive[0] != 0
        self.low = min(self.low, plant.position_mm)
        self.high = max(self.high, plant.position_mm)
        if not self.offsets or self.offsets[-1] != plant._off_to_mm:
            self.offsets.append(plant._off_to_mm)


def measured(made: Machine) -> Seen:
    """Measure the pot of the first axis."""
    bench = calibrated(made)
    watch = Watch(bench)
    report = pot.measure(bench.job())
    return Seen(bench, report, watch.offsets, watch.on * 0.005, (watch.low, watch.high))


def worn(seed: int, stroke_mm: float | None = None) -> Machine:
    """A machine whose pot loses contact in a zone that fits between the soft stops."""
    draw = random.Random(f"worn {seed}")
    made = machine(seed, stroke_mm or draw.uniform(40.0, 200.0))
    rod = made.rods[1]
    at, wide = draw.uniform(0.2, 0.75), draw.uniform(1.0, 0.12 * rod.stroke_mm)
    rod.pot.worn_from_mm, rod.pot.worn_to_mm = at * rod.stroke_mm, at * rod.stroke_mm + wide
    rod.pot.worn_share = draw.uniform(0.05, 0.6)
    return made


def loose(seed: int, stroke_mm: float | None = None) -> Machine:
    """A machine whose pot scatters from stroke to stroke and is driven with play."""
    draw = random.Random(f"loose {seed}")
    made = machine(seed, stroke_mm or draw.uniform(40.0, 200.0))
    made.rods[1].pot.repeat_mm = draw.uniform(0.1, 0.6)
    made.rods[1].screw.backlash_mm = draw.uniform(0.0, 1.0)
    return made


def clean(seed: int, stroke_mm: float | None = None) -> Machine:
    """A machine with a sound pot."""
    return machine(seed, stroke_mm or random.Random(f"clean {seed}").uniform(40.0, 200.0))


KINDS = {"clean": clean, "worn": worn, "loose": loose}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=tuple(KINDS), default="clean")
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    seeds = range(args.seed, args.seed + args.count)
    with multiprocessing.Pool(args.jobs) as pool:
        for text in pool.imap(partial(line, args.kind), seeds):
            print(text, flush=True)


def line(kind: str, seed: int) -> str:
    """What was true and what was found, in a line."""
    made = KINDS[kind](seed)
    rod = made.rods[1]
    truth = f"{seed:>4} {rod.stroke_mm:>5.0f} mm"
    if kind == "worn":
        truth += f"  true {rod.pot.worn_from_mm:.1f}..{rod.pot.worn_to_mm:.1f}"
        truth += f" share {rod.pot.worn_share:.2f}"
    try:
        seen = measured(made)
    except RodbenchError as error:
        return f"{truth}  {type(error).__name__}: {error}"
    report, again = seen.report, seen.report.repeat
    found = " ".join(f"{a:.1f}..{b:.1f}" for a, b in seen.found)
    text = f"{truth}  {report.health.verdict} {', '.join(report.health.reasons)} [{found}]"
    if kind == "loose" and again is not None:
        text += f"  scatter {seen.scatter_mm:.2f} said {again.scatter_mm:.2f}"
        text += f"  play {rod.screw.backlash_mm:.2f} said {again.play_mm:.2f}"
    return f"{text}  {report.stops} stops, {seen.motor_s:.0f} s of motor time"


if __name__ == "__main__":
    main()
