"""Section 7: settings put on the board, stored, read back after a restart, and kept in the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rodbench.board.local import input_words
from rodbench.errors import Refused
from rodbench.settings.keys import by_wire
from rodbench.settings.units import minutes

from . import cautions
from .budget import Budget
from .job import STORED, Job, failed
from .keeper import BESIDE, Keeper, is_local
from .label import BENCH, WITH_POT, Label
from .scale import kind_of


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
    beside = _given(job, keeper, label, values)
    started = job.board.clock.now()
    job.commit({**values, **beside}, store=True)
    took_s = job.board.clock.now() - started
    settings = job.board.read_scope(job.number)
    keeper.keep(job.number, label.rod, settings, file_only, notes)
    digest = _read_back(job, keeper, took_s)
    if settings.get("local_source"):
        job.axis.take()
        words = input_words(settings["local_source"])
        job.say(f"       The axis belongs to {words} again 10 s after this computer's last word.")
    return OnBoard(settings, digest)


def _given(job: Job, keeper: Keeper, label: Label, values: Mapping[str, int]) -> dict[str, int]:
    """What the machine file gives beside what was learned, as far as it goes with that."""
    alone = [[key] for key in BESIDE if key in job.live]
    local = [key for key in job.live if is_local(key)]
    beside = {key: job.at_start[key] for key in local}
    for keys in (*alone, local):
        given = keeper.given(job.number, label.rod, keys)
        now = job.live | beside
        new = any(now[key] != value for key, value in given.items())
        if new and _goes_with(job, {**values, **beside}, given):
            beside |= given
    return beside


def _goes_with(job: Job, values: Mapping[str, int], given: Mapping[str, int]) -> bool:
    """Whether the board takes both; says what it does not take."""
    try:
        job.board.check_scope(job.number, {**values, **given})
    except Refused as error:
        of_axis = by_wire(kind_of(job.board.hello.board_kind).word)
        said = [(of_axis["axis", key], value) for key, value in given.items()]
        words = ", ".join(f"{key.name} = {key.to_file(value)}" for key, value in said)
        job.say(
            f"       ! The machine file's {words} does not go with this: {error.message}. What the "
            "board has stays, and is written there."
        )
        return False
    return True


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
