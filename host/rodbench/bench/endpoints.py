"""Where the ends are, and how the travel ends there: three approaches each, all at creep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from statistics import fmean

from rodbench_protocol.names import AxisState, Ended, Fault

from rodbench.board import AxisSample, Outcome
from rodbench.science.bend import DOUBT_BEND, MOST_BEND, bend
from rodbench.science.duty import stroke_bound_s
from rodbench.science.ends import Approach, End, Kind, agree, classify, spread, spread_limit
from rodbench.science.polarity import Seen
from rodbench.science.rest import largest_jump

from .ask import Kind as Ask
from .ask import Question
from .budget import Budget
from .current import AtRest
from .found_ends import PROVISIONAL_SHARE, Endpoints
from .job import BOARD_PERIOD_S, SLOW_PERIOD_S, Job, failed, follow, refuse_fault, settle
from .leg import Leg, creep_a, creep_raw_s
from .polarity import CHOICES, Polarity
from .straight import HINT

APPROACHES = 3
SHORT_RUN = 1.03  # creep told by a run of a second is a few percent off
BACK_SHARE = 0.05
BACK_UNKNOWN_RAW = 245.0  # 5 % of a pot that uses six tenths of its scale, until the span is known
GIVES_WAY_RAW = 32.0  # four ADC steps
COASTS_S = 0.3  # of creep: longer than a geared motor coasts
LEAST_SPAN_RAW = 400
POT_MARGIN_RAW = 40
LOOK = "Look at rod and pot, and whether the wiper's wire is on its own lead; then start again."
CREEP_MOST, CREEP_STEP = 0.6, 0.1
START_S = 20.0  # a way to an end begins with at least this left of the budget
SEEKS_MAX = 12  # of one approach, each ended by the duty budget
STUCK = (Fault.STALL, Fault.NO_CURRENT, Fault.POT_NOT_FOLLOWING)
NAMES = {-1: "retracted", 1: "extended"}


@dataclass(slots=True)
class _Search:
    job: Job
    at_rest: AtRest
    budget: Budget
    way: Polarity
    stroke_mm: float
    outputs: dict[int, float] = field(default_factory=dict)
    legs: list[Leg] = field(default_factory=list)
    output_of: dict[int, float] = field(default_factory=dict)  # by number of the motion
    spent_s: float = 0.0

    def __post_init__(self) -> None:
        self.outputs = {1: self.way.creep_output[0], -1: self.way.creep_output[1]}

    @property
    def falls(self) -> bool:
        return self.way.pot_falls

    @property
    def raw_s(self) -> float:
        """Creep in raw per s, the slower way."""
        return min(self.way.creep_raw_s)

    @property
    def planned_s(self) -> float:
        """Motor time that all of it takes, as far as the pot tells."""
        return SHORT_RUN * planned_s(self.raw_s, self.at_rest.pot_raw, self.job.scale.pot)

    @property
    def to_do_s(self) -> float:
        """What is left of the plan: whoever rests, rests for all of it."""
        return max(0.0, self.planned_s - self.spent_s)

    def creep(self, way: int) -> float:
        """Output that creeps this way; put in force with the speed that it gives."""
        output = round(1000 * self.outputs[way])
        if self.job.live["creep_output_permille"] != output:
            speed = speed_um_s(self.job.scale.pot, self.way.raw_s_of(way), self.stroke_mm)
            self.job.commit({"creep_output_permille": output, "creep_speed_um_s": speed})
        return output / 1000.0

    def stronger(self, way: int) -> bool:
        """Raise creep this way by a step; False when it is at its most."""
        if self.outputs[way] >= CREEP_MOST:
            return False
        self.outputs[way] = round(min(CREEP_MOST, self.outputs[way] + CREEP_STEP), 3)
        return True

    def did_not_start(self, way: int) -> bool:
        """Creep was too weak: raise it and say so; False when it is at its most."""
        raised = self.stronger(way)
        if raised:
            percent = 100 * self.outputs[way]
            self.job.say(f"       the rod did not start: creep raised to {percent:.0f} %")
        return raised

    def bound_s(self, way: int) -> float:
        """Longest time to the end: the pot's scale ends somewhere."""
        raw = self.legs[-1].samples[-1].raw if self.legs else self.at_rest.pot_raw
        rising = (way > 0) != self.falls
        to_go = self.job.scale.pot - raw if rising else raw
        return stroke_bound_s(to_go, self.raw_s) + 2.0

    def never_ran(self, found: Outcome) -> bool:
        """Whether the rod stood all the time though the motor pulled, as far as can be told."""
        if self.at_rest.sensor is None:
            return not self.legs or self.legs[-1].travel_raw() < 2.0 * GIVES_WAY_RAW
        pulls = 3.0 * self.at_rest.current_step_a
        return found.current_before_a <= 0.0 and found.current_stop_a > pulls

    def still_drew(self, found: Outcome) -> bool:
        """Whether the motor drew a current as the rod stopped: no switch opened there."""
        return bool(self.at_rest.sensor) and found.current_stop_a > 0.5 * found.current_before_a

    def coasts_raw(self, found: list[Outcome]) -> float:
        """How far the rod may have run on behind an open end switch, arriving as it did last; 0
        where the motor was seen to draw a current."""
        if any(self.still_drew(one) for one in found):
            return 0.0
        return COASTS_S * abs(self.legs[-1].raw_s() or self.raw_s)

    def bend(self) -> float | None:
        """How unevenly the pot followed on the longest way; None: cannot be told."""
        leg = max(self.legs, key=Leg.travel_raw)
        moving = leg.middle(0.01)
        return bend([s.raw for s in moving], [s.current_a for s in moving])

    def seek(self, way: int, need_s: float) -> Outcome:
        """Creep to an end, resting when the duty budget ends it on the way."""
        need_s = min(need_s, START_S)  # it may rest on the way
        for _ in range(SEEKS_MAX):
            self.budget.ensure(need_s, f"the way to the {NAMES[way]} end", self.to_do_s)
            outcome = self._seek_once(way)
            if outcome.ended == Ended.END_FOUND:
                return outcome
            refuse_fault(self.job, outcome, f"seeking the {NAMES[way]} end")
            if outcome.ended == Ended.DUTY:
                self.job.say("       the duty budget is spent: resting on the way")
            elif not self.job.hiccup(outcome):
                break
        raise failed(
            self.job,
            f"the {NAMES[way]} end was not found: {Ended(outcome.ended).name.lower()}",
            "See that the rod is free, then start again.",
        )

    def _seek_once(self, way: int) -> Outcome:
        self.creep(way)
        self.job.board.subscribe(SLOW_PERIOD_S, BOARD_PERIOD_S)
        with self.job.axis.seek(way) as motion:
            samples = follow(self.job, motion)
        leg = Leg(way, self.outputs[way], [s for s in samples if s.state == AxisState.SEEK])
        if leg.samples:
            self.legs.append(leg)
        outcome = self.job.axis.outcome()
        self.spent_s += outcome.on_time_s
        self.output_of[outcome.motion] = self.outputs[way]
        # The board's running current may hold a little of the stop: the way itself tells better.
        running = leg.current_a()
        return outcome if running is None else replace(outcome, current_before_a=running)

    def back(self, way: int, distance_raw: float) -> None:
        """Leave an end by `distance_raw`, moving in the sense of `way`."""
        while True:
            self.budget.ensure(distance_raw / self.raw_s + 2.0, "going back", self.to_do_s)
            samples = self._jog(way, distance_raw)
            outcome = self.job.axis.outcome()
            self.spent_s += outcome.on_time_s
            if self.job.hiccup(outcome):
                continue
            if outcome.ended not in (Ended.FAULT, Ended.UNFINISHED, Ended.END_FOUND):
                self.legs.append(Leg(way, self.outputs[way], samples))
                return
            stuck = outcome.ended != Ended.FAULT or outcome.cause in STUCK
            if not stuck or not self.did_not_start(way):
                refuse_fault(self.job, outcome, "going back from the end")
                raise failed(self.job, "the rod does not leave the end", "Is it jammed there?")
            self.job.axis.clear()

    def _jog(self, way: int, distance_raw: float) -> list[AxisSample]:
        self.job.board.subscribe(SLOW_PERIOD_S, BOARD_PERIOD_S)
        samples: list[AxisSample] = []
        with self.job.axis.jog_output(way * self.creep(way)) as motion:
            for sample in self.job.samples(motion):
                samples.append(sample)
                if abs(sample.raw - samples[0].raw) >= distance_raw:
                    break
        settle(self.job)
        return samples

    def best_leg(self, way: int) -> Leg | None:
        """The longest leg of this way at the output that is now its creep."""
        legs = [
            leg
            for leg in self.legs
            if leg.way == way and leg.output == self.outputs[way] and leg.raw_s()
        ]
        return max(legs, key=lambda leg: len(leg.middle()), default=None)

    def best_raw_s(self, way: int) -> float:
        """Creep in raw per s."""
        return creep_raw_s(self.best_leg(way), self.way, way)

    def peak_current_a(self, way: int) -> float:
        """The greatest current of creep in A: where the load is heaviest."""
        leg = self.best_leg(way)
        return max(leg.peak_a() if leg else 0.0, self.best_current_a(way))

    def best_current_a(self, way: int) -> float:
        """Current of creep in A."""
        return creep_a(self.best_leg(way), self.way, way)


