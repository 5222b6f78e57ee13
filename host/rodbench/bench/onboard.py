"""Section 7: settings put on the board, stored, read back after a restart, and kept in the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rodbench.settings.units import minutes

from . import cautions
from .budget import Budget
from .job import STORED, Job, failed
from .keeper import Keeper
from .label import BENCH, WITH_POT, Label


@dataclass(frozen=True, slots=True)
class OnBoard:
    """The axis's settings as the board has stored them, and the digest of all of its settings."""

    settings: dict[str, int]
    digest: int


def put(
    job: Job,
    keeper: Keeper,
    label: Label,
    values: Mapping[str, int],
    file_only: Mapping[str, object],
    notes: Mapping[str, str],
) -> OnBoard:
    """Commit `values` of the axis, store all settings, write the machine file, start the board anew
    and read back. Raises ProcedureError when board and file do not agree then."""
    started = job.board.clock.now()
    job.commit(values, store=True)
    took_s = job.board.clock.now() - started
    settings = job.board.read_scope(job.number)
    keeper.keep(job.number, label.rod, settings, file_only, notes)
    return OnBoard(settings, _read_back(job, keeper, took_s))


def _read_back(job: Job, keeper: Keeper, took_s: float) -> int:
    """Restart the board: what it loads is what was stored, and must be what the file says."""
    job.board.restart()
    digests = job.board.digests()
    if digests["live"] != keeper.digest() or digests["live"] != digests["stored"]:
        raise failed(
            job,
            f"the board holds {digests['live']:08X}, the machine file {keeper.digest():08X}",
            "rodbench settings diff",
            STORED,
        )
    job.say(
        f" 7 On the board    checked, committed, stored in {took_s:.1f} s; board reset, read back: "
        f"{digests['live']:08X} = machine file"
    )
    return digests["live"]


def say_end(job: Job, label: Label, what: str = "is calibrated") -> None:
    """The last lines: what is settled, what is left of the duty budget, what stays to be done."""
    left = minutes(Budget(job).left_s())
    job.say("")
    job.say(f' Axis {job.number} "{label.rod}" {what}. Duty left: {left} of motor time.')
    if label.wires == WITH_POT and label.place == BENCH:
        job.say(f" Once mounted: rodbench calibrate endpoints {job.number} --by-hand")
    job.say(" " + cautions.STILL_YOURS)
