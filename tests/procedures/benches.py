"""Random benches commissioned: `python -m tests.procedures.benches --count 500 --jobs 2`.

Each bench goes through the whole of `commission` in virtual time, the emulator's eye answering what
a person would see. Printed: what was true against what was said, the worst endpoint error, and
three counts that must be 0:

wrong polarity   a stored direction of motor or pot that is not the plant's
pressed          a mounted rod driven against the machine for more than one tick after it met it:
                 what creep's own momentum and the board's reaction do not explain
false end        a kind of end claimed that is not the rod's, an endpoint with a kind where the rod
                 was not at its end, or a rod without a pot said to be near an end that it is not
                 near
"""

from __future__ import annotations

import argparse
import multiprocessing
import traceback
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import partial

from rodbench.bench import commission
from rodbench.bench.ask import Answers, Asker, Yes
from rodbench.bench.ask import Question as Asked
from rodbench.bench.commission import Commissioned
from rodbench.bench.job import Job
from rodbench.bench.keeper import KnownRod
from rodbench.emulator.plant import Plant
from rodbench.emulator.random_benches import (
    ANSWERS,
    COMMISSIONED,
    HELD,
    MOTOR,
    MOUNT,
    NO_END,
    POT,
    SENSOR,
    TIMED,
    WIPER,
    RandomBench,
    random_bench,
)
from rodbench.errors import RodbenchError
from rodbench.settings.units import Units

from tests import boards

from . import judge
from .harness import Bench, MemoryKeeper

TOLERANCE = 0.005  # of the stroke, and twice what the pot itself does not repeat
TAPE_MM = 0.2  # what two readings of a tape may be off by
NEAR_SHARE, NEAR_MM = 0.05, 3.0  # what "near an end" may mean
OTHER, CRASH = "refused otherwise", "crash"
# A refusal is of a kind when its sentence has one of these words; the first kind that fits.
WORDS = {
    HELD: ("hold-to-run",),
    NO_END: ("no extended end", "no retracted end"),
    WIPER: ("wiper",),
    MOUNT: ("mounted",),
    SENSOR: ("sensor", "current input"),
    ANSWERS: (
        "answer",
        "was seen",
        "not seen",
        "nobody saw",
        "what should be",
        "contradict",
        "cannot both",
    ),
    MOTOR: ("motor lead", "no current"),
    POT: ("pot", "dropout", "binds"),
}
COLUMNS = (COMMISSIONED, TIMED, *WORDS, OTHER, CRASH)


@dataclass
class Ending:
    """What became of one bench. `text` is the sentence of a refusal; mm, mA, ticks, shares."""

    seed: int
    row: str
    said: str = ""
    text: str = ""
    allowed: bool = False
    endpoint_error: float = 0.0
    troubles: list[str] = field(default_factory=list)  # commissioned, but not as promised
    wrong_polarity: str = ""
    pressed_ticks: int = 0
    false_end: str = ""
    draw_ma: float = 0.0  # worst draw from the board's supply over that at the start
    minutes: float = 0.0
    done: bool = False  # the procedure went to its end

    @property
    def never(self) -> str:
        """What must never be."""
        pressed = f"pressed for {self.pressed_ticks} ticks" if self.pressed_ticks > 1 else ""
        return "; ".join(filter(None, (self.wrong_polarity, pressed, self.false_end)))

    @property
    def trouble(self) -> str:
        """Everything that is wrong with it, in one line; empty when nothing is."""
        wrong = [] if self.allowed else [f"{self.said}: {self.text}"]
        return "; ".join(filter(None, [self.never, *wrong, *self.troubles]))


class Person:
    """Somebody beside the rod, who may be wrong in the way of the bench."""

    def __init__(self, bench: RandomBench, beside: Bench) -> None:
        self.bench = bench
        self.look = partial(beside.emulated.eye.look, axis=bench.axis)

    def answer(self, question: Asked) -> str | None:
        seen = self.look(question.id)
        how = self.bench.lies.get(question.id)
        if how == "not seen":
            return how
        if how == "wrong":
            return {"out": "in", "in": "out"}.get(seen or "", seen)
        return seen