def planned_s(raw_s: float, raw: float, full_scale: float) -> float:
    """Motor time in s that finding both ends takes at a creep, the pot reading `raw` at the start:
    a guess, by a pot that uses four fifths of its scale."""
    span_raw = 0.8 * full_scale
    back = 2 * (APPROACHES - 1) * BACK_SHARE * span_raw
    return (min(raw, full_scale - raw, span_raw) + span_raw + 2 * back) / raw_s + 6.0


def _known(_: int) -> float | None:
    """The stroke is known beforehand."""
    return None


def find(
    job: Job,
    at_rest: AtRest,
    way: Polarity,
    stroke_mm: float,
    at_end: Callable[[int], float | None] = _known,
) -> Endpoints:
    """Creep three times to each end, classify them, and put provisional soft stops in force.

    `stroke_mm` by the person, `way` from the polarity runs. `at_end` is called while the rod rests
    at its retracted end (-1), then at the other (1), where it may give the stroke as measured.
    Nothing is stored. Raises ProcedureError for binding, or ends that contradict the direction;
    Faulted when a guard trips.
    """
    with job.stopping():
        job.uncalibrate()
        job.forget_table()
        job.commit(_search_settings(job, way, stroke_mm))
        search = _Search(job, at_rest, Budget(job), way, stroke_mm)
        out, back = way.creep_output
        job.say(
            f" 4 Ends                               creep at {100 * out:.0f} % output out, "
            f"{100 * back:.0f} % in, {APPROACHES} approaches each      [any key stops]"
        )
        search.budget.say_cost(search.planned_s, "at this creep, as far as the pot tells")
        retracted = _approach(search, -1, lambda _: BACK_UNKNOWN_RAW)
        _look(job)
        at_end(-1)
        raw = fmean(a.raw for a in retracted)
        extended = _approach(search, 1, lambda a: max(BACK_SHARE * abs(a.raw - raw), 60.0))
        stroke_mm = at_end(1) or stroke_mm
        found = _evaluate(search, stroke_mm, retracted, extended)
        _say(job, found, retracted, extended)
        job.commit(found.provisional())
    say_provisional(job, found)
    job.record("calibrate endpoints", {"axis": job.number, "found": found})
    return found


