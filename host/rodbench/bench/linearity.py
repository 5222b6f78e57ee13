"""How straight a calibrated axis's pot is, by a ruler; and a table that makes it straighter.

The rod stops at several places, twice from either side, and a person reads pin to pin at each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from math import exp, pi, sqrt
from statistics import fmean

from rodbench_protocol import table
from rodbench_protocol.settings import check

from rodbench.science import linearity as science
from rodbench.science.linearity import Scatter, Stop, Straightness, Unsure
from rodbench.science.trapezoid import least_time
from rodbench.settings import pot_table
from rodbench.settings.units import Units

from .ask import Kind, Question
from .budget import Budget
from .job import STORED, Job, failed, rest_samples
from .label import length
from .scale import Scale
from .strokes import go

STOPS, ROUNDS = 8, 2
FEWEST_STOPS, MOST_STOPS = 3, 40
INSIDE = 0.04  # of the way between the soft stops, so that each place has two sides to come from
REST_S = 0.5
MOVE_EXTRA_S = 0.8  # of a move: creeping in
WRONG_SHARE, WRONG_LEAST_MM = 0.1, 5.0  # a reading further from the board's own is a slip
ERROR_MOST_MM = 5.0
ENOUGH_SHARE = 0.5  # of the uncertainty: a table that is as good needs no more points


@dataclass(frozen=True, slots=True)
class Reading:
    """At one stop: place and way (1 extending), the pot's mean raw and its noise, and the ruler."""

    stop: int
    way: int
    raw: float
    noise_raw: float
    mm: float


