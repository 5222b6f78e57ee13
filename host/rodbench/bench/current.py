"""Sensors at rest: noise of the pot, zero and noise of the current, supply as read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

from rodbench_protocol.names import CurrentSensor

from rodbench.science.ends import Sensor
from rodbench.science.rest import Rest, rest

from .job import Job, failed, rest_samples
from .scale import Scale

JUMPS_RAW = 100.0  # rms at rest: six times the noise of a poor but sound pot
WATCH_S = 1.5
# Shares of the reference. The board's own rules allow a little more (0.86; 0.94 and 0.06).
TOP, CENTRED_TOP, CENTRED_BOTTOM = 0.85, 0.93, 0.07
REST_TOP = 0.3  # a one-sided sensor rests below
CENTRED_REST = (0.35, 0.65)  # a centred one rests between
V_PER_A = 0.25  # while the input is read as volts: a mA told is a quarter of a millivolt
AS_VOLTS = {
    "current_uv_per_ma": round(1000 * V_PER_A),
    "current_zero": 0,
    "current_sensor_ratiometric": 1,
    "running_ma": 0,
}
LOW_TRIP_MA = 500  # within the sensor's range whatever its kind, while nothing moves


@dataclass(frozen=True, slots=True)
class AtRest:
    """Pot in raw (as the board sums it), current in A; `current_zero_raw4` None without a sensor.

    The pot's figures are 0 for a rod without one.
    """

    pot_raw: float
    pot_noise_raw: float
    pot_quiet: bool
    current_zero_raw4: int | None
    current_noise_a: float
    current_step_a: float
    supply_v: float
    least_noise_raw: float = 0.0

    @property
    def sensor(self) -> Sensor | None:
        """The current sensor as the end classification wants it."""
        if self.current_zero_raw4 is None:
            return None
        return Sensor(self.current_step_a, self.current_noise_a)

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        keys = {"noise_x16": min(3200, round(16 * max(self.pot_noise_raw, self.least_noise_raw)))}
        if self.current_zero_raw4 is not None:
            keys["current_zero"] = self.current_zero_raw4
        return keys

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key."""
        return {"noise_x16": "at rest", "current_zero": f"at rest, {self.supply_v:.2f} V"}


def measure(job: Job) -> AtRest:
    """Read the sensors for a second and a half with the output off.

    Leaves noise and current zero in force on the axis, not stored. Raises ProcedureError when the
    current input cannot be what it is said to be, Refused while the axis moves.
    """
    with job.stopping():
        job.axis.clear()
        job.uncalibrate()
        with _input_as_volts(job) as gain:
            axis, board = rest_samples(job, WATCH_S)
        if len(axis) < 20 or not board:
            raise failed(job, "the board sends no telemetry", "rodbench info")
        pot, volts = rest([s.raw for s in axis]), rest([s.current_a * V_PER_A for s in axis])
        found = _evaluate(job, pot, volts, gain, board[-1].supply_v)
        _say(job, found)
        _refuse_jumps(job, pot.rms)
        zero = {} if found.current_zero_raw4 is None else _zero(job, volts.mean)
        job.commit(found.settings() | zero)
    job.record("calibrate current", {"axis": job.number, "found": found})
    return found


def _refuse_jumps(job: Job, noise_raw: float) -> None:
    """A pot that jumps at rest guards nothing: all that follows would be laid to other parts."""
    if job.has_pot and noise_raw > JUMPS_RAW:
        raise failed(
            job,
            f"the pot's reading jumps at rest, {noise_raw:.0f} raw of noise where a sound pot has "
            "below 20: worn track, or a loose wire",
            "Look at the pot's wires; move the rod off a worn place, then start again.",
        )


def sensor_top_a(scale: Scale, kind: int, keys: Mapping[str, int]) -> float:
    """The greatest current in A that a sensor of a kind can tell with room to the converter's ends,
    by its `current_zero` and `current_uv_per_ma`; of a centred one: in either direction."""
    zero = keys["current_zero"] / scale.current
    share = TOP - zero
    if kind == CurrentSensor.CENTRED:
        share = min(CENTRED_TOP - zero, zero - CENTRED_BOTTOM)
    return share * scale.nominal_v / (keys["current_uv_per_ma"] / 1000.0)


@contextmanager
def _input_as_volts(job: Job) -> Iterator[float]:
    """While this lasts, 1 A on the wire is V_PER_A on the current input, at the nominal reference:
    the size that a centred sensor's board tells of a deviation says nothing of its zero, and whole
    millivolts would be coarser than a step of a fine converter. Gives the sensor's own gain in V/A
    and puts everything back."""
    keys = ("current_sensor", *AS_VOLTS, "trip_ma")
    before = {key: job.live[key] for key in keys}
    sensor = {"current_sensor": int(CurrentSensor.ONE_SIDED)} if before["current_sensor"] else {}
    job.commit({**AS_VOLTS, **sensor, "trip_ma": LOW_TRIP_MA})
    try:
        yield before["current_uv_per_ma"] / 1000.0
    finally:
        job.commit(before)


def _zero(job: Job, volts: float) -> dict[str, int]:
    """Zero, and the trip in force lowered to what the sensor can tell around it."""
    scale, kind = job.scale, job.live["current_sensor"]
    share = volts / scale.nominal_v
    if kind == CurrentSensor.ONE_SIDED and share > REST_TOP:
        raise failed(
            job,
            f"the current input reads {volts:.2f} V at rest; a one-sided sensor rests near 0 V",
            "A sensor that rests near half of its supply is centred: start again and say so. Else "
            "check its supply and its wire.",
        )
    if kind == CurrentSensor.CENTRED and not CENTRED_REST[0] <= share <= CENTRED_REST[1]:
        raise failed(
            job,
            f"the current input reads {volts:.2f} V at rest; a centred sensor rests near "
            f"{scale.nominal_v / 2:.1f} V",
            "A sensor that rests near 0 V is one-sided: start again and say so. Else check its "
            "supply and its wire.",
        )
    keys = {
        "current_zero": max(0, round(share * scale.current)),
        "current_uv_per_ma": job.live["current_uv_per_ma"],
    }
    top = sensor_top_a(scale, kind, keys)
    return keys | {"trip_ma": max(50, min(job.live["trip_ma"], int(1000 * top)))}


def _evaluate(job: Job, pot: Rest, volts: Rest, gain: float, supply_v: float) -> AtRest:
    scale, has_pot = job.scale, job.has_pot
    zero = None
    if job.live["current_sensor"]:
        zero = max(0, round(volts.mean / scale.nominal_v * scale.current))
    return AtRest(
        pot_raw=pot.mean if has_pot else 0.0,
        pot_noise_raw=pot.rms if has_pot else 0.0,
        pot_quiet=pot.quiet,
        current_zero_raw4=zero,
        current_noise_a=volts.rms / gain,
        current_step_a=scale.current_step_a(gain),
        supply_v=supply_v,
        least_noise_raw=scale.least_noise_raw,
    )


def _rests_v(scale: Scale, zero: int) -> float:
    return zero / scale.current * scale.reference_v


def _say(job: Job, found: AtRest) -> None:
    pot = f"pot {found.pot_raw:.0f} raw, noise {found.pot_noise_raw:.1f}   "
    current = (
        "no current sensor"
        if found.current_zero_raw4 is None
        else f"current input at {_rests_v(job.scale, found.current_zero_raw4):.2f} V, "
        f"noise {found.current_noise_a:.3f} A"
    )
    job.say(
        f" 2 Sensors at rest                    {pot if job.has_pot else ''}{current}   "
        f"{found.supply_v:.2f} V as read"
    )
