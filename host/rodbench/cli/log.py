"""rodbench log"""

from __future__ import annotations

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_file

LAST = 20


@click.command("log")
@click.option(
    "--last",
    type=click.IntRange(1),
    default=LAST,
    show_default=True,
    metavar="N",
    help="How many entries.",
)
@click.option("--all", "whole", is_flag=True, help="From the first entry on.")
@click.option("--kind", metavar="WORD", help="Only entries of a kind, such as note or move.")
@for_file
def command(setup: Setup, last: int, whole: bool, kind: str | None) -> None:
    """What was done with this machine: the logbook, oldest first.

    Local time. The file itself is logbook/log.jsonl, one line an entry, in UTC; a line that a power
    cut tore is named and left as it is.

    \b
    Example:  rodbench log --last 5
              rodbench log --kind note
    """
    from rodbench.show.log import line

    if not setup.has_machine:
        setup.machine()
    entries = [e for e in setup.logbook().read()[0] if kind in (None, e.kind)]
    shown = entries if whole else entries[-last:]
    left = len(entries) - len(shown)
    units = setup.units()
    lines = [f"({left} earlier: --all shows them)"] if left else []
    lines += [line(entry, units) for entry in shown]
    if not lines:
        lines = ["the logbook is empty" if kind is None else f"no entry of kind '{kind}'"]
    data = [{"date": e.date, "kind": e.kind, "digest": e.digest, **dict(e.data)} for e in shown]
    talk.result({"entries": data, "earlier": left}, "\n".join(lines), setup.as_json)
