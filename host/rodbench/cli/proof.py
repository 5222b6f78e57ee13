"""rodbench proof"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import codes, talk
from rodbench.cli.options import Setup, axis_argument, for_procedure

if TYPE_CHECKING:
    from rodbench.board import Board
    from rodbench.record.runs import Requirement, Run


@click.command("proof")
@axis_argument
@click.option("--baseline", is_flag=True, help="Compare later runs with this one.")
@for_procedure
def command(setup: Setup, axis: int, baseline: bool) -> int:
    """Required against measured over an agreed set of strokes; kept.

    Creeps to the rod's own ends again where that is allowed, moves out and in, runs out and in at
    a set output, and prints a table with margins. What is required stands in [proof] of the
    machine file; the rest is derived from the settings, and said so. The run is kept in runs/;
    the first one becomes the baseline of `rodbench compare`. Any key stops the rod.

    \b
    Example:  rodbench proof 1
              rodbench proof 1 --baseline
    """
    from rodbench.show.proof import table_of

    with setup.board(f"proof {axis}") as board:
        run = prove(setup, board, axis)
    is_baseline = settle_baseline(setup, run, asked=baseline)
    text = f"{table_of(run, setup.units())}\nrun       runs/{run.name}"
    talk.result(told(run) | {"is_baseline": is_baseline}, text, setup.as_json)
    return 0 if run.passed else codes.MISSED


def prove(setup: Setup, board: Board, axis: int) -> Run:
    """One proof of an axis of an open board, kept in the machine folder."""
    from rodbench.bench import agreed as agreement
    from rodbench.bench import proof as procedure
    from rodbench.cli import steps
    from rodbench.record.runs import Writer

    machine = setup.machine()
    with steps.job(setup, board, axis) as job:
        procedure.refuse(job)
        agreed = agreement.of(job, machine)
        rod = machine.rod_of(axis) or f"rod{axis}"
        return procedure.prove(job, agreed, rod, lambda: Writer(setup.folder))


def settle_baseline(setup: Setup, run: Run, *, asked: bool) -> bool:
    """Make a run the baseline when that was asked for, or when there is none yet; and say so."""
    from rodbench.record import runs

    first = runs.baseline_name(setup.folder, run.axis) is None
    if not asked and not (first and run.strokes):
        return False
    runs.set_baseline(setup.folder, run.axis, run.name)
    setup.logbook().append("baseline", axis=run.axis, run=run.name)
    why = "" if asked else ", being the first"
    talk.say(f"This run is now the baseline of axis {run.axis}{why}.")
    return True


def told(run: Run) -> dict[str, Any]:
    """A run for --json, its tables aside."""
    return {
        "run": run.name,
        "date": run.date,
        "axis": run.axis,
        "rod": run.rod,
        "settings": run.settings,
        "passed": run.passed,
        "required": [_line(line) for line in run.required],
        "conditions": dict(run.conditions),
        "strokes": [{"name": one.name, **one.facts} for one in run.strokes],
    }


def _line(line: Requirement) -> dict[str, Any]:
    return {
        "what": line.what,
        "unit": line.unit,
        "limit": line.limit,
        "required": line.required,
        "measured": line.measured,
        "margin": line.margin,
        "passed": line.passed,
        "source": line.source,
    }
