"""`measure motor` on random rods of known truth: `python -m tests.procedures.motor --count 300`.

Each rod is calibrated without a mistake, its supply set by a meter that shows hundredths of a volt;
then the procedure runs in virtual time. Printed: the errors, and how many truths lie inside the
95 % intervals. What the tool itself calls too coarse beforehand is counted apart.

The truth of the resistance is the mean of the plant's own while the runs were measured.
"""

from __future__ import annotations

import argparse
import multiprocessing
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from statistics import fmean, median

from rodbench.bench import motor, supply
from rodbench.bench.ask import Answers, Asker, Eye, Question, Yes
from rodbench.bench.job import Job
from rodbench.emulator.plant import Plant, Rod
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.random_plants import random_machine, running_a
from rodbench.errors import RodbenchError
from rodbench.science.motor_report import MotorReport
from rodbench_protocol.names import AxisState

from tests import boards

from .harness import Bench
from .pots import settings_of

ALLOWED = {"resistance_ohm": 0.05, "constant_v_s_per_mm": 0.02, "stall_a": 0.08}
GRAVITY = 9.80665


@dataclass
class Seen:
    """One measurement, and what was true."""

    seed: int
    report: MotorReport | None = None
    truth: dict[str, float] = field(default_factory=dict)
    failed: str = ""
    talk: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def refused(self) -> bool:
        """Whether it was said beforehand that this rod's readings cannot tell."""
        return self.report is not None and bool(self.report.too_coarse)

    def error(self, name: str) -> float:
        """Of a figure, as a share of the truth."""
        assert self.report is not None
        return abs(self.report.figures[name].best / self.truth[name] - 1.0)

    def inside(self, name: str) -> bool:
        """Whether the truth lies in the stated interval."""
        assert self.report is not None
        return self.report.figures[name].holds(self.truth[name])

    @property
    def beyond(self) -> list[str]:
        """Figures further off than they may be."""
        return [name for name, most in ALLOWED.items() if self.error(name) > most]


class Watch:
    """The winding's resistance while the rod is driven, run by run."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.runs, self._driven = bench, list[list[tuple[int, float]]](), False
        bench.clock.attach(self.look)

    def look(self, _: int) -> None:
        running = boards.axis_state(self.bench.emulated) == AxisState.RUN
        drive = self.bench.emulated.outputs.drive[0] if running else 0
        if drive and not self._driven:
            self.runs.append([])
        if drive:
            self.runs[-1].append((abs(drive), self.bench.plant._ohm))
        self._driven = bool(drive)

    def ohm(self) -> float:
        """Mean over the runs, each while its output was whole."""
        means = []
        for run in self.runs:
            whole = max(drive for drive, _ in run)
            means.append(fmean(ohm for drive, ohm in run if drive == whole))
        return fmean(means)


class Person:
    """Hangs the weight when asked whether it hangs: the load pulls the rod in, or out."""

    def __init__(self, plant: Plant, kilograms: float) -> None:
        self.plant, self.kilograms = plant, kilograms

    def answer(self, question: Question) -> str | None:
        if question.id != "weight_hangs":
            return None
        self.plant.rod.load.force_n += self.kilograms * GRAVITY
        self.plant._settle()
        return "yes"


def calibrated(machine: Machine, **changes: int) -> Bench:
    """A bench of the machine with its first axis and its supply calibrated."""
    machine.board.boot_ms = 50.0
    bench = Bench.of(machine)
    rod, nominal = machine.rods[1], 12.0 if machine.supply.volts < 18.0 else 24.0
    most_v = min(1.15 * nominal, 26.4)  # a board of 3.3 V can tell no more than 26.7 V
    limits = {"edit_supply_low_v": 0.6 * nominal, "edit_supply_high_v": most_v}
    answers = Answers({"accept_supply": "edit", **limits})
    asker = Asker(answers, Yes(), Eye(bench.emulated.eye.look))
    supply.calibrate(bench.board, asker, bench.talk.append)
    running = max(running_a(rod, way) for way in (1, -1))
    own = settings_of(bench) | {"running_ma": round(1000 * running)}
    own["speed_supply_mv"] = round(1000 * machine.supply.volts)
    own["stall_ma"] = round(1000 * machine.supply.volts / rod.motor.resistance_ohm)
    bench.board.write_scope(1, own | changes)
    return bench


def job_of(bench: Bench, **answers: object) -> Job:
    """A job whose person knows nothing but what is given."""
    given = {"hang_weight": "none", "motor_turn": "not known", "sensor_error": "not known"}
    weight = str(answers.get("hang_weight", "none"))
    person = Person(bench.plant, 0.0 if weight == "none" else float(weight))
    asker = Asker(Answers(given | answers), Yes(), person)
    return Job(bench.board, 1, asker, bench.talk.append)


def truth(bench: Bench, ohm: float, middle_mm: float) -> dict[str, float]:
    """What is so of a rod whose winding has `ohm`, at the middle of its runs, free as it was."""
    rod, source = bench.machine.rods[1], bench.machine.supply
    motor_, k = rod.motor, rod.motor.constant_v_s_per_mm
    whole = ohm + source.source_ohm
    out = {
        "resistance_ohm": ohm,
        "constant_v_s_per_mm": k,
        "stall_a": source.volts / whole,
        "supply_v": source.volts,
        "source_ohm": source.source_ohm,
    }
    for way, word in ((1, "extend"), (-1, "retract")):
        current = friction(rod, middle_mm, way)
        out[f"friction_{word}_a"] = current
        whole_v = source.volts - whole * current
        out[f"full_speed_{word}_mm_s"] = whole_v / (k + whole * motor_.drag_a_s_per_mm)
        zone = ohm * current / source.volts
        for _ in range(20):
            zone = ohm * current / (source.volts - source.source_ohm * zone * current)
        out[f"dead_zone_{word}"] = zone
    return out


def friction(rod: Rod, at_mm: float, way: int) -> float:
    """Current in A against friction and load at a place, drag aside."""
    motor_, screw, force = rod.motor, rod.screw, rod.load.at(at_mm) * way
    passed = force / screw.efficiency if force > 0.0 else force * screw.back_efficiency
    own = motor_.friction_extend_a if way > 0 else motor_.friction_retract_a
    return own + passed / (1000.0 * motor_.constant_v_s_per_mm)


def measured(
    seed: int, made: Machine | None = None, changes: dict[str, int] | None = None, **answers: object
) -> Seen:
    """Measure the motor of a random rod; `changes` are of the axis's settings."""
    bench = calibrated(made or random_machine(seed), **(changes or {}))
    stroke = bench.machine.rods[1].stroke_mm
    free = truth(bench, bench.plant._ohm, stroke / 2.0)
    seen, watch = Seen(seed), Watch(bench)
    started = bench.clock.now()
    try:
        seen.report = motor.measure(job_of(bench, **answers))
    except RodbenchError as error:
        seen.failed = f"{type(error).__name__}: {error}"
    else:
        loaded = truth(bench, watch.ohm(), stroke / 2.0)
        seen.truth = loaded | {k: v for k, v in free.items() if k.startswith("friction")}
        if seen.report.force_n:  # their truth is that of the free rod, as warm as it was loaded
            for name in [n for n in seen.truth if n.startswith(("dead", "full"))]:
                del seen.truth[name]
    seen.talk, seen.seconds = bench.talk, bench.clock.now() - started
    return seen


