"""Ends and times of a rod without a pot: the current shows an end, a person confirms it, and the
time from end to end stands for the position."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from statistics import fmean, median

from rodbench_protocol.names import AxisState, Ended, Fault

from rodbench.board import Axis, AxisSample, BoardSample, Outcome, Sample
from rodbench.clock import TICK_S
from rodbench.science.ends import Approach, End, Kind, classify
from rodbench.science.two_wires import Stroke, agree, stroke

from . import cautions
from .ask import Kind as Ask
from .ask import Question
from .budget import Budget
from .current import AtRest
from .job import (
    BOARD_PERIOD_S,
    REST_PERIOD_S,
    SLOW_PERIOD_S,
    Job,
    failed,
    follow,
    refuse_fault,
    settle,
)

SEEK_OUTPUT = 0.5  # gentle enough for a hard stop, quick enough for the duty budget
SEEK_OVER_LEAST, CREEP_MOST = 1.3, 0.6  # a rod that hardly starts would creep for minutes
WEAKER = 0.1  # step down when the trip stops a seek
GUESS_MM_S = 5.0  # a slow rod at full output
SLOWEST_MM_S = 0.25  # creep slower than this is a rod that does not follow its motor
FULL_OF_CREEP = 0.6  # of the time at creep: about what full output takes, rather more
BELOW_TRIP = 0.8
LEAVE_S = 5.0  # so long that a load that hurries it back leaves its current time to be known
RUNS = 2
TRIES = 3
SEEKS_MAX = 12  # of one way, each ended by the duty budget
NAMES = {-1: "retracted", 1: "extended"}
SEEN_AT = {-1: "all the way in", 1: "all the way out"}
CHOICES = (*SEEN_AT.values(), "between", "not seen")


@dataclass(frozen=True, slots=True)
class Strokes:
    """Pairs are (extend, retract) for ways and (retracted, extended) for ends. s, A, V, mm."""

    stroke_mm: float
    time_s: tuple[float, float]
    spread_s: tuple[float, float]
    kinds: tuple[str, str]
    reasons: tuple[str, str]
    running_a: tuple[float, float]
    peak_a: tuple[float, float]
    held_peak_a: tuple[float, float]
    end_a: tuple[float, float]
    creep_output: float
    creep_time_s: tuple[float, float]
    creep_a: tuple[float, float]
    supply_v: float
    sag_v: float
    output: float

    @property
    def speed_mm_s(self) -> tuple[float, float]:
        """By the label's stroke."""
        return self.stroke_mm / self.time_s[0], self.stroke_mm / self.time_s[1]

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        return {
            "stroke_time_extend_cs": _cs(self.time_s[0]),
            "stroke_time_retract_cs": _cs(self.time_s[1]),
            "running_ma": min(30_000, round(1000 * max(self.running_a))),
            "creep_output_permille": round(1000 * self.creep_output),
            "output_max_permille": round(1000 * self.output),
        }

    def file_only(self) -> dict[str, object]:
        """Keys that stay in the machine file, by their place."""
        return {"rods.end_retracted": self.kinds[0], "rods.end_extended": self.kinds[1]}

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key or place."""
        at = f"end to end at {self.supply_v:.1f} V as read, spread"
        return {
            "stroke_time_extend_cs": f"{at} {self.spread_s[0]:.2f} s",
            "stroke_time_retract_cs": f"{at} {self.spread_s[1]:.2f} s",
            "rods.end_retracted": self.reasons[0],
            "rods.end_extended": self.reasons[1],
        }


def _cs(seconds: float) -> int:
    return min(60_000, max(1, round(100 * seconds)))


def planned_s(creep_s: float) -> float:
    """Motor time in s of the whole, by the time of a stroke at creep."""
    return 3 * creep_s + 2 * RUNS * FULL_OF_CREEP * creep_s + 4.0


def guess_s(stroke_mm: float) -> float:
    """A stroke at creep in s, of a slow rod."""
    return stroke_mm / (GUESS_MM_S * SEEK_OUTPUT * 0.8)


@dataclass(slots=True)
class _Way:
    """One seek that found its end: running current in A (0: it never ran), motor time in s."""

    outcome: Outcome
    running_a: float
    on_s: float

    def kind(self, at_rest: AtRest) -> Kind:
        """How the travel ended."""
        o = self.outcome
        found = Approach(0.0, self.running_a, o.current_stop_a, o.current_probe_a)
        return classify(found, at_rest.sensor)


@dataclass(slots=True)
class _Run:
    """One run from end to end at the output ceiling, and the supply in V meanwhile."""

    stroke: Stroke
    supply_v: float


@dataclass(slots=True)
class _Search:
    job: Job
    at_rest: AtRest
    budget: Budget
    stroke_mm: float
    creep: float
    least: float  # output that is known to move the rod
    creep_s: float  # a stroke at creep, a guess until it is known
    kinds: dict[int, list[Kind]] = field(default_factory=lambda: {-1: [], 1: []})

    # -- at creep

    def seek(self, way: int) -> _Way:
        """Creep to an end, resting when the duty budget ends it on the way."""
        on_s, currents = 0.0, list[float]()
        for _ in range(SEEKS_MAX):
            self.budget.ensure(self.creep_s + 2.0, f"the way to the {NAMES[way]} end")
            samples, outcome = self._seek_once(way)
            on_s += outcome.on_time_s
            currents += [s.current_a for s in samples if s.state == AxisState.SEEK and s.output]
            if outcome.ended in (Ended.END_FOUND, Ended.UNFINISHED):
                return _Way(outcome, _running(currents), on_s)
            if on_s > self.stroke_mm / SLOWEST_MM_S:
                break
            if outcome.ended == Ended.DUTY:
                self.job.say("       the duty budget is spent: resting on the way")
            elif not (self._was_too_strong(outcome) or self.job.hiccup(outcome)):
                break
        refuse_fault(self.job, outcome, f"seeking the {NAMES[way]} end")
        raise failed(
            self.job,
            f"no {NAMES[way]} end in {on_s:.0f} s of motor time",
            "Does the rod follow its motor? See that it is free, then start again. Under load it "
            "may draw as much running as held: then the current shows no end.",
        )

    def _seek_once(self, way: int) -> tuple[list[AxisSample], Outcome]:
        creep = round(1000 * self.creep)
        if self.job.live["creep_output_permille"] != creep:
            self.job.commit({"creep_output_permille": creep})
        self.job.board.subscribe(SLOW_PERIOD_S, BOARD_PERIOD_S)
        with self.job.axis.seek(way) as motion:
            samples = follow(self.job, motion, self.stroke_mm / SLOWEST_MM_S)
        return samples, self.job.axis.outcome()

    def _was_too_strong(self, outcome: Outcome) -> bool:
        """Whether the trip ended it, and less output is left to try."""
        tripped = outcome.ended == Ended.FAULT and outcome.cause == Fault.OVER_CURRENT
        weaker = round(self.creep - WEAKER, 3)
        if not tripped or weaker < self.least:
            return False
        self.job.axis.clear()
        self.creep = weaker
        self.job.say(f"       the trip ended it: creep lowered to {100 * self.creep:.0f} %")
        return True

    # -- at the output ceiling

    def run(self, way: int) -> _Run:
        """Run to the end from the other one; again when this computer was busy for a moment."""
        expected_s = self.job.live[_KEYS[way]] / 100.0
        for _ in range(TRIES):
            self.budget.ensure(expected_s + 2.0, f"running to the {NAMES[way]} end")
            samples, supplies = self._run_once(way)
            outcome = self.job.axis.outcome()
            if outcome.ended in (Ended.END_FOUND, Ended.UNFINISHED):
                return self._as_run(way, samples, supplies)
            if not self.job.hiccup(outcome):
                break
            self.seek(-way)
        refuse_fault(self.job, outcome, f"running to the {NAMES[way]} end at full output")
        if outcome.ended == Ended.DUTY:
            share, window_min = self.budget.share, self.budget.window_s / 60
            raise failed(
                self.job,
                f"the duty budget of {100 * share:.0f} % in {window_min:g} min does not last for "
                "one run from end to end",
                "A longer window with the same share, if the label allows it: duty_window_min in "
                "the machine file, then `rodbench settings push`.",
            )
        raise failed(
            self.job,
            f"the run to the {NAMES[way]} end gave no time: {Ended(outcome.ended).name.lower()}",
            "Start again.",
        )

    def _run_once(self, way: int) -> tuple[list[AxisSample], list[float]]:
        self.job.board.subscribe(REST_PERIOD_S, BOARD_PERIOD_S)
        with _supplies(self.job) as supplies, self.job.axis.run_to_end(way) as motion:
            samples = follow(self.job, motion)
        settle(self.job)
        return [s for s in samples if s.state == AxisState.RUN and s.output], supplies

    def _as_run(self, way: int, samples: list[AxisSample], supplies: list[float]) -> _Run:
        assert self.at_rest.sensor is not None
        times = [(s.tick - samples[0].tick) * TICK_S for s in samples]
        currents = [s.current_a for s in samples]
        try:
            found = stroke(times, currents, self.job.live["trip_ms"] / 1000.0, self.at_rest.sensor)
        except ValueError as error:
            raise failed(self.job, str(error), "See that the rod is free at its ends.") from None
        seen = f"{found.running_a:.2f} A -> {found.end_a:.2f} A at full output"
        self._same_kind(way, Kind(found.kind, seen))
        middle = supplies[len(supplies) // 3 :]
        return _Run(found, fmean(middle) if middle else self.at_rest.supply_v)

    def _same_kind(self, way: int, found: Kind) -> None:
        """An end answers at full output as it did at creep."""
        at_creep = self.kinds[way][0].end
        if found.end is not at_creep:
            words = at_creep.value.replace("-", " ")
            raise failed(
                self.job,
                f"the run to the {NAMES[way]} end ended otherwise than by the {words} that creep "
                f"found there: {found.reason}. The rod was held on its way",
                "See that it is free, then start again.",
            )
        self.kinds[way].append(found)

    # -- what only a person sees

    def look(self, way: int) -> None:
        """An end, or a place where the rod is held: nothing else tells them apart."""
        name = NAMES[way]
        answer = self.job.asker.ask(
            Question(
                f"end_{name}",
                f"       The rod ran to its {name} end. Where does it stand?",
                Ask.FACT,
                CHOICES,
            )
        )
        if answer == SEEN_AT[way]:
            return
        what = {
            "between": "the current showed an end, but the rod stands between its ends: it binds "
            "or is held there, and that is no end",
            "not seen": f"nobody saw whether the rod stands at its {name} end",
        }.get(answer, f"by the answers it ran to its {name} end, and it stands {answer}")
        hint = {
            "between": "Free the rod, then start again.",
            "not seen": "Have somebody watch the rod, then start again.",
        }.get(answer, f"Watch it closely: rodbench calibrate polarity {self.job.number}")
        raise failed(self.job, what, hint)


_KEYS = {1: "stroke_time_extend_cs", -1: "stroke_time_retract_cs"}


def find(job: Job, at_rest: AtRest, creep_output: float, stroke_mm: float) -> Strokes:
    """Creep to both ends, then run from end to end twice each way and take the time.

    `creep_output` moves the rod; `stroke_mm` by the label. Leaves times and creep in force, not
    stored. Raises ProcedureError where no end is proven, Faulted when a guard trips.
    """
    with job.stopping():
        job.uncalibrate()
        creep = round(min(CREEP_MOST, max(SEEK_OUTPUT, SEEK_OVER_LEAST * creep_output)), 3)
        search = _Search(
            job, at_rest, Budget(job), stroke_mm, creep, creep_output, guess_s(stroke_mm)
        )
        job.say(
            f" 4 Ends                               creep at {100 * creep:.0f} % output; the "
            "current shows an end      [any key stops]"
        )
        search.budget.say_cost(planned_s(search.creep_s), "for a slow rod, less for a quick one")
        ways = _creep(search)
        runs = _full(search, ways)
        found = _evaluate(search, ways, runs)
        _say(job, found)
        job.commit(found.settings())
    job.record("calibrate endpoints", {"axis": job.number, "found": found})
    return found


def _creep(search: _Search) -> dict[int, _Way]:
    """To the retracted end, out, and back in: where the ends are, and the strokes at creep."""
    search.job.commit({"creep_output_permille": round(1000 * search.creep)})
    leave(search.job.axis, search.creep)
    search.seek(-1)
    search.look(-1)
    ways = {1: _end(search, 1)}
    search.creep_s = ways[1].on_s
    search.look(1)
    ways[-1] = _end(search, -1)
    search.creep_s = max(way.on_s for way in ways.values())
    out, back = ways[1].on_s, ways[-1].on_s
    search.job.say(f"       End to end at creep: {out:.1f} s out, {back:.1f} s in.")
    return ways


def leave(axis: Axis, output: float) -> None:
    """Creep away from an end for a moment: a rod that stands there then runs before it meets that
    end again, so that the current has something to show."""
    with axis.jog_output(output) as motion:
        motion.wait(LEAVE_S)
    if axis.outcome().ended == Ended.FAULT:  # it met the other end, hard: it goes back next
        axis.clear()


def _end(search: _Search, way: int) -> _Way:
    """An end after a whole stroke, with the evidence of its kind."""
    found = search.seek(way)
    kind = found.kind(search.at_rest)
    search.kinds[way].append(kind)
    search.job.say(f"       {NAMES[way]:<9}  {kind.reason}")
    if kind.end is End.UNKNOWN:
        raise failed(
            search.job,
            f"the current shows no end there: {kind.reason}",
            "A rod without a pot needs a current sensor that shows it. Without one it can be "
            "commissioned as hold-to-run: answer none for the sensor.",
        )
    words = kind.end.value.replace("-", " ")
    search.job.say(f"                  -> {words}")
    return found


def _full(search: _Search, ways: dict[int, _Way]) -> dict[int, list[_Run]]:
    """The runs at the ceiling. A commit makes the board forget where the rod is, so that a time
    which is a guess never makes a fault of an end that comes early."""
    job = search.job
    job.say(" 5 Time from end to end")
    job.say(cautions.FULL_SPEED)
    cautions.consent(job, cautions.full_speed())
    search.budget.say_cost(2 * RUNS * FULL_OF_CREEP * search.creep_s)
    ceiling = _ceiling(search, ways)
    most = FULL_OF_CREEP / ceiling
    guess = {_KEYS[way]: _cs(most * found.on_s) for way, found in ways.items()}
    job.commit({"output_max_permille": round(1000 * ceiling)})
    runs: dict[int, list[_Run]] = {1: [], -1: []}
    for number in range(RUNS):
        for way in (1, -1):
            if number == 0:
                job.commit(guess)
            runs[way].append(search.run(way))
            if number == RUNS - 1 and search.kinds[way][0].end is End.STALL:
                search.look(way)  # a jam stalls the motor just as a hard stop does
        job.commit({_KEYS[way]: _cs(runs[way][-1].stroke.time_s) for way in (1, -1)})
    return runs


def _ceiling(search: _Search, ways: dict[int, _Way]) -> float:
    """The output ceiling, lowered where a stall at a hard end would reach the trip."""
    job = search.job
    ceiling, trip_a = job.live["output_max_permille"] / 1000.0, job.live["trip_ma"] / 1000.0
    stalls = [
        way.outcome.current_stop_a / search.creep
        for sign, way in ways.items()
        if search.kinds[sign][0].end is End.STALL
    ]
    at_full = max(stalls, default=0.0)  # a stalled motor's current follows the output
    if at_full * ceiling <= BELOW_TRIP * trip_a:
        return ceiling
    lowered = round(max(search.creep, BELOW_TRIP * trip_a / at_full), 3)
    job.say(
        f"       A hard end would stall the motor with about {at_full * ceiling:.1f} A, near the "
        f"trip of {trip_a:.1f} A: output ceiling lowered to {100 * lowered:.0f} %."
    )
    return lowered


def _evaluate(search: _Search, ways: dict[int, _Way], runs: dict[int, list[_Run]]) -> Strokes:
    job = search.job
    both = [[run.stroke for run in runs[way]] for way in (1, -1)]
    for way, strokes in zip((1, -1), both, strict=True):
        times = [stroke.time_s for stroke in strokes]
        if not agree(times):
            told = " and ".join(f"{t:.1f} s" for t in times)
            raise failed(
                job,
                f"the runs to the {NAMES[way]} end took {told}: one was held on its way, or the "
                "supply changed",
                "See that the rod is free and the supply steady, then start again.",
            )
    supply = fmean(run.supply_v for way in runs.values() for run in way)
    first = {way: kinds[0] for way, kinds in search.kinds.items()}

    def pair(name: str) -> tuple[float, float]:
        out, back = (fmean(getattr(s, name) for s in strokes) for strokes in both)
        return out, back

    def most(name: str) -> tuple[float, float]:
        out, back = (max(getattr(s, name) for s in strokes) for strokes in both)
        return out, back

    spread = [max(s.time_s for s in w) - min(s.time_s for s in w) for w in both]
    ends = pair("end_a")
    return Strokes(
        stroke_mm=search.stroke_mm,
        time_s=pair("time_s"),
        spread_s=(spread[0], spread[1]),
        kinds=(first[-1].end.value, first[1].end.value),
        reasons=(first[-1].reason, first[1].reason),
        running_a=pair("running_a"),
        peak_a=most("peak_a"),
        held_peak_a=most("held_peak_a"),
        end_a=(ends[1], ends[0]),
        creep_output=search.creep,
        creep_time_s=(ways[1].on_s, ways[-1].on_s),
        creep_a=(ways[1].running_a, ways[-1].running_a),
        supply_v=supply,
        sag_v=max(0.0, search.at_rest.supply_v - supply),
        output=job.live["output_max_permille"] / 1000.0,
    )


@contextmanager
def _supplies(job: Job) -> Iterator[list[float]]:
    """Supply readings in V while this lasts."""
    heard: list[float] = []

    def hear(sample: Sample) -> None:
        if isinstance(sample, BoardSample):
            heard.append(sample.supply_v)

    job.board.listeners.append(hear)
    try:
        yield heard
    finally:
        job.board.listeners.remove(hear)


def _running(currents: list[float]) -> float:
    """Current of steady creep in A: start and end of the way aside."""
    middle = currents[len(currents) // 5 : -len(currents) // 5 or None]
    return median(middle) if len(currents) >= 20 else 0.0


def _say(job: Job, found: Strokes) -> None:
    for index, word in enumerate(("extend ", "retract")):
        tail = f"     at {found.supply_v:.1f} V, sag {found.sag_v:.1f} V" if index else ""
        job.say(
            f"       {word}  {found.time_s[index]:.1f} s, spread {found.spread_s[index]:.2f} s   "
            f"{job.units.speed(found.speed_mm_s[index])} by the label's stroke   "
            f"{found.running_a[index]:.2f} A, peak {found.peak_a[index]:.2f}{tail}"
        )


__all__ = ["NAMES", "Strokes", "find", "guess_s", "leave", "planned_s"]
