"""A job and its candidates: verdicts, best first; the same for programs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rodbench.science.candidate import Sheet
from rodbench.science.loads import Array, Travel
from rodbench.science.sizing import Sized, size
from rodbench.settings.units import Units
from rodbench.show.sizing_words import Asked, Verdict, verdict

if TYPE_CHECKING:
    from rodbench.settings.job_file import Job


class Answer:
    """The job reckoned for every candidate; `order` lists the rows, best first."""

    def __init__(self, job: Job, sheets: Sequence[Sheet]) -> None:
        self.job, self.sheets = job, list(sheets)
        travel = job.travel()
        self.asked = Asked(travel, job.duty, job.assumed, Units(job.show_units))
        self.sized: Sized = size(travel, job.duty, self.sheets, job.assumed)
        self.verdicts: list[Verdict] = [
            verdict(self.asked, self.sized, sheet, at) for at, sheet in enumerate(self.sheets)
        ]
        self.order = sorted(range(len(self.sheets)), key=self._rank)

    def _rank(self, at: int) -> tuple[bool, bool, float]:
        """Those that fit first, without cautions before the others, then by the least margin."""
        said = self.verdicts[at]
        return bool(said.fails), bool(said.cautions), -float(self.sized.closest[at])

    @property
    def fitting(self) -> list[str]:
        """Names of those that do the job, best first."""
        return [self.sheets[at].name for at in self.order if self.sized.fits[at]]


def motors(answer: Answer) -> dict[str, list[int]]:
    """Rows that have the same motor, by its word; weakest first."""
    groups: dict[str, list[int]] = {}
    for at, sheet in enumerate(answer.sheets):
        if sheet.motor:
            groups.setdefault(sheet.motor, []).append(at)
    for rows in groups.values():
        rows.sort(key=lambda at: answer.sheets[at].force_n)
    return {word: rows for word, rows in groups.items() if len(rows) > 1}


def as_data(answer: Answer) -> dict[str, Any]:
    """The same for programs; unknown and unlimited figures are null."""
    job, travel = answer.job, answer.asked.travel
    return {
        "job": job.name,
        "kind": job.kind,
        "travel_mm": travel.way_mm,
        "pin_to_pin_mm": None if travel.pins_mm is None else travel.pins_mm[[0, -1]].tolist(),
        "need": {
            **_worst("extend", travel, travel.extend_n),
            **_worst("retract", travel, travel.retract_n),
            **_worst("rest", travel, travel.rest_n),
            "aiding_extend_n": float(travel.aiding_n[0].max()),
            "aiding_retract_n": float(travel.aiding_n[1].max()),
        },
        "assumed": asdict(job.assumed),
        "candidates": [_candidate(answer, at) for at in answer.order],
        "same_motor": {
            word: [answer.sheets[at].name for at in rows] for word, rows in motors(answer).items()
        },
    }


def _worst(name: str, travel: Travel, force_n: Array) -> dict[str, float]:
    """The greatest force and where in the travel it is, from where the rod is shortest."""
    at = int(force_n.argmax())
    return {f"{name}_n": float(force_n[at]), f"{name}_at_mm": float(travel.place_mm[at])}


def _candidate(answer: Answer, at: int) -> dict[str, Any]:
    sized = answer.sized
    names = ("extend_s", "retract_s", "peak_a", "stall_n", "stall_a", "energy_wh", "duty",
             "least_rod_mm", "power_w")  # fmt: skip
    return {
        "name": answer.sheets[at].name,
        "verdict": answer.verdicts[at].word,
        "fails": answer.verdicts[at].fails,
        "cautions": answer.verdicts[at].cautions,
        "notes": answer.verdicts[at].notes,
        **{name: _finite(getattr(sized, name)[at]) for name in names},
        "on_time_s": _finite(sized.extend_s[at] + sized.retract_s[at]),
        "checks": {
            check.name: {
                "have": _finite(check.have[at]),
                "need": _finite(check.need[at]),
                "margin": _finite(check.margin[at]),
                "wanted": check.wanted,
                "holds": None if math.isnan(check.margin[at]) else bool(check.holds[at]),
            }
            for check in sized.checks
        },
    }


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
