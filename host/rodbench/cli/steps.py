"""What every procedure command does around its procedure."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar, cast

from rodbench.bench.job import Job
from rodbench.bench.keeper import BESIDE, GIVEN, is_local
from rodbench.cli import talk
from rodbench.cli.asking import asker
from rodbench.cli.gang import refuse_alone
from rodbench.cli.keeper import FileKeeper, plain
from rodbench.cli.options import Setup
from rodbench.errors import ProcedureError, SettingsError

if TYPE_CHECKING:
    from rodbench.bench.ask import Asker
    from rodbench.bench.found_ends import Endpoints
    from rodbench.board import Board
    from rodbench.record.logbook import Entry

T = TypeVar("T")
LEARNED = "learned"
PARTS = {  # what a commissioning calls the results of the steps, with a pot or without one
    "current": ("at_rest",),
    "polarity": ("polarity", "direction"),
    "endpoints": ("ends", "strokes"),
    "speed": ("speeds",),
}
YOURS = {*GIVEN, *BESIDE}


@contextlib.contextmanager
def job(setup: Setup, board: Board, axis: int) -> Iterator[Job]:
    """A job on an axis that has a rod, with the person, the talk and the logbook at hand."""
    if not board.read_scope(axis)["feedback"]:
        raise SettingsError(
            f"axis {axis} has no rod on this board yet",
            kept="Nothing moved.",
            hint=f"`rodbench commission {axis}` does it all; or describe the rod in the machine "
            "file and `rodbench settings push`.",
        )
    refuse_alone(setup, board, axis)
    with asker(setup, board) as answers:
        keeper = FileKeeper(setup, board)
        yield Job(board, axis, answers, talk.say, keeper.record, units=setup.units())


def keep(setup: Setup, job: Job, step: str, found: Any) -> None:
    """Note a result: the axis's settings as they are in force now, and the evidence."""
    keeper = FileKeeper(setup, job.board)
    rod = setup.machine().rod_of(job.number)
    keeper.record(LEARNED, {"step": step, "axis": job.number, "rod": rod, "found": found})
    if rod is not None:
        settings = _learned(job, step)
        file_only = found.file_only() if hasattr(found, "file_only") else {}
        keeper.keep(job.number, rod, settings, file_only, found.notes())


def _learned(job: Job, step: str) -> dict[str, int]:
    """Settings for the machine file: what a person gave stays there as written, pushed or not."""

    def yours(key: str) -> bool:
        return key in YOURS or (is_local(key) and step != "inputs")

    live, before = job.board.read_scope(job.number), job.at_start
    return {key: new for key, new in live.items() if not yours(key) or new != before[key]}


@contextlib.contextmanager
def answers(setup: Setup, board: Board) -> Iterator[Asker]:
    """Who answers a step that is about no axis. Raises SettingsError without a machine file."""
    setup.machine()
    with asker(setup, board) as found:
        yield found


def keep_board(setup: Setup, board: Board, step: str, found: Any) -> None:
    """Note a result about the board: in the logbook and in the machine file."""
    FileKeeper(setup, board).record(LEARNED, {"step": step, "found": found})
    machine = setup.machine()
    with machine.changing():
        machine.put(0, found.settings(), found.notes())
    machine.save()


def recall(setup: Setup, axis: int, step: str, kind: type[T], command: str) -> T:
    """The last result of a step with the rod that is on the axis now, from the logbook, alone or
    within a commissioning.

    Raises ProcedureError when there is none.
    """
    rod = setup.machine().rod_of(axis)
    entries, _ = setup.logbook().read()
    for entry in reversed(entries):
        with_rod, found = _found(entry, axis, step)
        if found is not None and with_rod in (rod, None):  # the first release named no rod
            if found.keys() != {field.name for field in fields(cast(Any, kind))}:
                break  # of another kind of rod
            return kind(**{k: tuple(v) if isinstance(v, list) else v for k, v in found.items()})
    raise ProcedureError(
        f"axis {axis}: nothing is known yet from `{command}`",
        kept="Nothing moved.",
        hint=f"{command} {axis}",
    )


def _found(entry: Entry, axis: int, step: str) -> tuple[str | None, dict[str, Any] | None]:
    """Rod and result of a step, where the entry has one of the axis; else no result."""
    data = entry.data
    if data.get("axis") != axis:
        return None, None
    if entry.kind == LEARNED and data.get("step") == step:
        return data.get("rod"), data["found"]
    if entry.kind != "commission":
        return None, None
    whole = data["found"]
    return whole["label"]["rod"], next((whole[p] for p in PARTS[step] if p in whole), None) or {}


def shown_by_hand(setup: Setup, job: Job) -> Endpoints:
    """The working ends of a mounted rod, shown by a person and kept."""
    from rodbench.bench import mounting
    from rodbench.bench.polarity import Polarity

    rod = setup.machine().rod_of(job.number)
    known = FileKeeper(setup, job.board).known_rod(rod) if rod else None
    if job.live["calibrated"]:
        way = mounting.way_of(job)
    else:
        way = recall(setup, job.number, "polarity", Polarity, "rodbench calibrate polarity")
    at_rest, found = mounting.find(job, way, known)
    keep(setup, job, "current", at_rest)
    keep(setup, job, "endpoints", found)
    return found


def show(setup: Setup, step: str, axis: int, found: Any) -> None:
    """The result on stdout."""
    from rodbench.show.tables import facts

    data = {"step": step, **({"axis": axis} if axis else {}), "found": plain(found)}
    talk.result(data, facts(plain(found), setup.units()), setup.as_json)
