"""Where and how long `measure motor` runs, what that costs, and how well it can tell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

from rodbench.board.convert import mm_per_raw
from rodbench.science.motor_fit import WAYS, Point, Runs, Shared, Value, step_error, values

from .job import REST_PERIOD_S, Job, failed

OUTPUTS = 3  # of the free runs, from the ceiling down; of the loaded ones the upper two
PASSES = 2  # so that a winding that warms does not bend the line
GET_UP_S = 0.65  # until the output is raised, and the rod goes steadily
RUN_S = (1.0, 4.0)  # least and most of steady running that is wanted of a run
WHOLE_S = 12.0  # a run over all the way takes no longer: then it is over less
SHARP = 0.001  # one sigma of a speed, as a share of full speed
LOWEST = 0.2  # share of what lies above the dead zone
STOP_S = 0.15  # run-on at most, beside the settings
BOARD_S = 0.05  # telemetry of the supply, the shortest there is
LEAST_STEP_V = 0.002  # at the input; below that whole mV do not tell the step
SUPPLY_STEP_NOISE = 0.5  # steps: rounding, and what a quiet input has
WITHIN = 0.05  # a resistance that is not told within this (95 %) is too coarse a one
NOTHING = "Nothing moved."
KEPT = "The rod is stopped; no setting was changed."


@dataclass(frozen=True, slots=True)
class Run:
    """One run to be made: its way and output, the speed expected in mm/s, the steady way in mm."""

    way: int
    output: float
    speed_mm_s: float
    way_mm: float
    whole: bool = False

    @property
    def before_mm(self) -> float:
        """From the middle back to where it must start."""
        return self.way_mm / 2.0 + self.speed_mm_s * GET_UP_S


@dataclass(frozen=True, slots=True)
class Course:
    """All runs about one middle, in mm of the axis."""

    middle_mm: float
    low_mm: float
    high_mm: float
    free: tuple[Run, ...]
    loaded: tuple[Run, ...]

    def goal_mm(self, run: Run, following: Run | None) -> float:
        """Where a run may end: its steady way is done, and a slower one after it has its start. A
        faster one has it by a move."""
        slower = following is not None and following.speed_mm_s < 1.2 * run.speed_mm_s
        beyond = following.before_mm if following and slower else 0.0
        return self._within(self.middle_mm + run.way * max(run.way_mm / 2.0, beyond))

    def start_mm(self, run: Run) -> float:
        """Where the first run starts."""
        return self._within(self.middle_mm - run.way * run.before_mm)

    def _within(self, place_mm: float) -> float:
        return min(max(place_mm, self.low_mm), self.high_mm)

    def motor_s(self, *, loaded: bool) -> float:
        """Motor time in s of the free runs, and of the loaded ones too."""
        runs = [*self.free, *(self.loaded if loaded else ())]
        after = [*runs[1:], None]
        return sum(
            _seconds(self, run, following) for run, following in zip(runs, after, strict=True)
        )


def _seconds(course: Course, run: Run, following: Run | None) -> float:
    way = abs(course.goal_mm(run, following) - course.start_mm(run))
    return way / run.speed_mm_s + GET_UP_S / 2.0


def course(job: Job) -> Course:
    """The runs of a calibrated axis, by the settings in force. Raises ProcedureError without."""
    live = job.live
    if not live["full_speed_extend_um_s"] or not live["full_speed_retract_um_s"]:
        hint = f"rodbench calibrate speed {job.number}"
        raise failed(job, "its full speed is not known yet", hint, NOTHING)
    on = max(live["run_on_extend_um"], live["run_on_retract_um"]) / 1000.0
    fast = max(speed(job, way, top(job)) for way in WAYS)
    spare = 1.5 * on + fast * STOP_S / 3.0 + 1.0
    low = live["soft_stop_min_um"] / 1000.0 + spare
    high = live["soft_stop_max_um"] / 1000.0 - spare
    room = high - low - fast * GET_UP_S
    if room < fast * RUN_S[0] / 2.0:
        raise failed(
            job,
            "there is too little way between the soft stops for a steady run",
            "Widen them, or lower the axis's output_max.",
            NOTHING,
        )
    seconds = _steady_s(job, fast)
    whole = (replace(_run(job, w, top(job), WHOLE_S, room), whole=True) for w in WAYS)
    free = (*whole, *_runs(job, _outputs(job), seconds, room))
    loaded = _runs(job, _outputs(job)[:2], seconds, room)
    return Course((low + high) / 2.0, low, high, free, loaded)


def top(job: Job) -> float:
    """The output ceiling."""
    return job.live["output_max_permille"] / 1000.0


def dead_zone(job: Job, way: int) -> float:
    """By the settings, as a share of output."""
    return job.live[f"dead_zone_{WAYS[way]}_permille"] / 1000.0


def speed(job: Job, way: int, output: float) -> float:
    """Expected speed in mm/s, by the settings' full speed and dead zone."""
    dead = dead_zone(job, way)
    full = job.live[f"full_speed_{WAYS[way]}_um_s"] / 1000.0
    return max(0.05, (output - dead) / (1.0 - dead)) * full


