"""rodbench compare"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import codes, talk
from rodbench.cli.options import Setup, for_file
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.bench.compared import Comparison
    from rodbench.record.runs import Run

KEPT = "Nothing was changed."


@click.command("compare")
@click.argument("run", metavar="[RUN]", required=False)
@click.option("--with", "other", metavar="RUN", help="Instead of the baseline.")
@click.option(
    "--plot",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Draw current against position: this run solid, the baseline dashed.",
)
@for_file
def command(setup: Setup, run: str | None, other: str | None, plot: Path | None) -> int:
    """What has changed since the baseline, where and why likely.

    A change is told where it is greater than its uncertainty.

    RUN is the name of a run in runs/ or a part of it; without it, the last one. Needs no board.
    The exit code is 1 when something changed.

    \b
    Example:  rodbench compare
              rodbench compare 2026-05-04 --plot compare.png
    """
    from rodbench.bench.compared import compared
    from rodbench.show.compare import notes, report, sentences

    later = _later(setup, run)
    baseline = _baseline(setup, later, other)
    found, units = compared(baseline, later), setup.units()
    if plot is not None:
        draw(setup, baseline, later, found, plot)
    data = {
        "baseline": baseline.name,
        "run": later.name,
        "sentences": sentences(found, units) if found.findings else [],
        "notes": notes(baseline, later, found),
        **told(found),
    }
    talk.result(data, report(baseline, later, found, units), setup.as_json)
    return codes.DIFFERENT if found.findings else 0


def draw(setup: Setup, baseline: Run, later: Run, found: Comparison, path: Path) -> None:
    """The picture. Raises UsageError where there is none, or no place for it."""
    from rodbench.show.compare_plot import plot

    title = f'axis {later.axis} "{later.rod}": {later.name} against {baseline.name}'
    try:
        plot(found, path, title=title, units=setup.units())
    except ValueError as error:
        raise UsageError(str(error), kept="No picture was made.") from None
    except OSError as error:
        raise UsageError(f"{path}: {error.strerror or error}", kept=KEPT) from None


def told(found: Comparison) -> dict[str, Any]:
    """A comparison for --json."""
    looks = [
        {**asdict(look), "change": look.change, "changed": look.changed} for look in found.looks
    ]
    findings = [{"kind": one.kind, **one.figures} for one in found.findings]
    return {"findings": findings, "looks": looks, "unseen": list(found.unseen)}


def _later(setup: Setup, text: str | None) -> Run:
    from rodbench.record import runs

    if text is not None:
        return runs.find(setup.folder, text)
    for name in reversed(runs.names(setup.folder)):
        try:
            return runs.read(setup.folder / runs.FOLDER / name)
        except runs.RunError as error:
            talk.say(f"note: {error.message}")
    raise UsageError("there is no proof run yet", kept=KEPT, hint="rodbench proof 1")


def _baseline(setup: Setup, later: Run, text: str | None) -> Run:
    from rodbench.record import runs

    name = text or runs.baseline_name(setup.folder, later.axis)
    if name is None:
        raise UsageError(
            f"axis {later.axis} has no baseline yet", kept=KEPT,
            hint=f"rodbench proof {later.axis} --baseline, or --with RUN",
        )  # fmt: skip
    found = runs.find(setup.folder, name)
    if found.name == later.name:
        raise UsageError(
            f"{later.name} is the baseline itself", kept=KEPT,
            hint=f"rodbench proof {later.axis} makes another run",
        )  # fmt: skip
    if found.axis != later.axis:
        talk.say(f"note: the runs are of axis {found.axis} and axis {later.axis}")
    return found
