"""The runs of `measure motor`, made one after the other and kept as points."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, sqrt
from statistics import fmean, median

from rodbench_protocol import table
from rodbench_protocol.names import CurrentSensor

from rodbench.board import AxisSample, BoardSample
from rodbench.board.convert import mm_per_raw
from rodbench.clock import TICK_S
from rodbench.science.motor_fit import Point, Runs, Shared, beyond_share, pot_scale, step_error
from rodbench.science.motor_steady import (
    Stretch,
    about_middle,
    current_noise,
    loaded_slope,
    point,
    unloaded,
)

from .budget import Budget
from .job import REST_PERIOD_S, Job, failed, refuse_fault, rest_samples, settle
from .motor_plan import (
    BOARD_S,
    KEPT,
    Course,
    Run,
    as_converted,
    sensor_step_a,
    supply_step_v,
)
from .motor_rest import Rest
from .speed import WORDS, listening

RAISED_S = 0.3  # after the output has come to its value, until the rod goes steadily
FOLLOWS_MM = 0.5  # the pot has moved so far: play at the reversal is over
NEAR_S = 0.1  # so near to its start, by its speed, a run may begin
LEAST_STEPS = 6  # of current; below that a sensor tells nothing
TRIES = 3
WINDING_S = 600.0  # in which a small motor loses most of its heat: a guess, and counted as one
TRACK = 10.0 / 470.0  # of a usual pot over the bleed that the wiring has
TRACK_ERROR = 0.35  # one sigma of it, as a share: pots of 5 to 10 kohm
METER = 0.25  # of a step: what is left of the supply's scale where a meter set it
UNMETERED = 0.03  # of the supply: divider and the board's own 5 V as they come, one sigma


class Work:
    """The runs as they are made."""

    def __init__(self, job: Job, plan: Course, rest: Rest) -> None:
        self.job, self.plan, self.rest = job, plan, rest
        self.budget = Budget(job)
        self.points: list[Point] = []
        self.noises: list[float] = []  # of the current, rms per tick, A
        self.heat, self.cooled, self.last_s = 0.0, 0.0, 0.0  # A2 s, A2 s, s
        self.motor_s = 0.0
        self.covered = 1.0  # share of the stroke under the whole runs
        # A converter's code is V x 1024 over its reference; the board divides by 1023.
        self.true_a = job.scale.steps / (job.scale.steps + 1.0)
        self.load_share = 0.0  # of their speed, what the wiper's load makes
        self.mm_per_raw = mm_per_raw(job.live)
        ends = ("raw_retracted", "raw_extended")
        self.track = [unloaded(job.live[key] / job.scale.pot, TRACK) for key in ends]
        self.knots = table.knots(job.live) if job.live.get("table_points") else []

    def mm(self, sample: AxisSample) -> float:
        """By the pot's table where there is one, else by the line through the endpoints, the load
        of the wiper's bleed taken out."""
        stroke_mm = self.job.live["stroke_um"] / 1000.0
        if self.knots:
            way = table.way_of(self.job.live, round(sample.raw))
            return table.straight(self.knots, way) / self.knots[-1][1] * stroke_mm
        low, high = self.track
        share = (unloaded(sample.raw / self.job.scale.pot, TRACK) - low) / (high - low)
        return share * stroke_mm

    def make(self, runs: tuple[Run, ...], *, loaded: bool = False) -> None:
        """All runs of a set, from the side that the rod is nearer to."""
        here = fmean(self.mm(s) for s in rest_samples(self.job, 0.2)[0])
        if here > self.plan.middle_mm:
            runs = tuple(
                one for pair in zip(runs[::2], runs[1::2], strict=True) for one in pair[::-1]
            )
        for run, following in zip(runs, [*runs[1:], None], strict=True):
            self._go_to(run)
            self._one(run, following, loaded)

    def _go_to(self, run: Run) -> None:
        """To where a run may start, unless the rod is there or further back."""
        job, goal_mm = self.job, self.plan.start_mm(run)
        here = fmean(self.mm(s) for s in rest_samples(job, 0.1)[0])
        if run.way * (goal_mm - here) >= -NEAR_S * run.speed_mm_s:
            return
        self.budget.ensure(self.budget.move_s(abs(goal_mm - here)), "going to a start")
        with listening(job) as heard, job.axis.move(goal_mm) as motion:
            motion.wait()
        self.heat += self._heat_of(heard)
        refuse_fault(job, job.axis.outcome(), "going to a start", KEPT)
        settle(job)

    def _heat_of(self, heard: list[AxisSample | BoardSample]) -> float:
        """What a motion puts into the winding, A2 s."""
        on = [s for s in heard if isinstance(s, AxisSample) and s.output != 0.0]
        self.motor_s += len(on) * REST_PERIOD_S
        return sum((s.current_a - self.rest.zero_a) ** 2 for s in on) * REST_PERIOD_S

    def _one(self, run: Run, following: Run | None, loaded: bool) -> None:
        job, goal = self.job, self.plan.goal_mm(run, following)
        for _ in range(TRIES):
            self.budget.ensure(run.way_mm / run.speed_mm_s + 2.0, "the next run")
            heard = self._fly(run, goal)
            if not job.hiccup(job.axis.outcome()):
                self._keep(run, heard, loaded)
                return
            self._go_to(run)
        raise failed(
            job, "the link stands still again and again", "Is this computer too busy?", KEPT
        )

    def _fly(self, run: Run, goal: float) -> list[AxisSample | BoardSample]:
        job = self.job
        job.board.subscribe(REST_PERIOD_S, BOARD_S)
        with listening(job) as heard, job.axis.run(run.way * run.output) as motion:
            for sample in job.samples(motion):
                if run.way * (self.mm(sample) - goal) >= 0.0:
                    break
            if motion.ended is None:
                motion.stop(category=0)
        settle(job)
        doing = f"running to {WORDS[run.way]} at {100 * run.output:.0f} % output"
        refuse_fault(job, job.axis.outcome(), doing, KEPT)
        return heard

    def _keep(self, run: Run, heard: list[AxisSample | BoardSample], loaded: bool) -> None:
        on = [s for s in heard if isinstance(s, AxisSample) and s.output != 0.0]
        put_in = self._heat_of(heard)
        stretch = self._stretch(run, heard, on)
        step = sensor_step_a(self.job) if self.job.live["current_sensor"] else 0.0
        try:
            found = point(
                stretch,
                zero_a=self.rest.zero_a,
                least_supply_v=supply_step_v(self.job) / sqrt(12.0),
                least_a=step / 4.0,
                whole=run.whole,
            )
        except ValueError as error:
            where = f"running to {WORDS[run.way]} at {100 * run.output:.0f} % output"
            raise failed(self.job, f"{error}, {where}", "See that the rod is free.", KEPT) from None
        middle_s = fmean(stretch.times_s)
        if self.points:
            self.cooled += (self.heat - self.cooled) * (middle_s - self.last_s) / WINDING_S
        self.last_s = middle_s
        heat = self.heat + put_in / 2.0
        self.points.append(replace(found, heat=heat, cooled=self.cooled, loaded=loaded))
        self.heat += put_in
        self.noises.append(current_noise(stretch))
        if run.whole:
            self._note_way(stretch)

    def _note_way(self, stretch: Stretch) -> None:
        """How much of the stroke a whole run covers, and what the wiper's load makes of it."""
        ends = [
            place / (self.job.live["stroke_um"] / 1000.0)
            for place in stretch.mm[:: len(stretch.mm) - 1]
        ]
        low, high = self.track
        places = [low + share * (high - low) for share in ends]
        self.covered = min(1.0, abs(ends[1] - ends[0]))
        if not self.knots:
            self.load_share = abs(loaded_slope(places[0], places[1], low, high, TRACK) - 1.0)

    def _stretch(
        self, run: Run, heard: list[AxisSample | BoardSample], on: list[AxisSample]
    ) -> Stretch:
        """The steady part: at its output for a while, and the pot has followed."""
        at_output = [s for s in on if abs(abs(s.output) - run.output) < 0.0015]
        begin = _follows_from(on, abs(self.mm_per_raw), self.job.live["noise_x16"] / 16.0)
        if at_output:
            begin = max(begin, at_output[0].tick + round(RAISED_S / TICK_S))
        steady = [s for s in at_output if s.tick >= begin]
        if not run.whole:
            ways = [(s.tick, self.mm(s)) for s in steady]
            low, high = about_middle(ways, self.plan.middle_mm)
            steady = [s for s in steady if low <= s.tick <= high]
        supplies = [
            s
            for s in heard
            if steady and isinstance(s, BoardSample) and steady[0].tick <= s.tick <= steady[-1].tick
        ]
        return Stretch(
            run.way,
            run.output,
            [s.tick * TICK_S for s in steady],
            [self.mm(s) for s in steady],
            [s.current_a * self.true_a for s in steady],
            [s.tick * TICK_S for s in supplies],
            [as_converted(self.job, s.supply_v) for s in supplies],
        )

    def runs(self, sensor_share: float, force_n: float, turn_mm: float) -> Runs:
        """All that was measured, with what the runs have in common."""
        job, step_a = self.job, 0.0
        if job.live["current_sensor"]:
            step = sensor_step_a(job)
            if max(p.current_a for p in self.points) < LEAST_STEPS * step:
                raise ValueError("the current sensor reads next to nothing while the rod runs")
            # Four conversions make a reading; each has its own rounding.
            square = 4.0 * (median(self.noises) / step) ** 2 - 1.0 / 12.0
            step_a = step * step_error(sqrt(max(0.0, square)))
        metered = job.board_live["supply_calibrated"]
        supply = METER * supply_step_v(job) / self.rest.supply_v if metered else UNMETERED
        centred = job.live["current_sensor"] == CurrentSensor.CENTRED
        # A data sheet's limits are taken for two sigma.
        shared = Shared(self.rest.zero_sigma, step_a, supply, sensor_share / 2.0, signed=centred)
        rest = self.rest
        runs = Runs(tuple(self.points), rest.supply_v, rest.supply_sigma, shared, force_n, turn_mm)
        bent = beyond_share(pot_scale(runs), self.covered)
        beyond = hypot(bent, TRACK_ERROR * self.load_share)
        return replace(runs, shared=replace(shared, speed_share=beyond))


def _follows_from(on: list[AxisSample], mm_per_raw: float, noise_raw: float) -> int:
    """The tick from which the pot has followed the rod."""
    raws = [s.raw for s in on]
    if len(raws) < 10:
        return on[-1].tick if on else 0
    start = fmean(raws[:3])
    least = FOLLOWS_MM / mm_per_raw + 3.0 * max(noise_raw, 1.0)
    for at in range(4, len(raws)):
        if abs(fmean(raws[at - 4 : at + 1]) - start) >= least:
            return on[at].tick
    return on[-1].tick
