"""Proof runs of random rods before and after a change, and what `compare` says of it.

    python -m tests.procedures.compare --count 20

Each rod is proven once as the baseline, then once for each change (and once without one) on an
emulator of its own: other noise, the supply up to 2 % higher or lower, up to 5 K warmer or colder.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import tempfile
from copy import deepcopy
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from rodbench.bench import proof
from rodbench.bench.compared import compared
from rodbench.bench.proof_required import Agreed
from rodbench.emulator.plant import Rod
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import RodbenchError
from rodbench.record.runs import Run, Writer
from rodbench.science.compare import Comparison, Finding

from .harness import Bench
from .pots import settings_of

TIGHT, TIGHT_SHARE = 0.2, 0.1  # friction higher by this, over this share of the stroke
POT = 0.01  # of the reference
MAGNETS = 0.9
SOURCE = 0.1  # of the winding's resistance, in the leads of the supply
EXPECTED = {
    "unchanged": None,
    "friction": "binding",
    "pot": "pot-shift",
    "magnets": "magnets",
    "source": "source",
}


def changed(machine: Machine, change: str, seed: int) -> Machine:
    """The machine of a later day, with one change."""
    draw = random.Random(f"{change} {seed}")
    later = deepcopy(machine)
    later.seed = seed + 1_000_000 + 1000 * list(EXPECTED).index(change)
    later.supply.volts *= draw.uniform(0.98, 1.02)
    rod = later.rods[1]
    rod.motor.ambient_c += draw.uniform(-5.0, 5.0)
    rod.start_mm = rod.stroke_mm * draw.uniform(0.2, 0.8)
    if change == "friction":
        wide = TIGHT_SHARE * rod.stroke_mm
        rod.screw.tight_from_mm = rod.stroke_mm * draw.uniform(0.15, 0.75)
        rod.screw.tight_to_mm, rod.screw.tight = rod.screw.tight_from_mm + wide, TIGHT
    elif change == "pot":
        side = draw.choice((POT, -POT))
        rod.pot.retracted += side
        rod.pot.extended += side
    elif change == "magnets":
        rod.motor.magnets = MAGNETS
    elif change == "source":
        later.supply.source_ohm += SOURCE * rod.motor.resistance_ohm
    return later


def proven(machine: Machine, settings: dict[str, int], folder: Path) -> Run:
    """One proof of the first axis."""
    bench = Bench.of(machine)
    bench.board.write_scope(1, settings)
    stroke = settings["stroke_um"] / 1000.0
    agreed = Agreed(
        settings["soft_stop_min_um"] / 1000.0,
        settings["soft_stop_max_um"] / 1000.0,
        find_ends=True,
        ends_spread_mm=0.001 * stroke,
    )
    return proof.prove(bench.job(), agreed, "north", lambda: Writer(folder))


@dataclass
class Seen:
    """One comparison and the truth. `failed` says why there was none."""

    seed: int
    change: str
    rod: Rod
    found: Comparison | None = None
    failed: str = ""

    @property
    def kinds(self) -> list[str]:
        return [] if self.found is None else [finding.kind for finding in self.found.findings]

    @property
    def right(self) -> bool:
        """Found as what it is, at its place; nothing, where nothing changed."""
        expected = EXPECTED[self.change]
        if self.found is None:
            return False
        if expected is None:
            return not self.found.findings
        return any(f.kind == expected and self._fits(f) for f in self.found.findings)

    @property
    def besides(self) -> list[str]:
        """What was said that is not so."""
        return [kind for kind in self.kinds if kind != EXPECTED[self.change]]

    def _fits(self, finding: Finding) -> bool:
        said, rod = finding.figures, self.rod
        if self.change == "friction":
            low, high = rod.screw.tight_from_mm, rod.screw.tight_to_mm
            return low <= said["at_mm"] <= high
        if self.change == "pot":
            return abs(abs(said["of_reference"]) - POT) < 0.3 * POT
        if self.change == "magnets":
            return abs(said["constant_share"] + (1.0 - MAGNETS)) < 0.03
        true = SOURCE * rod.motor.resistance_ohm
        return abs(said["change_ohm"] - true) < 0.3 * true


def judge(seed: int, changes: tuple[str, ...] = tuple(EXPECTED)) -> list[Seen]:
    """A rod's baseline, and each change laid over it."""
    machine = random_machine(seed)
    machine.board.boot_ms = 50.0
    settings = settings_of(Bench.of(machine))
    seen = []
    with tempfile.TemporaryDirectory() as name:
        try:
            baseline = proven(deepcopy(machine), settings, Path(name))
        except RodbenchError as error:
            why = f"no baseline, {type(error).__name__}: {error}"
            return [Seen(seed, change, machine.rods[1], failed=why) for change in changes]
        for change in changes:
            later = changed(machine, change, seed)
            one = Seen(seed, change, later.rods[1])
            try:
                one.found = compared(baseline, proven(later, settings, Path(name)))
            except RodbenchError as error:
                one.failed = f"{type(error).__name__}: {error}"
            seen.append(one)
    return seen


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=2001, help="the first rod's seed")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--looks", action="store_true", help="print every quantity looked at")
    args = parser.parse_args()
    seeds = range(args.seed, args.seed + args.count)
    with multiprocessing.Pool(args.jobs) as pool:
        seen = []
        for group in pool.imap_unordered(partial(judge), seeds):
            seen += group
            for one in group:
                if not one.right or one.besides or args.looks:
                    print(line(one, args.looks), flush=True)
    print(f"\n{args.count} rods from seed {args.seed}")
    print(f"{'change':<12}{'found':>12}{'said besides':>16}{'no run':>10}")
    for change in EXPECTED:
        of = [one for one in seen if one.change == change]
        count = f"{sum(one.right for one in of)} of {len(of)}"
        besides = sum(bool(one.besides) for one in of)
        word = "none " if change == "unchanged" else ""
        print(f"{change:<12}{word + count:>12}{besides:>16}{sum(bool(o.failed) for o in of):>10}")


def line(one: Seen, looks: bool = False) -> str:
    text = f"  seed {one.seed} {one.change}: {one.failed or one.kinds or 'nothing'}"
    if one.found is None or not (looks or not one.right or one.besides):
        return text
    for look in one.found.looks:
        text += f"\n      {look.name:<18} {look.baseline:9.4f} {look.change:+9.4f}"
        text += f" limit {look.limit:8.4f} {look.unit}"
    for finding in one.found.findings:
        said = {name: round(value, 4) for name, value in finding.figures.items()}
        text += f"\n      {finding.kind} {said}"
    if one.found.profile is not None:
        local = one.found.profile.local_a
        limit = one.found.profile.limit_a
        text += f"\n      bins: greatest {local.max():+.4f} {local.min():+.4f} limit {limit:.4f} A"
    return text


if __name__ == "__main__":
    main()
