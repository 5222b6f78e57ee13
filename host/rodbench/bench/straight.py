"""Two points make any pot a straight line: a third, by the tape, shows whether it is one."""

from __future__ import annotations

from .found_ends import Endpoints
from .job import Job, failed
from .label import pin_to_pin
from .reach import capture

SHARE, LEAST_MM = 0.03, 2.0  # of the stroke, and mm: what pot and tape may differ by
HINT = "Measure ohms between its wires: rodbench wire --identify"


def check_between(job: Job, ends: Endpoints, short_mm: float) -> None:
    """Compare pot and tape where the rod rests now, between its ends; `short_mm` is pin to pin at
    the retracted one. Raises ProcedureError when they do not agree."""
    by_pot = ends.position_mm(capture(job).mean)
    by_tape = pin_to_pin(job, "between_pin_to_pin", "Pin to pin here, between the ends") - short_mm
    if abs(by_pot - by_tape) <= max(LEAST_MM, SHARE * ends.stroke_mm):
        return
    raise failed(
        job,
        f"by the pot the rod stands {job.units.length(by_pot)} from its retracted end, by the tape "
        f"{job.units.length(by_tape)}: no straight pot, or wiper and an end lead swapped",
        HINT,
    )
