"""A rod that was calibrated before and is mounted now: its working ends, the rest as it was."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench.errors import ProcedureError
from rodbench.science.proposal import soft_stops

from . import by_hand, current
from .current import AtRest
from .found_ends import Endpoints
from .job import Job, failed
from .keeper import KnownRod
from .polarity import Polarity

# What a calibration on the bench has settled and mounting does not change.
KEPT = (
    "speed_max_um_s", "acceleration_um_s2", "deceleration_um_s2", "creep_output_permille",
    "creep_speed_um_s", "stall_time_ms",
)  # fmt: skip


def way_of(job: Job) -> Polarity:
    """Direction and creep of a calibrated axis, from its settings. Raises ProcedureError for one
    that is not calibrated."""
    live = job.live
    if not live["calibrated"]:
        raise failed(
            job,
            "which way is out is not known yet",
            f"rodbench calibrate polarity {job.number}",
            "Nothing moved.",
        )
    span = live["raw_extended"] - live["raw_retracted"]
    raw_s = live["creep_speed_um_s"] * abs(span) / live["stroke_um"]
    output, amps = live["creep_output_permille"] / 1000.0, live["running_ma"] / 1000.0
    return Polarity(
        bool(live["motor_reversed"]), span < 0, (raw_s, raw_s), (output, output), (amps, amps)
    )


def find(job: Job, way: Polarity, known: KnownRod | None) -> tuple[AtRest, Endpoints]:
    """Have the working ends shown. A calibrated axis stays what it was, with its soft stops inside
    the working ends; nothing is stored. Raises ProcedureError for contradictions."""
    before = dict(job.live)
    at_rest = current.measure(job)
    found, _ = by_hand.find(job, at_rest, way, known)
    if before["calibrated"] and known is not None:
        _as_before(job, before, found)
    return at_rest, found


def _as_before(job: Job, before: Mapping[str, int], found: Endpoints) -> None:
    noise_mm = before["noise_x16"] / 16 * found.mm_per_raw
    run_on_mm = (before["run_on_extend_um"] / 1000, before["run_on_retract_um"] / 1000)
    try:
        stops = soft_stops(
            found.range_mm, run_on_mm, max(found.spread_mm), noise_mm, before["stop_by"] == 0,
            job.units.length,
        )  # fmt: skip
    except ValueError as error:
        raise ProcedureError(
            f"axis {job.number}: {error}",
            kept="The provisional soft stops stay in force until reset; nothing was stored.",
            hint="Lower the speed, or let the driver brake.",
        ) from None
    keys = {key: before[key] for key in KEPT}
    job.commit(
        keys
        | {
            "soft_stop_min_um": round(1000 * stops.low_mm),
            "soft_stop_max_um": round(1000 * stops.high_mm),
        }
    )
    span, why = job.units.span(stops.low_mm, stops.high_mm), stops.why(job.units.length)
    job.say(f"       Soft stops {span}: {why}.")
    job.say(
        "       Speeds and trip are those of the bench. Under the machine's load: "
        f"rodbench calibrate speed {job.number}, then rodbench propose {job.number}."
    )
