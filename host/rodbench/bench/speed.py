"""Full speed, twice each way, inside the provisional soft stops."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from statistics import fmean

from rodbench_protocol.names import Ended

from rodbench.board import AxisSample, BoardSample, Sample
from rodbench.clock import TICK_S
from rodbench.science.rest import rest
from rodbench.science.speed import Run, Steady, dead_zone, run_on, steady

from .budget import Budget
from .current import AtRest
from .endpoints import Endpoints
from .job import BOARD_PERIOD_S, REST_PERIOD_S, Job, failed, refuse_fault, rest_samples, settle

RUNS = 2
TRIES = 3
RAISE_S = 0.4  # the board raises the output of a run by itself, a little faster than this
STOP_AT = {1: 0.72, -1: 0.28}  # share of the stroke where the output goes to 0
INSIDE = 0.08  # share of the stroke from an end where full speed may begin
REST_S = 0.6
WORDS = {1: "extend", -1: "retract"}


@dataclass(frozen=True, slots=True)
class Speeds:
    """At full output. Pairs are (extend, retract): mm/s, A, share of output, mm; supplies in V."""

    speed_mm_s: tuple[float, float]
    running_a: tuple[float, float]
    peak_a: tuple[float, float]
    held_peak_a: tuple[float, float]
    dead_zone: tuple[float, float]
    run_on_mm: tuple[float, float]
    supply_v: float
    sag_v: float
    output: float
    where: str = "free on the bench"

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        full = [round(1000 * v) for v in self.speed_mm_s]
        zone = [min(600, round(1000 * z)) for z in self.dead_zone]
        after = [min(60_000, max(1, round(1000 * d))) for d in self.run_on_mm]
        return {
            "full_speed_extend_um_s": full[0],
            "full_speed_retract_um_s": full[1],
            "speed_supply_mv": min(30_000, round(1000 * self.supply_v)),
            "dead_zone_extend_permille": zone[0],
            "dead_zone_retract_permille": zone[1],
            "run_on_extend_um": after[0],
            "run_on_retract_um": after[1],
            "running_ma": min(30_000, round(1000 * max(self.running_a))),
        }

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key."""
        where = f"at {self.supply_v:.1f} V as read, {self.where}"
        return {"full_speed_extend_um_s": where, "full_speed_retract_um_s": where}


@dataclass(slots=True)
class _Pass:
    """One run in one direction."""

    steady: Steady
    run_on_mm: float
    supply_v: float


def planned_s(stroke_mm: float, creep_mm_s: float, creep_output: float) -> float:
    """Motor time in s over a range of `stroke_mm`, by a guess of full speed from creep."""
    full = creep_mm_s * (1.0 - 0.1) / max(0.05, creep_output - 0.1)
    return 2 * RUNS * (0.7 * stroke_mm / full + RAISE_S) + 0.1 * stroke_mm / creep_mm_s


def measure(job: Job, at_rest: AtRest, ends: Endpoints) -> Speeds:
    """Run at full output between the provisional soft stops, which must be in force.

    Puts speeds, dead zones and run-on in force, not stored. Raises ProcedureError when a run is
    too short to tell, Faulted when a guard trips.
    """
    with job.stopping():
        low, high = ends.range_mm
        need = planned_s(high - low, min(ends.creep_mm_s), max(ends.creep_output))
        budget = Budget(job)
        budget.say_cost(need)
        budget.ensure(need, "full speed")
        _step_inside(job, ends)
        ways = (-1, 1) if _position(job, ends) > ends.at_share(0.5) else (1, -1)
        passes: dict[int, list[_Pass]] = {1: [], -1: []}
        for _ in range(RUNS):
            for way in ways:
                passes[way].append(_run(job, ends, way))
        found = _evaluate(at_rest, ends, passes, job.live["output_max_permille"] / 1000.0)
        _say(job, found)
        job.commit(found.settings())
    job.record("calibrate speed", {"axis": job.number, "found": found})
    return found


def once_each_way(job: Job, ends: Endpoints) -> tuple[Steady, Steady, float]:
    """One run out and one in at the output ceiling, and the supply in V under them; nothing is put
    in force. Raises as `measure`."""
    _step_inside(job, ends)
    ways = (-1, 1) if _position(job, ends) > ends.at_share(0.5) else (1, -1)
    passes = {way: _run(job, ends, way) for way in ways}
    supply_v = fmean(one.supply_v for one in passes.values())
    return passes[1].steady, passes[-1].steady, supply_v


def _position(job: Job, ends: Endpoints) -> float:
    return ends.position_mm(fmean(s.raw for s in rest_samples(job, 0.1)[0]))


def _step_inside(job: Job, ends: Endpoints) -> None:
    """Creep away from an end: outside the soft stops only the way back is open."""
    place, low, high = _position(job, ends), ends.at_share(INSIDE), ends.at_share(1.0 - INSIDE)
    if low < place < high:
        return
    way = 1 if place < ends.at_share(0.5) else -1
    goal = low if way > 0 else high

    def there(sample: AxisSample) -> bool:
        return way * (ends.position_mm(sample.raw) - goal) >= 0.0

    most_s = 4 * (low - ends.at_share(0.0)) / min(ends.creep_mm_s)
    with job.axis.run(way * ends.creep_of(way)) as motion:
        outcome = motion.wait(until=there, timeout_s=most_s)
    if outcome is not None:
        refuse_fault(job, outcome, "leaving the end")
        raise failed(
            job,
            f"the rod did not leave the end: {Ended(outcome.ended).name.lower()}",
            "See that it is free, then start again.",
        )
    settle(job)