class Watch:
    """Looks at rod and board in every tick."""

    def __init__(self, bench: RandomBench, beside: Bench) -> None:
        self.bench, self.emulated = bench, beside.emulated
        self.plant = beside.emulated.rig.plants[bench.axis]
        self.false_place = ""
        if boards.name() == "emulator":  # what a board holds inside can be looked at there alone
            beside.clock.attach(self.look)

    def look(self, _: int) -> None:
        if not self.bench.two_wires or self.false_place:
            return
        reversed_now = self.emulated.twin.live.scope[self.bench.axis].motor_reversed
        if bool(reversed_now) != self.bench.rod.motor.reversed:
            return  # nobody has told yet which end is which
        place = judge.told_place(self.emulated.twin, self.bench.axis)
        stroke, at = self.bench.rod.stroke_mm, self.plant.position_mm
        near = max(NEAR_MM, NEAR_SHARE * stroke)
        if (place == "retracted" and at > near) or (place == "extended" and at < stroke - near):
            self.false_place = f"said to be near the {place} end at {at:.1f} of {stroke} mm"


def end_of(seed: int) -> Ending:
    """Commission the bench of a seed and judge what came of it."""
    bench = boards.on_its_axis(random_bench(seed))
    ending = Ending(seed, bench.row)
    beside = Bench.of(bench.machine)
    keeper = MemoryKeeper(beside.board)
    watch = Watch(bench, beside)
    if bench.known and not bench.two_wires:
        keeper.known["north"] = _known(bench)
    start_ma = watch.plant.reference_ma
    try:
        done = commission.run(_job(bench, beside), keeper)
        ending.done = True
        _judge_done(ending, bench, beside, keeper, done)
    except RodbenchError as error:
        ending.said, ending.text = _kind(error, bench.allowed), str(error)
    except Exception:
        ending.said, ending.text = CRASH, traceback.format_exc(limit=-3)
    ending.allowed = ending.said in bench.allowed
    ending.wrong_polarity = _stored_polarity(ending, bench, beside)
    ending.pressed_ticks = watch.plant.mount_pressed_ticks
    ending.false_end = "; ".join(filter(None, (ending.false_end, watch.false_place)))
    ending.draw_ma = watch.plant.reference_ma - start_ma
    ending.minutes = beside.clock.now() / 60.0
    return ending


def _job(bench: RandomBench, beside: Bench) -> Job:
    beside.board.write_scope(bench.axis, {"stop_by": int(bench.stop_by == "coast")})
    asker = Asker(Answers(bench.facts), Yes(), Person(bench, beside))
    return Job(beside.board, bench.axis, asker, beside.talk.append, units=Units(bench.units))


def _known(bench: RandomBench) -> KnownRod:
    """What a calibration on the bench found of this rod before it was mounted, wired right then."""
    stroke = bench.rod.stroke_mm
    plant = Plant(replace(bench.rod, pot=replace(bench.rod.pot, wired="right")))
    raw = (round(plant.pot_raw_at(0.0)), round(plant.pot_raw_at(stroke)))
    kind = judge.KINDS[bench.rod.ends.kind]
    return KnownRod(stroke, raw, (kind, kind), 0.1, 105.0)


def _kind(error: RodbenchError, allowed: frozenset[str]) -> str:
    """The kind of a refusal by its words. One about the pot that names both a swapped wiper and a
    worn track, or looks at the wiper too, is right in either case."""
    text = f"{error} {error.hint or ''}".lower()
    if "pot" in str(error).lower():
        for kind, words in ((WIPER, ("wiper",)), (POT, ("worn", "dropout"))):
            if kind in allowed and any(word in text for word in words):
                return kind
    for source in (str(error).lower(), text):
        for kind, words in WORDS.items():
            if any(word in source for word in words):
                return kind
    return OTHER