def say_provisional(job: Job, found: Endpoints) -> None:
    """The soft stops that measuring goes on behind."""
    low, high = (found.at_share(share) for share in (PROVISIONAL_SHARE, 1.0 - PROVISIONAL_SHARE))
    job.say(f"       Provisional soft stops {job.units.span(low, high)} are live, until reset.")


def _look(job: Job) -> None:
    """A third look at the direction: two answers that are wrong alike agree with each other."""
    question = "       At an end now: did it come out or go in?"
    seen = Seen(job.asker.ask(Question("run_to_end", question, Ask.FACT, CHOICES)))
    if seen is not Seen.IN:
        raise failed(
            job,
            f"the rod ran to the end that should be the retracted one, and was seen: {seen.value}",
            f"Watch it closely and start again: rodbench calibrate polarity {job.number}",
        )


def _search_settings(job: Job, way: Polarity, stroke_mm: float) -> dict[str, int]:
    """The board's dwell needs to know how fast the pot goes: on the scale of the whole pot."""
    return {
        "raw_retracted": 0,
        "raw_extended": job.scale.widest_pot,
        "stroke_um": round(1000 * stroke_mm),
        "creep_speed_um_s": speed_um_s(job.scale.pot, min(way.creep_raw_s), stroke_mm),
    } | at_rest_stall(job)


