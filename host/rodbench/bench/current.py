"""Sensors at rest: noise of the pot, zero and noise of the current, supply as read."""

from __future__ import annotations

from dataclasses import dataclass

from rodbench.science.ends import Sensor
from rodbench.science.polarity import pot_band
from rodbench.science.rest import rest

from .job import Job, failed, rest_samples

WATCH_S = 1.5
RAW4_FULL = 4092
SENSOR_TOP_V = 4.25  # of the input; the board's own rule allows a little more
REST_TOP_V = 1.5  # a one-sided sensor rests near 0; higher is a centred one, blind one way
ADC_STEPS = 1023
# One ADC step over sqrt(12), in raw: below half a step of noise eight conversions are alike, and
# their sum is no better than one of them.
LEAST_NOISE_RAW = 2.31


@dataclass(frozen=True, slots=True)
class AtRest:
    """Pot in raw (sum of 8), current in A; `current_zero_raw4` None without a sensor."""

    pot_raw: float
    pot_noise_raw: float
    pot_quiet: bool
    current_zero_raw4: int | None
    current_noise_a: float
    current_step_a: float
    supply_v: float

    @property
    def sensor(self) -> Sensor | None:
        """The current sensor as the end classification wants it."""
        if self.current_zero_raw4 is None:
            return None
        return Sensor(self.current_step_a, self.current_noise_a)

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        keys = {"noise_x16": min(3200, round(16 * max(self.pot_noise_raw, LEAST_NOISE_RAW)))}
        if self.current_zero_raw4 is not None:
            keys["current_zero"] = self.current_zero_raw4
        return keys

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key."""
        return {"noise_x16": "at rest", "current_zero": f"at rest, {self.supply_v:.2f} V"}


def measure(job: Job) -> AtRest:
    """Read the sensors for a second and a half with the output off.

    Leaves noise and current zero in force on the axis, not stored. Raises ProcedureError when the
    pot reads at an edge of its scale, Refused while the axis moves.
    """
    with job.stopping():
        job.axis.clear()
        job.uncalibrate()
        job.commit({"current_zero": 0})
        axis, board = rest_samples(job, WATCH_S)
        if len(axis) < 20 or not board:
            raise failed(job, "the board sends no telemetry", "rodbench info")
        found = _evaluate(
            job, [s.raw for s in axis], [s.current_a for s in axis], board[-1].supply_v
        )
        _say(job, found)
        if bad := pot_band(found.pot_raw):
            raise failed(job, bad.text, "Check the three wires of the pot, then start again.")
        job.commit(found.settings() | _trip_within(job, found))
    job.record("calibrate current", {"axis": job.number, "found": found})
    return found


def sensor_top_a(zero_raw4: int, uv_per_ma: int) -> float:
    """The greatest current in A that the sensor can tell, with room below the converter's top."""
    return (SENSOR_TOP_V - zero_raw4 * 5.0 / RAW4_FULL) / (uv_per_ma / 1000.0)


def _trip_within(job: Job, found: AtRest) -> dict[str, int]:
    """The trip in force, lowered to what the sensor can tell above its zero."""
    if found.current_zero_raw4 is None:
        return {}
    rests_v = found.current_zero_raw4 * 5.0 / RAW4_FULL
    if rests_v > REST_TOP_V:
        raise failed(
            job,
            f"the current input reads {rests_v:.2f} V at rest: a sensor that rests near its middle "
            "shows one direction below its zero, where no trip would see it",
            "This version serves sensors that rest near 0 V and rise with current of either "
            "direction. If yours is one, check its supply and its wire; else answer 0 for none.",
        )
    top = sensor_top_a(found.current_zero_raw4, job.live["current_uv_per_ma"])
    return {"trip_ma": max(50, min(job.live["trip_ma"], int(1000 * top)))}


def _evaluate(job: Job, raws: list[int], currents: list[float], supply_v: float) -> AtRest:
    pot, current = rest(raws), rest(currents)
    volts_per_a = job.live["current_uv_per_ma"] / 1000.0
    reference_v = (job.board_reference_mv or 5000) / 1000.0
    zero = None
    if job.live["current_sensor"]:
        zero = max(0, round(current.mean * volts_per_a / reference_v * RAW4_FULL))
    return AtRest(
        pot_raw=pot.mean,
        pot_noise_raw=pot.rms,
        pot_quiet=pot.quiet,
        current_zero_raw4=zero,
        current_noise_a=current.rms,
        current_step_a=reference_v / ADC_STEPS / volts_per_a,
        supply_v=supply_v,
    )


def _say(job: Job, found: AtRest) -> None:
    current = (
        "no current sensor"
        if found.current_zero_raw4 is None
        else f"current zero at {found.current_zero_raw4} of {RAW4_FULL}, "
        f"noise {found.current_noise_a:.3f} A"
    )
    job.say(
        f" 2 Sensors at rest                    pot {found.pot_raw:.0f} raw, noise "
        f"{found.pot_noise_raw:.1f}   {current}   {found.supply_v:.2f} V as read"
    )
