"""rodbench measure pot | motor"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_procedure
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.bench.motor import MotorReport
    from rodbench.board import Board


@click.group("measure")
def command() -> None:
    """Look closer at a rod. Results go to the logbook, not to settings.

    \b
    Example:  rodbench measure pot 1
              rodbench measure motor 1
    """


@command.command("pot")
@axis_argument
@for_procedure
def pot(setup: Setup, axis: int) -> None:
    """Is the pot sound? Lost contact by place, noise, play, scatter.

    Sweeps twice each way between the soft stops, then runs to and fro at mid way, and says:
    clean, avoid a zone, or replace. Where the pot loses contact a guard stops the rod; it is
    cleared there, and the place passed at creep. A rod that is not calibrated is swept at
    creep from end to end, free on the bench only. Any key stops the rod.

    \b
    Example:  rodbench measure pot 1
    """
    from rodbench.bench import pot as procedure
    from rodbench.bench.guarded import not_guarded
    from rodbench.cli import steps, two_wires
    from rodbench.cli.keeper import plain

    with setup.board(f"measure pot {axis}") as board, steps.job(setup, board, axis) as job:
        if two_wires.is_for(job):
            raise two_wires.refusal(job, "there is none to look at")
        talk.say(not_guarded(job.board_live, job.live))
        found = procedure.measure(job)
        text = "\n".join(procedure.sentences(job, found))
    data = {"axis": axis, "verdict": found.health.verdict, "found": plain(found)}
    talk.result(data, text, setup.as_json)


@command.command("motor")
@click.argument("axis", type=click.IntRange(1, 2), metavar="[AXIS]", required=False)
@click.option(
    "--plot",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A picture of the runs and the lines through them, as PNG.",
)
@for_procedure
def motor(setup: Setup, axis: int | None, plot: Path | None) -> None:
    """What the motor is worth: resistance, speed, friction, stall, more.

    Runs to and fro between the soft stops at several outputs, and tells each figure with its 95 %
    interval: resistance of the circuit as warm as it is then, speed for each volt, friction current
    and dead zone both ways, full speed, and the stall current that follows; nothing is stalled.
    With a known weight on the rod also its efficiency, with the rod's way for one turn of the motor
    also the motor's own constant. All three it asks; "none" and "not known" are answers. Then it
    compares with the settings.

    Needs a calibrated axis with a pot. Without a current sensor only speeds and dead zones can be
    told. A motor that has just worked has more resistance: let it cool to compare with last year.
    Without AXIS: the only one that has a rod. Any key stops the rod.

    \b
    Example:  rodbench measure motor 1
              rodbench measure motor 1 --plot motor.png
    """
    from rodbench.bench import motor as procedure
    from rodbench.cli.keeper import plain
    from rodbench.cli.pictures import if_it_can_be
    from rodbench.show.motor import sentences
    from rodbench.show.motor_plot import plot as draw

    with setup.board("measure motor") as board:
        number = axis or _only(board)
        found = motor_of(setup, board, number)
    data = {
        "axis": number,
        "found": plain(found),
        "checks": plain(procedure.beside(found)),
        "plot": str(plot) if plot else None,
    }
    if plot:
        with if_it_can_be():
            draw(found, plot, title=f"axis {number}: steady runs", units=setup.units())
    talk.result(data, "\n".join(sentences(found, setup.units())), setup.as_json)


def motor_of(setup: Setup, board: Board, axis: int) -> MotorReport:
    """What the motor of an axis is worth, on an open board."""
    from rodbench.bench import motor as procedure
    from rodbench.bench.guarded import not_guarded
    from rodbench.cli import steps, two_wires

    with steps.job(setup, board, axis) as job:
        if two_wires.is_for(job):
            raise two_wires.refusal(job, "nothing tells its speed")
        talk.say(not_guarded(job.board_live, job.live))
        return procedure.measure(job)


def _only(board: Board) -> int:
    """The one axis that has a rod. Raises UsageError."""
    fitted = [axis for axis in board.scopes[1:] if board.read_scope(axis)["feedback"]]
    if len(fitted) == 1:
        return fitted[0]
    raise UsageError(
        f"which axis? {len(fitted) or 'None'} of this board's axes have a rod",
        kept="Nothing moved.",
        hint="rodbench measure motor 1",
    )