def _outputs(job: Job) -> list[float]:
    """From the ceiling down to what surely starts the rod: creep, or well above the dead zone."""
    most = top(job)
    dead = max(dead_zone(job, way) for way in WAYS)
    least = max(job.live["creep_output_permille"] / 1000.0, dead + LOWEST * (most - dead))
    least = min(least, most - 0.1)
    step = (most - least) / (OUTPUTS - 1)
    return [round(most - n * step, 3) for n in range(OUTPUTS)]


def _steady_s(job: Job, fast: float) -> float:
    """How long a run must be for its speed to be sharp, by the pot's noise: the slope of n places
    over T has sigma x sqrt(12 / n) / T."""
    noise = max(job.live["noise_x16"] / 16.0, 1.0) * abs(mm_per_raw(job.live))
    needed = float((noise * sqrt(12.0 * REST_PERIOD_S) / (SHARP * fast)) ** (2.0 / 3.0))
    return min(max(RUN_S[0], needed), RUN_S[1])


def _runs(job: Job, outputs: list[float], seconds: float, room: float) -> tuple[Run, ...]:
    once = [_run(job, way, output, seconds, room) for output in outputs for way in WAYS]
    return tuple(once * PASSES)


def _run(job: Job, way: int, output: float, seconds: float, room: float) -> Run:
    mm_s = speed(job, way, output)
    return Run(way, output, mm_s, min(room, mm_s * seconds))


# ---------------------------------------------------------------- what it will tell


def sensor_step_a(job: Job) -> float:
    """One step of the converter in A."""
    return job.scale.current_step_a(job.live["current_uv_per_ma"] / 1000.0)


def supply_step_v(job: Job) -> float:
    """One step of the converter on the supply's input, in V of the supply."""
    scale = job.scale
    return scale.reference_v / scale.steps * job.board_live["supply_ratio_x1000"] / 1000.0


def as_converted(job: Job, supply_v: float) -> float:
    """A supply reading as the converter gave it: the board tells it from whole mV at its input,
    which are a tenth of a step of 10 bits."""
    step = supply_step_v(job)
    coarse = job.scale.reference_v / job.scale.steps > LEAST_STEP_V
    return round(supply_v / step) * step if coarse else supply_v


def forecast(job: Job, plan: Course, zero_a: float) -> dict[str, Value] | None:
    """What the free runs should tell, by the settings alone; None where the running current is not
    known. `zero_a` is one sigma of the sensor's zero."""
    running = job.live["running_ma"] / 1000.0
    zones = {way: dead_zone(job, way) for way in WAYS}
    if not running or min(zones.values()) <= 0.0 or not job.live["current_sensor"]:
        return None
    volts = job.board_live["supply_nominal_mv"] / 1000.0
    ohm = max(zones.values()) * volts / running
    supply, step = supply_step_v(job), sensor_step_a(job)
    points = []
    for run in plan.free:
        current = zones[run.way] * volts / ohm
        count = max(4.0, run.way_mm / run.speed_mm_s / REST_PERIOD_S)
        noise = max(job.live["noise_x16"] / 16.0, 1.0) * abs(mm_per_raw(job.live))
        sharp = noise * sqrt(12.0 / count) / (run.way_mm / run.speed_mm_s)
        rough = supply * SUPPLY_STEP_NOISE / sqrt(count * REST_PERIOD_S / BOARD_S)
        points.append(
            Point(run.way, run.output, volts, current, run.speed_mm_s, rough, step, sharp)
        )
        points[-1] = replace(points[-1], current_sigma=step / sqrt(count), whole=run.whole)
    shared = Shared(zero_a=zero_a, step_a=step * step_error(0.0))  # of a quiet input: the worst
    try:
        return values(Runs(tuple(points), volts, supply / 10.0, shared))
    except ValueError:
        return None
