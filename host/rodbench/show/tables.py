"""Tables for a terminal of 80 columns."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rodbench.settings.transfer import Difference

WIDTH = 80


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()) -> str:
    """Columns under heads; those numbered in `right` are set to the right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, expand=False)
    for number, head in enumerate(heads):
        drawn.add_column(head, justify="right" if number in right else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*row)
    out = io.StringIO()
    Console(file=out, width=WIDTH, highlight=False, markup=False).print(drawn)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines() if line.strip())


def differences(found: Sequence[Difference]) -> str:
    """File against board, a setting a line."""
    rows = [(d.name, d.shown(d.in_file), d.shown(d.on_board)) for d in found]
    return table(("setting", "file", "board"), rows, right=(1, 2))
