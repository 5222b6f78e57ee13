"""What a proof is to be, by the machine file, the settings in force and the person."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench.errors import SettingsError
from rodbench.settings.machine import MachineFile
from rodbench.settings.positions import Way, read_place

from .ask import Question
from .job import Job
from .label import BENCH, MOUNTED
from .proof_required import Agreed

SOUGHT = {"end-switch", "stall"}  # kinds of ends that a creep has found
PERCENT = {"duty_share": "duty"}  # a share in the file, percent in the table
KEPT = "Nothing moved."


def of(job: Job, machine: MachineFile) -> Agreed:
    """The strokes and values of an axis. Asks whether the rod is mounted where its ends could be
    found again. Raises SettingsError for places that the rod cannot go to."""
    path, said = machine.proof_of(job.number)
    low, high = sorted(_place(job, machine, said, name) for name in ("from", "to"))
    required = {
        PERCENT.get(name, name): 100.0 * float(value) if name in PERCENT else float(value)
        for name, value in said.items()
        if name not in ("from", "to", "runs", "cycles", "find_ends")
    }
    why = _why_no_ends(job, machine, said.get("find_ends") is False)
    rod = machine.rod_of(job.number) or ""
    spread = machine.host("endpoint_spread_mm", ("rods", rod)) if rod else None
    return Agreed(
        low, high, int(said.get("runs", 2)), required, float(said.get("cycles", 1.0)),
        not why, why, float(spread or 0.0), f"[{'.'.join(path)}]",
    )  # fmt: skip


def _place(job: Job, machine: MachineFile, said: Mapping[str, object], name: str) -> float:
    live = job.live
    stops = live["soft_stop_min_um"] / 1000.0, live["soft_stop_max_um"] / 1000.0
    if name not in said:
        return stops[0] if name == "from" else stops[1]
    text = str(said[name])
    named = machine.positions.get(text)
    try:
        way = machine.way_of(job.number, live)
    except ValueError as error:
        way = Way(*stops, why_no_angle=str(error))
    try:
        mm = way.mm(read_place(text) if named is None else named.place)
    except ValueError as error:
        raise SettingsError(f'[proof] {name} = "{text}": {error}', kept=KEPT) from None
    if not way.holds(mm):
        units = job.units
        what = f'[proof] {name} = "{text}" is {units.length(mm)}, outside the soft stops'
        raise SettingsError(f"{what}, {units.span(*stops)}", kept=KEPT)
    return min(max(mm, stops[0]), stops[1])


def _why_no_ends(job: Job, machine: MachineFile, left_out: bool) -> str:
    """Why the rod's own ends are not sought; empty when they may be."""
    if left_out:
        return "the machine file says find_ends = false"
    if machine.working_ends_mm(job.number) != (None, None):
        return "the rod is mounted"
    rod = machine.rod_of(job.number) or ""
    kinds = [machine.host(f"end_{end}", ("rods", rod)) for end in ("retracted", "extended")]
    if not set(kinds) <= SOUGHT:
        return "what its ends are like was not learned (rodbench calibrate endpoints)"
    question = Question(
        "mounting", "       Free on the bench or mounted?", choices=(BENCH, MOUNTED)
    )
    return "" if job.asker.ask(question) == BENCH else "the rod is mounted"