def _run(job: Job, ends: Endpoints, way: int) -> _Pass:
    """One run at full output, watched until it rests; again when this computer was busy."""
    for _ in range(TRIES):
        with listening(job) as heard:
            _fly(job, ends, way)
            after, _ = rest_samples(job, REST_S)
        if not job.hiccup(job.axis.outcome()):
            return _pass(job, ends, heard, rest([s.raw for s in after]).mean)
        _fly(job, ends, -way)
        settle(job)
    raise failed(job, "the link stands still again and again", "Is this computer too busy?")


def _fly(job: Job, ends: Endpoints, way: int) -> None:
    """Run at full output and stop at once at the place meant for it."""
    job.board.subscribe(REST_PERIOD_S, BOARD_PERIOD_S)
    goal = ends.at_share(STOP_AT[way])
    with job.axis.run(way * job.live["output_max_permille"] / 1000.0) as motion:
        for sample in job.samples(motion):
            if way * (ends.position_mm(sample.raw) - goal) >= 0.0:
                break
        motion.stop(category=0)
    refuse_fault(job, job.axis.outcome(), f"running to {WORDS[way]} at full output")


@contextmanager
def listening(job: Job) -> Iterator[list[AxisSample | BoardSample]]:
    heard: list[AxisSample | BoardSample] = []

    def hear(sample: Sample) -> None:
        if isinstance(sample, BoardSample) or (
            isinstance(sample, AxisSample) and sample.axis == job.number
        ):
            heard.append(sample)

    job.board.listeners.append(hear)
    try:
        yield heard
    finally:
        job.board.listeners.remove(hear)


def _pass(
    job: Job, ends: Endpoints, heard: list[AxisSample | BoardSample], rest_raw: float
) -> _Pass:
    full = job.live["output_max_permille"] / 1000.0
    on = [s for s in heard if isinstance(s, AxisSample) and s.output != 0.0]
    at_full = [s for s in on if abs(s.output) >= full - 0.002]
    if len(at_full) < 12 and ends.dropout_raw:
        raise failed(
            job,
            f"the run broke off, and the pot's reading had jumped by {ends.dropout_raw:.0f} raw on "
            "the way before: worn track, or a loose wire",
            f"rodbench measure pot {job.number} finds the place",
        )
    if len(at_full) < 12:
        raise failed(
            job, "the stroke is too short to reach full speed in it", "Measure by hand, or leave."
        )
    fast = steady(_as_run(at_full, ends), job.live["trip_ms"] / 1000.0)
    whole = steady(_as_run(on, ends), job.live["trip_ms"] / 1000.0)
    stop_s = (on[-1].tick + 1) * TICK_S
    supplies = [
        s.supply_v
        for s in heard
        if isinstance(s, BoardSample) and at_full[len(at_full) // 2].tick <= s.tick <= on[-1].tick
    ]
    supply = fmean(supplies) if supplies else job.board_live["supply_nominal_mv"] / 1000.0
    joined = Steady(fast.line, fast.running_a, whole.peak_a, whole.held_peak_a)
    return _Pass(joined, run_on(fast.line, stop_s, ends.position_mm(rest_raw)), supply)


def _as_run(samples: list[AxisSample], ends: Endpoints) -> Run:
    return Run(
        [s.tick * TICK_S for s in samples],
        [ends.position_mm(s.raw) for s in samples],
        [s.current_a for s in samples],
    )


def _evaluate(
    at_rest: AtRest, ends: Endpoints, passes: dict[int, list[_Pass]], output: float
) -> Speeds:
    both = [passes[1], passes[-1]]
    supply = fmean(p.supply_v for way in both for p in way)
    speeds = [fmean(p.steady.speed_mm_s for p in way) for way in both]
    # Outputs as shares of the supply under load, so that its sag does not bend the line.
    sag = at_rest.supply_v / supply if at_rest.supply_v > 0.0 and supply > 0.0 else 1.0
    zones = [
        dead_zone([(share * sag, creep), (output, speed)])
        for share, creep, speed in zip(ends.creep_output, ends.creep_mm_s, speeds, strict=True)
    ]
    full = [v * (1 - z) / (output - z) for v, z in zip(speeds, zones, strict=True)]
    return Speeds(
        speed_mm_s=(full[0], full[1]),
        running_a=_pair(both, lambda p: p.steady.running_a, fmean),
        peak_a=_pair(both, lambda p: p.steady.peak_a, max),
        held_peak_a=_pair(both, lambda p: p.steady.held_peak_a, max),
        dead_zone=(zones[0], zones[1]),
        run_on_mm=_pair(both, lambda p: p.run_on_mm, max),
        supply_v=supply,
        sag_v=max(0.0, at_rest.supply_v - supply),
        output=output,
        where="mounted" if ends.mounted else "free on the bench",
    )


def _pair(
    both: list[list[_Pass]],
    value: Callable[[_Pass], float],
    fold: Callable[[list[float]], float],
) -> tuple[float, float]:
    return fold([value(p) for p in both[0]]), fold([value(p) for p in both[1]])


def _say(job: Job, found: Speeds) -> None:
    for index, word in enumerate(("extend ", "retract")):
        tail = f"     at {found.supply_v:.1f} V, sag {found.sag_v:.1f} V" if index else ""
        current = f"{found.running_a[index]:.1f} A, peak {found.peak_a[index]:.1f}   "
        job.say(
            f"       {word}  {job.units.speed(found.speed_mm_s[index])}   "
            f"{current if job.live['current_sensor'] else ''}"
            f"dead zone {100 * found.dead_zone[index]:.0f} %   "
            f"runs on {job.units.length(found.run_on_mm[index])}{tail}"
        )