def speed_um_s(full_scale: int, raw_s: float, stroke_mm: float) -> int:
    """A setting for creep speed, as if the stroke took the whole scale: the least it can be."""
    return min(50_000, max(100, round(1000 * raw_s / full_scale * stroke_mm)))


def at_rest_stall(job: Job) -> dict[str, int]:
    """A stall time that suits creep while little is known."""
    return {"stall_time_ms": max(600, min(1000, job.live["stall_time_ms"]))}


def _approach(search: _Search, way: int, back_raw: Callable[[Outcome], float]) -> list[Outcome]:
    """Three approaches. Where no switch opened, the last one presses harder: a load that grows on
    the way stops a rod just like an end, but gives way to more output."""
    found, pressed = [_arrive(search, way, search.bound_s(way))], False
    while len(found) < APPROACHES:
        distance, gentle = back_raw(found[0]), search.outputs[way]
        search.back(-way, distance)
        if not pressed and _to_press(search, found):
            pressed = search.stronger(way)
        arrived = _arrive(search, way, 1.5 * distance / search.raw_s + 2.0)
        if search.never_ran(arrived):
            _say_weak(search, way, found)
            break
        if search.outputs[way] == gentle:
            found.append(arrived)
        elif _gave_way(search, found, arrived):
            search.job.say("       that was no end: the rod went on with more output")
            found, pressed = [arrived], False
        else:
            search.outputs[way] = gentle
            if _further_raw(found, arrived) <= GIVES_WAY_RAW:
                found.append(arrived)  # else it coasted on behind a switch, faster: no fair reading
    return found


def _to_press(search: _Search, found: list[Outcome]) -> bool:
    """Whether the last approach is due, at what may be no end."""
    last = len(found) == APPROACHES - 1
    return last and _kind(search.at_rest, found).end is not End.SWITCH


def _gave_way(search: _Search, found: list[Outcome], arrived: Outcome) -> bool:
    """Whether more output took the rod past where it had stopped, by more than it coasts."""
    coasts_raw = search.coasts_raw([*found, arrived])
    return _further_raw(found, arrived) > GIVES_WAY_RAW + coasts_raw


def _further_raw(found: list[Outcome], arrived: Outcome) -> float:
    """How far from the earlier readings of an end another one lies."""
    return abs(arrived.raw - fmean(one.raw for one in found))


def _say_weak(search: _Search, way: int, found: list[Outcome]) -> None:
    """The rod came this way before and does not start now: two good readings are enough."""
    percent = 100 * CREEP_MOST
    if len(found) < 2 and (drop := _dropout(search)):
        raise failed(
            search.job,
            f"the pot's reading jumped by {drop:.0f} raw on the way, and shows no motion now: worn "
            "track, or a loose wire",
            f"rodbench measure pot {search.job.number} finds the place",
        )
    if len(found) < 2:
        raise failed(
            search.job,
            f"the rod does not start at {percent:.0f} % output: it cannot creep to its "
            f"{NAMES[way]} end",
            "A stronger supply, or less load; or let it cool down.",
        )
    search.job.say(
        f"       the rod does not start any more at {percent:.0f} % output: {len(found)} readings"
    )


def _arrive(search: _Search, way: int, need_s: float) -> Outcome:
    """One approach. Where the rod never ran, it may only not have started."""
    found = search.seek(way, need_s)
    while search.never_ran(found) and search.did_not_start(way):
        found = search.seek(way, need_s)
    return found


