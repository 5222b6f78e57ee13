"""rodbench stop"""

from __future__ import annotations

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_board


@click.command("stop")
@click.argument("axis", type=click.IntRange(0, 2), metavar="[AXIS]", default=0)
@click.option("--now", is_flag=True, help="Stop category 0: at once, without the ramp.")
@for_board
def command(setup: Setup, axis: int, now: bool) -> None:
    """Stop one axis, or all, whatever runs and whoever commands it.

    This is no emergency stop: that cuts motor power in hardware.

    \b
    Example:  rodbench stop
    """
    with setup.board("stop") as board:
        board.stop(axis, 0 if now else 1)
    which = f"axis {axis}" if axis else "all axes"
    talk.result(
        {"stopped": axis, "category": 0 if now else 1}, f"stop sent: {which}", setup.as_json
    )
