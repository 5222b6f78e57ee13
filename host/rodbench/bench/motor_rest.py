"""Sensors at rest before the runs of `measure motor`: the current's zero, and the supply."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean

from rodbench_protocol.names import CurrentSensor

from rodbench.board import AxisSample, BoardSample
from rodbench.science.motor_steady import zero_error

from .job import REST_PERIOD_S, Job, failed
from .motor_plan import BOARD_S, NOTHING, as_converted, sensor_step_a, supply_step_v

REST_S = 2.0
SAG_FROM_NOMINAL = 0.35  # a reading further from nominal than this is no supply's


@dataclass(frozen=True, slots=True)
class Rest:
    """Sensors while nothing runs: zero of the current in A with one sigma, the supply in V."""

    zero_a: float
    zero_sigma: float
    supply_v: float
    supply_sigma: float


def at_rest(job: Job) -> Rest:
    """Read them for two seconds. Raises ProcedureError where no motor supply is read."""
    job.board.subscribe(REST_PERIOD_S, BOARD_S)
    seen = job.board.watch(REST_S)
    currents = [s.current_a for s in seen if isinstance(s, AxisSample) and s.axis == job.number]
    supplies = [as_converted(job, s.supply_v) for s in seen if isinstance(s, BoardSample)]
    if len(currents) < 20 or len(supplies) < 5:
        raise failed(job, "the board sends no telemetry", "rodbench info", NOTHING)
    supply_v, nominal = fmean(supplies), job.board_live["supply_nominal_mv"] / 1000.0
    if abs(supply_v - nominal) > SAG_FROM_NOMINAL * nominal:
        raise failed(
            job,
            f"the board reads {supply_v:.1f} V of a motor supply of {nominal:g} V",
            "Is motor power on? Then: rodbench calibrate supply",
            NOTHING,
        )
    step = supply_step_v(job)
    zero_a, sigma = _zero(job, fmean(currents), len(currents))
    return Rest(zero_a, sigma, supply_v, step / sqrt(len(supplies)))


def _zero(job: Job, mean_a: float, count: int) -> tuple[float, float]:
    """Zero and sigma. A centred sensor's current comes as a size, so its rest tells only noise:
    the zero is as it was calibrated, to a step of the sum of four."""
    if not job.live["current_sensor"]:
        return 0.0, 0.0
    step = sensor_step_a(job)
    if job.live["current_sensor"] == CurrentSensor.CENTRED:
        return 0.0, step / 4.0
    code = job.live["current_zero"] / 4.0 + mean_a / step
    shift, sigma = zero_error(code, step, hypot(step / sqrt(count), step / 16.0))
    return mean_a + shift, sigma