def _evaluate(
    search: _Search, stroke_mm: float, retracted: list[Outcome], extended: list[Outcome]
) -> Endpoints:
    raws = [[float(a.raw) for a in end] for end in (retracted, extended)]
    span = fmean(raws[1]) - fmean(raws[0])
    uneven = _check_span(search, span, raws)
    scale = stroke_mm / abs(span)
    kinds = [_kind(search.at_rest, end) for end in (retracted, extended)]
    full = search.job.scale.pot
    edge = min(min(r, full - r) for r in (fmean(raws[0]), fmean(raws[1])))
    margin = max(POT_MARGIN_RAW, round(8 * search.at_rest.pot_noise_raw))
    return Endpoints(
        stroke_mm=stroke_mm,
        raw=(round(fmean(raws[0])), round(fmean(raws[1]))),
        spread_mm=(spread(raws[0]) * scale, spread(raws[1]) * scale),
        kinds=(kinds[0].end.value, kinds[1].end.value),
        reasons=(kinds[0].reason, kinds[1].reason),
        stopped_a=(retracted[0].current_stop_a, extended[0].current_stop_a),
        stopped_output=(
            search.output_of[retracted[0].motion],
            search.output_of[extended[0].motion],
        ),
        creep_mm_s=(search.best_raw_s(1) * scale, search.best_raw_s(-1) * scale),
        creep_a=(search.best_current_a(1), search.best_current_a(-1)),
        creep_peak_a=(search.peak_current_a(1), search.peak_current_a(-1)),
        creep_output=(search.outputs[1], search.outputs[-1]),
        dropout_raw=_dropout(search),
        pot_margin_raw=max(4, min(margin, int(edge) - 1)),
        full_scale=full,
        uneven=uneven,
    )


def _kind(at_rest: AtRest, end: Sequence[Outcome]) -> Kind:
    approaches = (
        Approach(a.raw, a.current_before_a, a.current_stop_a, a.current_probe_a) for a in end
    )
    return agree([classify(approach, at_rest.sensor) for approach in approaches])


def _check_span(search: _Search, span: float, raws: list[list[float]]) -> bool:
    """Raises for ends that contradict one another. True: the pot follows unevenly."""
    problem = None
    if abs(span) < LEAST_SPAN_RAW:
        problem = f"the ends are only {abs(span):.0f} raw apart: the pot does not tell enough"
    elif (span < 0) != search.falls:
        problem = "the pot went the other way than in the polarity runs"
    for name, values in zip(("retracted", "extended"), raws, strict=True):
        if spread(values) > spread_limit(span):
            problem = (
                f"the {name} end came out {spread(values):.0f} raw apart in {APPROACHES} "
                "approaches: the rod binds there, that is not an end"
            )
    times = search.bend() or 1.0
    uneven = (
        f"the pot's reading changes {times:.0f} times as fast at one end as at the other, at the "
        "same output: it is no straight pot, or its wiper and an end lead are swapped"
    )
    if problem and times > DOUBT_BEND:
        raise failed(search.job, f"{problem}; {uneven}", HINT)
    if problem:
        raise failed(search.job, problem, LOOK)
    if times > MOST_BEND:
        raise failed(search.job, uneven, HINT)
    return times > DOUBT_BEND


def _dropout(search: _Search) -> float:
    """Greatest jump of the pot beyond noise and travel, 0 when there was none."""
    worst = 0.0
    for leg in search.legs:
        jump = largest_jump([s.raw for s in leg.samples])
        usual = 10 * search.at_rest.pot_noise_raw + 3 * search.raw_s * SLOW_PERIOD_S + 16
        worst = max(worst, jump if jump > usual else 0.0)
    return worst


def _say(job: Job, found: Endpoints, retracted: list[Outcome], extended: list[Outcome]) -> None:
    for index, (name, end) in enumerate((("retracted", retracted), ("extended ", extended))):
        raws = " ".join(str(a.raw) for a in end)
        job.say(f"       {name}  raw {raws}   {found.reasons[index]}")
        kind = found.kinds[index]
        words = "kind unknown" if kind == End.UNKNOWN else kind.replace("-", " ")
        spread_words = job.units.length(found.spread_mm[index])
        job.say(f"                  -> {words}, spread {spread_words}")
    drop = (
        f"A dropout of {found.dropout_raw:.0f} raw was seen: the track may be worn."
        if found.dropout_raw
        else "No dropout seen."
    )
    if found.uneven:
        job.say("       The pot follows unevenly; a load may do that. The tape will tell.")
    units = job.units
    creep = f"{units.number(found.creep_mm_s[0])} / {units.speed(found.creep_mm_s[1])}"
    job.say(
        f"       {abs(found.span_raw)} raw over {units.length(found.stroke_mm)}: "
        f"{units.fine(found.mm_per_raw)} a count. Creep {creep}. {drop}"
    )


__all__ = ["Endpoints", "find", "planned_s", "say_provisional", "speed_um_s"]