def _judge_done(
    ending: Ending, bench: RandomBench, beside: Bench, keeper: MemoryKeeper, done: object
) -> None:
    settings = keeper.scopes[bench.axis]
    if bench.two_wires:
        timed = settings.get("stroke_time_extend_cs", 0) > 0
        ending.said = TIMED if timed else HELD
        if timed:
            ending.troubles += judge.wrong_times(bench.machine, bench.axis, settings)
        return
    ending.said = COMMISSIONED
    assert isinstance(done, Commissioned) or bench.rod.mount.fitted
    working = bench.rod.mount.fitted and not bench.known
    plant = beside.emulated.rig.plants[bench.axis]
    ends = judge.Ends.of(plant, settings, working=working)
    ending.endpoint_error = ends.error
    scatter_mm = 2.0 * bench.rod.pot.repeat_mm + (TAPE_MM if working else 0.0)
    if ends.error > TOLERANCE + scatter_mm / (settings["stroke_um"] / 1000.0):
        ending.troubles.append(f"endpoint off by {100 * ends.error:.2f} % of the stroke")
    if bench.rod.mount.fitted:
        ending.troubles += judge.wrong_mounts(bench.rod, ends, settings)
    ending.false_end = judge.false_ends(bench.rod, ends, keeper.file_only)


def _stored_polarity(ending: Ending, bench: RandomBench, beside: Bench) -> str:
    """What the board would start with after a power cut, against the plant."""
    beside.emulated.power_cut()
    beside.clock.sleep(1.0)
    stored = boards.stored(beside.emulated, bench.axis)
    if not (stored.calibrated or stored.stroke_time_extend_cs or ending.done):
        return ""
    found = "" if bool(stored.motor_reversed) == bench.rod.motor.reversed else "motor"
    falls = bench.rod.pot.extended < bench.rod.pot.retracted
    if stored.calibrated and (stored.raw_extended < stored.raw_retracted) != falls:
        found += " pot"
    return f"stored direction of {found} is wrong" if found else ""


# ---------------------------------------------------------------- figures


def table(seen: list[Ending]) -> list[str]:
    """The confusion table: rows are what was true, columns what was said."""
    counts = Counter((e.row, e.said) for e in seen)
    columns = [c for c in COLUMNS if any(e.said == c for e in seen)]
    rows = sorted({e.row for e in seen})
    wide = max(len(row) for row in rows)
    lines = [" " * wide + "".join(f"  {name:>12}" for name in columns)]
    for row in rows:
        cells = "".join(f"  {counts[row, name] or '.':>12}" for name in columns)
        lines.append(f"{row:<{wide}}{cells}")
    return lines


def figures(seen: list[Ending]) -> list[str]:
    """What the table does not show."""
    done = [e for e in seen if e.said == COMMISSIONED]
    worst = max((e.endpoint_error for e in done), default=0.0)
    return [
        f"ended as it should         {sum(e.allowed for e in seen)} of {len(seen)}",
        f"commissioned               {len(done)}, endpoints off by {100 * worst:.3f} % of the "
        f"stroke at worst, {sum(bool(e.troubles) for e in seen)} not as promised",
        f"worst draw by a nudge      {max(e.draw_ma for e in seen):.1f} mA more than at the start",
        f"wrong polarity stored      {sum(bool(e.wrong_polarity) for e in seen)}",
        f"driven into a mounted end  {sum(e.pressed_ticks > 1 for e in seen)}",
        f"end without evidence       {sum(bool(e.false_end) for e in seen)}",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1, help="the first bench's seed")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--row", default="", help="only benches whose truth begins so")
    parser.add_argument("--sentences", action="store_true", help="each kind of refusal, once")
    args = parser.parse_args()
    seeds = range(args.seed, args.seed + args.count)
    chosen = [seed for seed in seeds if random_bench(seed).row.startswith(args.row)]
    seen: list[Ending] = []
    with multiprocessing.Pool(args.jobs) as pool:
        for ending in pool.imap_unordered(end_of, chosen):
            seen.append(ending)
            if ending.trouble:
                print(f"  seed {ending.seed} ({ending.row}): {ending.trouble}", flush=True)
        pool.close()
        pool.join()
    print(f"{len(seen)} benches from seed {args.seed}")
    for line in [*table(seen), "", *figures(seen)]:
        print(line)
    if args.sentences:
        texts = {(e.row, e.said): e.text for e in seen if e.text}
        for (row, said), text in sorted(texts.items()):
            print(f"  {row} / {said}: {text}")


if __name__ == "__main__":
    main()