# ---------------------------------------------------------------- figures


def figures(seen: list[Seen]) -> Iterator[str]:
    """The summary, line by line."""
    done = [s for s in seen if s.report and not s.refused]
    yield f"measured             {len(done)} of {len(seen)}"
    yield f"too coarse, said     {sum(s.refused for s in seen)}"
    yield f"failed               {sum(bool(s.failed) for s in seen)}"
    for name, most in ALLOWED.items():
        errors = sorted(s.error(name) for s in done)
        beyond = sum(e > most for e in errors)
        yield (
            f"{name:<21}worst {100 * errors[-1]:5.2f} %, median {100 * median(errors):5.2f} %, "
            f"{beyond} beyond {100 * most:.0f} %"
        )
    yield "truths inside the 95 % intervals"
    for name in done[0].truth:
        count = sum(s.inside(name) for s in done)
        halves = median(s.report.figures[name].share for s in done if s.report)
        yield f"  {name:<24} {count} of {len(done)}  ({100 * count / len(done):.1f} %), " \
            f"half width {100 * halves:.2f} % in the middle"  # fmt: skip
    times = [s.report.motor_s for s in seen if s.report]
    yield f"motor time           {median(times):.0f} s in the middle, {max(times):.0f} s at most"


def line(seen: Seen) -> str:
    """What a rod did not keep; empty when it kept all."""
    if seen.failed:
        return f"  seed {seen.seed}: {seen.failed}"
    if seen.refused:
        words = next(t for t in seen.talk if "Too coarse" in t).strip()
        return f"  seed {seen.seed}: {words[:110]}"
    off = [f"{name} off by {100 * seen.error(name):.1f} %" for name in seen.beyond]
    return f"  seed {seen.seed}: {', '.join(off)}" if off else ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1, help="the first rod's seed")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    seen: list[Seen] = []
    with multiprocessing.Pool(args.jobs) as pool:
        seeds = range(args.seed, args.seed + args.count)
        for one in pool.imap_unordered(partial(measured, made=None), seeds):
            seen.append(one)
            if text := line(one):
                print(text, flush=True)
        pool.close()
        pool.join()
    print(f"{args.count} rods from seed {args.seed}, noise and steps as the emulator has them")
    for text in figures(seen):
        print(text)


if __name__ == "__main__":
    main()
