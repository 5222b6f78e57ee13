"""rodbench clear"""

from __future__ import annotations

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_board


@click.command("clear")
@click.argument("axis", type=click.IntRange(0, 2), metavar="[AXIS]", default=0)
@for_board
def command(setup: Setup, axis: int) -> None:
    """Clear latched faults of one axis, or of all and the board.

    Look for the cause first: a fault whose cause still stands comes back at once.

    \b
    Example:  rodbench clear 1
    """
    from rodbench.show.words import fault_names

    with setup.board("clear") as board:
        names = fault_names(board.clear(axis))
        if names:
            setup.log(board, "clear", axis=axis, faults=names)
    words = ", ".join(name.replace("_", " ") for name in names)
    talk.result(
        {"cleared": names}, f"cleared: {words}" if names else "no fault stood", setup.as_json
    )