@dataclass(frozen=True, slots=True)
class Linearity:
    """What was found. Deviations are what the line between the endpoints says too little, mm;
    linearities are in % of the pot's supply; every `error` is the half width of a 95 % interval.

    `table_raw` and `table_mm` are the points proposed, or in force once `accepted`.
    """

    raw: tuple[float, ...]
    position_mm: tuple[float, ...]
    deviation_mm: tuple[float, ...]
    deviation_error_mm: float
    line_mm_per_raw: float
    independent_percent: float
    independent_error: float
    terminal_percent: float
    terminal_error: float
    least_squares_percent: float
    least_squares_error: float
    repeat_mm: float  # one sigma, ruler included
    repeat_low_mm: float
    repeat_high_mm: float
    backlash_mm: float
    backlash_error_mm: float
    worst_before_mm: float
    worst_after_mm: float
    table_raw: tuple[int, ...]
    table_mm: tuple[float, ...]
    worth: bool
    reason: str
    ruler_error_mm: float
    accepted: bool = False

    @property
    def table_line(self) -> list[tuple[float, float]]:
        """(position, deviation) of the table's points, mm."""
        where = [self.raw.index(min(self.raw, key=partial(_apart, at))) for at in self.table_raw]
        return sorted((self.position_mm[n], self.deviation_mm[n]) for n in where)

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key."""
        if not self.accepted:
            return {}
        worst = f"worst {self.worst_before_mm:.2f} -> {self.worst_after_mm:.2f} mm"
        return {"table_points": f"{worst}, ruler +-{self.ruler_error_mm:g} mm"}


def _apart(a: float, b: float) -> float:
    return abs(a - b)


def planned_s(job: Job, stops: int = STOPS, rounds: int = ROUNDS) -> float:
    """Motor time in s."""
    places = [1000 * mm for mm in stops_mm(job, stops)]
    live = job.live
    limits = (live["speed_max_um_s"], live["acceleration_um_s2"], live["deceleration_um_s2"])
    legs = [least_time(b - a, *map(float, limits)) + MOVE_EXTRA_S for a, b in pairwise(places)]
    ends = 2.0 * (MOVE_EXTRA_S + INSIDE * (places[-1] - places[0]) / live["creep_speed_um_s"])
    whole = least_time(float(places[-1]), *map(float, limits))
    return whole + 2 * rounds * (sum(legs) + ends)


def stops_mm(job: Job, stops: int) -> list[float]:
    """The places, evenly between the soft stops."""
    low, high = (job.live[f"soft_stop_{side}_um"] / 1000 for side in ("min", "max"))
    first, last = low + INSIDE * (high - low), high - INSIDE * (high - low)
    return [first + n / (stops - 1) * (last - first) for n in range(stops)]


def measure(
    job: Job, retracted_mm: float, *, stops: int = STOPS, rounds: int = ROUNDS
) -> Linearity:
    """Stop at the places, ask for the readings, and say what follows; where a table is worth it and
    accepted it is in force at the end, not stored.

    `retracted_mm`: pin to pin, fully retracted. Raises ProcedureError for an axis that is not
    calibrated or readings that no pot gives, Faulted when a guard trips.
    """
    with job.stopping():
        if not job.live["calibrated"]:
            raise failed(
                job,
                "not calibrated: a place cannot be moved to",
                f"rodbench commission {job.number}",
                STORED,
            )
        error_mm = _ruler_error(job)
        budget = Budget(job)
        budget.say_cost(planned_s(job, stops, rounds))
        readings = [
            reading
            for number in range(1, rounds + 1)
            for way in (1, -1)
            for reading in _pass(job, budget, way, number, stops, retracted_mm)
        ]
        found = evaluate(readings, job.live, job.scale, error_mm)
        for text in sentences(found, job.units)[:-1]:
            job.say(f"       {text}")
        found = _decided(job, found)
    job.record("calibrate linearity", {"axis": job.number, "found": found})
    return found


def _ruler_error(job: Job) -> float:
    def wrong(mm: float) -> str | None:
        good = 0 < mm <= ERROR_MOST_MM
        return None if good else f"a length above 0 and up to {ERROR_MOST_MM:g} mm"

    words = "How near does your reading come, 19 times of 20 (a ruler 0.5 mm, a caliper 0.05 mm)"
    return job.asker.number(length(job, "ruler_error", words, wrong))


def _pass(
    job: Job, budget: Budget, way: int, number: int, stops: int, retracted_mm: float
) -> list[Reading]:
    """One way along all places, each come to from the same side."""
    places = list(enumerate(stops_mm(job, stops)))[::way]
    start = job.live["soft_stop_min_um" if way > 0 else "soft_stop_max_um"] / 1000
    need_s = planned_s(job, stops, 1) / stops
    budget.ensure(need_s, "the way to the first place", 2 * planned_s(job, stops, 1))
    go(job, start, STORED)
    readings = []
    for stop, place in places:
        go(job, place, STORED)
        samples = rest_samples(job, REST_S)[0]
        raws = [float(s.raw) for s in samples]
        raw = fmean(raws)
        noise = sqrt(fmean((one - raw) ** 2 for one in raws))
        shown = fmean(s.position_mm or 0.0 for s in samples)
        mm = _asked(job, way, number, stop + 1, shown + retracted_mm) - retracted_mm
        readings.append(Reading(stop, way, raw, noise, mm))
    return readings


def _asked(job: Job, way: int, number: int, stop: int, shown_mm: float) -> float:
    """Pin to pin by the person; what is far from what the board sees is asked again."""
    far = max(WRONG_LEAST_MM, WRONG_SHARE * job.live["stroke_um"] / 1000)

    def wrong(mm: float) -> str | None:
        if abs(mm - shown_mm) <= far:
            return None
        return f"the pot says about {job.units.length(shown_mm)}: read it again, pin to pin"

    name = f"ruler_{'out' if way > 0 else 'in'}_{number}_{stop}"
    words = f"Place {stop}, {'extending' if way > 0 else 'retracting'}. Pin to pin"
    return job.asker.number(length(job, name, words, wrong))


# ------------------------------------------------------------------ what follows from the readings


def evaluate(
    readings: Sequence[Reading], live: dict[str, int], scale: Scale, error_mm: float
) -> Linearity:
    """All figures of readings, with the settings in force."""
    places = sorted({reading.stop for reading in readings})
    raws = [fmean(r.raw for r in readings if r.stop == n) for n in places]
    rough = [_stop([r for r in readings if r.stop == n], live, []) for n in places]
    bow = [(_way(live, raw), stop.mean) for raw, stop in zip(raws, rough, strict=True)]
    bow = [(0.0, 0.0), *sorted(bow), (float(_span(live)), 0.0)]
    stops = [_stop([r for r in readings if r.stop == n], live, bow) for n in places]
    mm_per_raw = live["stroke_um"] / 1000 / _span(live)
    fixed = step_sigma(readings, scale.step_raw) * mm_per_raw
    seen = science.scatter(stops, fixed, error_mm / science.NORMAL_95)
    points = [
        (_way(live, raw), _line_mm(live, raw) + stop.mean)
        for raw, stop in zip(raws, stops, strict=True)
    ]
    known = [(0.0, 0.0), *sorted(points), (float(_span(live)), live["stroke_um"] / 1000)]
    lines = _lines(known, seen, 100.0 / scale.pot)
    knots = science.best_knots(known, pot_table.MOST, ENOUGH_SHARE * seen.mean)
    return _judged(live, known, knots, seen, lines, raws, stops, error_mm)


def _lines(
    known: list[tuple[float, float]], seen: Scatter, percent: float
) -> tuple[Straightness, Unsure]:
    """The three lines in % of the pot's supply, `percent` a raw, and how sure they are: the ruler's
    error as the way that it makes."""
    places, shares = [mm for _, mm in known], [percent * way for way, _ in known]
    slope = (shares[-1] - shares[0]) / (places[-1] - places[0])
    unsure = science.unsure(places, shares, seen.own * slope, seen.common * slope)
    return science.straightness(places, shares), unsure


def step_sigma(readings: Sequence[Reading], step_raw: float) -> float:
    """One sigma in raw of what the converter's steps leave of a mean; noise smooths them away.

    A step is uniform, 1/sqrt 12 of it; normal noise of s steps leaves exp(-2 pi^2 s^2) of its first
    harmonic (Widrow and Kollar, Quantization Noise, 2008). What is seen has the steps' own twelfth
    in it (Sheppard's correction).
    """
    seen = fmean(reading.noise_raw**2 for reading in readings) / step_raw
    return float(step_raw / sqrt(12.0) * exp(-2.0 * pi**2 * max(0.0, seen - 1.0 / 12.0)))


def _stop(
    readings: Sequence[Reading], live: dict[str, int], bow: list[tuple[float, float]]
) -> Stop:
    """The readings of one place. They rest a little apart, by what a move tolerates: along the
    pot's own `bow` each is taken to the place of their mean."""
    middle = _way(live, fmean(reading.raw for reading in readings))

    def off(reading: Reading) -> float:
        way = _way(live, reading.raw)
        there, here = science.bent(bow, [middle, way]) if bow else (0.0, 0.0)
        return float(reading.mm - _line_mm(live, reading.raw) + there - here)

    return Stop(
        tuple(off(r) for r in readings if r.way > 0), tuple(off(r) for r in readings if r.way < 0)
    )


def _span(live: dict[str, int]) -> int:
    return abs(live["raw_extended"] - live["raw_retracted"])


def _way(live: dict[str, int], raw: float) -> float:
    sign = 1 if live["raw_extended"] > live["raw_retracted"] else -1
    return sign * (raw - live["raw_retracted"])


def _line_mm(live: dict[str, int], raw: float) -> float:
    return _way(live, raw) / _span(live) * live["stroke_um"] / 1000


def _judged(
    live: dict[str, int],
    known: list[tuple[float, float]],
    knots: list[tuple[float, float]],
    seen: Scatter,
    lines: tuple[Straightness, Unsure],
    raws: list[float],
    stops: list[Stop],
    error_mm: float,
) -> Linearity:
    stroke_mm, span = live["stroke_um"] / 1000, _span(live)
    straight, unsure = lines
    now = table.knots(live)
    before = max(
        abs(float(science.bent(now, [way])[0]) / span * stroke_mm - mm) for way, mm in known
    )
    line = science.bent([known[0], *knots, known[-1]], [way for way, _ in known])
    after = max(abs(float(a) - mm) for a, (_, mm) in zip(line, known, strict=True))
    after += science.between_readings(known)
    sign = 1 if live["raw_extended"] > live["raw_retracted"] else -1
    worth = before - after > seen.mean
    return Linearity(
        raw=tuple(raws),
        position_mm=tuple(_line_mm(live, r) + s.mean for r, s in zip(raws, stops, strict=True)),
        deviation_mm=tuple(stop.mean for stop in stops),
        deviation_error_mm=seen.mean,
        line_mm_per_raw=stroke_mm / span,
        independent_percent=straight.independent,
        independent_error=unsure.independent,
        terminal_percent=straight.terminal_worst,
        terminal_error=unsure.terminal,
        least_squares_percent=straight.least_squares_worst,
        least_squares_error=unsure.least_squares,
        repeat_mm=seen.repeat,
        repeat_low_mm=seen.repeat_low,
        repeat_high_mm=seen.repeat_high,
        backlash_mm=seen.play,
        backlash_error_mm=seen.play_error,
        worst_before_mm=before,
        worst_after_mm=after,
        table_raw=tuple(round(live["raw_retracted"] + sign * way) for way, _ in knots),
        table_mm=tuple(_whole_mm(mm, stroke_mm, span) for _, mm in knots),
        worth=worth,
        reason=_reason(before, after, seen.mean),
        ruler_error_mm=error_mm,
    )


def _whole_mm(mm: float, stroke_mm: float, span: int) -> float:
    """The place in whole raw, as the board has it, and a little more: the board rounds down."""
    return (round(mm / stroke_mm * span) + 0.25) / span * stroke_mm


def _reason(before: float, after: float, error: float) -> str:
    if before <= error:
        return f"the worst error, {before:.2f} mm, is no more than what the readings cannot tell"
    gain = f"a table would bring the worst error from {before:.2f} to about {after:.2f} mm"
    if before - after > error:
        return f"{gain}, a gain above the uncertainty of {error:.2f} mm"
    return f"{gain}, a gain within the uncertainty of {error:.2f} mm"


# ------------------------------------------------------------------ with the person


def _decided(job: Job, found: Linearity) -> Linearity:
    if not found.worth:
        job.say(f"       No table: {found.reason}.")
        return found
    values = pot_table.of_points(
        list(zip(found.table_raw, found.table_mm, strict=True)), job.live["stroke_um"]
    )
    if any(problem.key == "table_points" for problem in check("axis", job.live | values)):
        raise failed(
            job,
            "the readings bend more than twice, or turn back: no pot does",
            "Were they pin to pin, and of this rod? rodbench measure pot looks at the pot itself.",
            STORED,
        )
    job.say(
        f"       Table of {len(found.table_raw)} points: {found.reason}. Soft stops are then where "
        "a ruler says: look at what stands near them."
    )
    question = Question(
        "accept_table", "       Accept, or leave?", Kind.DECISION, ("accept", "leave")
    )
    if job.asker.ask(question) != "accept":
        return found
    job.commit(values)
    return replace(found, accepted=True)


def sentences(found: Linearity, units: Units) -> list[str]:
    """What was found, a line each."""
    fine = units.fine
    worst = max(map(abs, found.deviation_mm))
    table_words = f"no table: {found.reason}"
    if found.worth:
        state = "in force" if found.accepted else "left out"
        table_words = f"{len(found.table_raw)} points, {state}: {found.reason}"
    return [
        f"linearity  independent {_percent(found.independent_percent, found.independent_error)}, "
        f"terminal {_percent(found.terminal_percent, found.terminal_error)}, least squares "
        f"{_percent(found.least_squares_percent, found.least_squares_error)} of the pot's supply",
        f"position   up to {fine(worst)} beside the line between the ends, "
        f"+-{fine(found.deviation_error_mm)} at each place",
        f"repeats    to {fine(found.repeat_mm)} (one sigma; {fine(found.repeat_low_mm)} to "
        f"{fine(found.repeat_high_mm)}), your reading included",
        f"backlash   {fine(found.backlash_mm)} +-{fine(found.backlash_error_mm)}",
        f"table      {table_words}",
    ]


def _percent(best: float, error: float) -> str:
    return f"{best:.2f} +-{error:.2f} %"
