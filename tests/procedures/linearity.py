"""Machines whose pot is bowed by 2 % of its span, and what `calibrate linearity` makes of it.

`python -m tests.procedures.linearity --count 300` prints how much nearer the table brings the
position, and how many of the 95 % intervals hold the truth.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
from collections import Counter
from dataclasses import dataclass

import numpy as np
from rodbench.bench import linearity
from rodbench.bench.linearity import Linearity
from rodbench.emulator.eye import CALIPER_MM
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import RodbenchError
from rodbench.science.linearity import straightness
from rodbench_protocol import table

from .harness import PIN_TO_PIN_MM, Bench
from .pots import calibrated

BOW = 0.02  # of the span, at mid stroke
PLAY_SHARE = 0.002  # of the stroke, at most
LEAST_GAIN = 5.0
TARGETS = (0.2, 0.5, 0.7)  # of the stroke: moves after the table
FEWEST_HOLD, MOST_HOLD = 0.90, 0.995  # of intervals that are said to hold 95 of 100 truths


@dataclass(frozen=True, slots=True)
class Made:
    """One machine: worst error in mm before and after, of how many intervals the truth was inside,
    and by how far moves missed, as a share of what is allowed."""

    found: Linearity
    before_mm: float
    after_mm: float
    held: dict[str, tuple[int, int]]
    missed: float

    @property
    def gain(self) -> float:
        return self.before_mm / self.after_mm


def bench_of(number: int) -> Bench:
    """A calibrated machine with a bowed pot and play."""
    draw = random.Random(f"bowed {number}")
    machine = random_machine(number)
    rod = machine.rods[1]
    rod.pot.bow = draw.choice((-BOW, BOW))
    rod.screw.backlash_mm = draw.uniform(0.0, PLAY_SHARE) * rod.stroke_mm
    return calibrated(machine)


def made(number: int) -> Made:
    bench = bench_of(number)
    before = worst_mm(bench)
    read_mm = random.Random(f"retracted {number}").gauss(PIN_TO_PIN_MM, CALIPER_MM / 2)
    found = linearity.measure(bench.job(accept_table="accept"), read_mm)
    return Made(found, before, worst_mm(bench), held(bench, found), missed(bench, found))


def worst_mm(bench: Bench) -> float:
    """The worst error of the board's position over the stroke: noise and play aside."""
    live, rod = bench.board.read_scope(1), bench.machine.rods[1]
    knots = table.knots(live)
    places = np.linspace(0.0, rod.stroke_mm, 801)
    ways = [abs(bench.true_raw(mm) - live["raw_retracted"]) for mm in places]
    seen = np.interp(ways, *zip(*knots, strict=True)) / knots[-1][0] * rod.stroke_mm
    return float(np.abs(seen - places).max())


def held(bench: Bench, found: Linearity) -> dict[str, tuple[int, int]]:
    """(inside, of how many) for each kind of interval, by the plant's own figures."""
    rod, live = bench.machine.rods[1], bench.board.read_scope(1)
    places = np.linspace(0.0, rod.stroke_mm, 8001)
    ways = np.array([abs(bench.true_raw(mm) - live["raw_retracted"]) for mm in places])
    stops = [abs(raw - live["raw_retracted"]) for raw in found.raw]
    true_mm = np.interp(stops, ways, places)
    off = true_mm - np.array(stops) * found.line_mm_per_raw
    at = [0.0, *map(float, true_mm), rod.stroke_mm]
    full = bench.job().scale.pot
    shares = [100.0 * way / full for way in (0.0, *stops, ways[-1])]
    true = straightness(at, shares)
    inside = np.abs(off - found.deviation_mm) <= found.deviation_error_mm

    def near(a: float, b: float, error: float) -> tuple[int, int]:
        return int(abs(a - b) <= error), 1

    return {
        "deviation": (int(inside.sum()), inside.size),
        "backlash": near(found.backlash_mm, rod.screw.backlash_mm, found.backlash_error_mm),
        "independent": near(found.independent_percent, true.independent, found.independent_error),
        "least squares": near(
            found.least_squares_percent, true.least_squares_worst, found.least_squares_error
        ),
        "terminal": near(found.terminal_percent, true.terminal_worst, found.terminal_error),
    }


def missed(bench: Bench, found: Linearity) -> float:
    """Moves to places by the ruler: how far off the worst is, against the tolerance of a move and
    what was said of table and play."""
    rod, worst = bench.machine.rods[1], 0.0
    allowed = max(1.0, 0.01 * rod.stroke_mm) + found.worst_after_mm + found.deviation_error_mm
    for share in TARGETS:
        target = share * rod.stroke_mm
        bench.board.axis(1).move(target).wait()
        worst = max(worst, abs(bench.plant.position_mm - target))
    return worst / (allowed + rod.screw.backlash_mm / 2)


def line(number: int) -> tuple[str, Made | None]:
    try:
        one = made(number)
    except RodbenchError as error:
        return f"{number:>4}  {type(error).__name__}: {error}", None
    found = one.found
    held_words = " ".join(f"{name} {a}/{b}" for name, (a, b) in one.held.items())
    return (
        f"{number:>4}  {found.position_mm[-1]:>5.0f} mm  {one.before_mm:.2f} -> {one.after_mm:.3f}"
        f" mm ({one.gain:.1f} times), {len(found.table_raw)} points, "
        f"{'in force' if found.accepted else 'left out'}, moves {one.missed:.2f}; {held_words}",
        one,
    )


def summary(all_made: list[Made], asked: int) -> str:
    """What many machines show together."""
    gains = sorted(one.gain for one in all_made)
    inside, of = Counter[str](), Counter[str]()
    for one in all_made:
        for name, (a, b) in one.held.items():
            inside[name] += a
            of[name] += b
    intervals = "\n".join(
        f"{name}: {inside[name]} of {of[name]} intervals hold the truth "
        f"({100 * inside[name] / of[name]:.1f} %)"
        for name in of
    )
    enough = sum(gain >= LEAST_GAIN for gain in gains)
    moves = sum(one.missed <= 1.0 for one in all_made)
    return (
        f"{len(all_made)} of {asked} measured; the worst error at least {LEAST_GAIN:g} times less "
        f"in {enough}; least {gains[0]:.1f}, median {gains[len(gains) // 2]:.1f} times; "
        f"moves within tolerance in {moves}\n{intervals}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    numbers = range(args.first, args.first + args.count)
    good = []
    with multiprocessing.Pool(args.jobs) as pool:
        for text, one in pool.imap(line, numbers):
            print(text, flush=True)
            if one is not None:
                good.append(one)
    print(summary(good, args.count))


if __name__ == "__main__":
    main()
