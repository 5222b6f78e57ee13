"""rodbench commission"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rodbench.bench.ask import Kind, Question
from rodbench.cli import talk
from rodbench.cli.options import Setup, for_procedure

if TYPE_CHECKING:
    from rodbench.bench.commission import Done
    from rodbench.board import Board


@click.command("commission")
@click.argument("axis", type=click.IntRange(1, 2), metavar="[AXIS]", required=False)
@click.option(
    "--unlabelled",
    is_flag=True,
    help="A rod without a label: found out carefully, from low voltage up.",
)
@for_procedure
def command(setup: Setup, axis: int | None, unlabelled: bool) -> None:
    """The whole sequence for one axis, from sensors to trial.

    Sensors at rest, polarity, ends, speed, proposal, board, trial.

    Asks what only you can know and see; `--yes` accepts cautions only. Any key stops the rod, and
    nothing is stored before you have accepted the proposal. Without AXIS it asks for it.

    \b
    Example:  rodbench commission 1
              rodbench commission 1 --port emulator --speed max
    """
    from rodbench.cli.keeper import plain
    from rodbench.show.tables import learned

    with setup.board("commission") as board:
        done = run(setup, board, axis, unlabelled)
    units = setup.units()
    text = f"{learned(plain(done), units)}\n{setup.machine_path}: settings {done.digest:08X}"
    talk.result({"machine": str(setup.machine_path), **plain(done)}, text, setup.as_json)


def run(setup: Setup, board: Board, axis: int | None, no_label: bool = False) -> Done:
    """Commission one axis of an open board into the machine file of `setup`."""
    from rodbench.bench import commission as procedure
    from rodbench.bench.job import Job
    from rodbench.cli.asking import asker
    from rodbench.cli.gang import refuse_alone
    from rodbench.cli.keeper import FileKeeper

    _head(setup, board)
    keeper = FileKeeper(setup, board)
    with asker(setup, board) as answers:
        if axis is None:
            question = Question("axis", "       Axis 1 or 2?", Kind.FACT, ("1", "2"))
            axis = int(answers.ask(question))
        refuse_alone(setup, board, axis)
        _agree_on_the_rest(setup, board, axis)
        job = Job(board, axis, answers, talk.say, keeper.record, units=setup.units())
        return procedure.run(job, keeper, no_label=no_label)


def _head(setup: Setup, board: Board) -> None:
    from importlib.metadata import version

    emulated = "emulated board, figures invented" if setup.emulated() else board.hello.name
    machine = setup.machine()  # errors of the file come before anything is asked
    calibrated = [axis for axis in machine.axes if machine.scope(axis)["calibrated"]]
    state = f"calibrated: {', '.join(map(str, calibrated))}" if calibrated else "uncalibrated"
    talk.say(
        f"rodbench {version('rodbench')}   {emulated}   {board.hello.axis_count} axes   {state}   "
        f"logbook {setup.folder.name}/logbook"
    )


def _agree_on_the_rest(setup: Setup, board: Board, axis: int) -> None:
    """Board and other axis as the machine file says, so that file and board agree at the end."""
    from rodbench.settings import transfer

    machine = transfer.load_for(board, setup.machine)
    done = transfer.push(machine, board, until_reset=True, scopes=(0, 3 - axis))
    machine.save()
    if done.changed:
        names = ", ".join(difference.name for difference in done.changed)
        talk.say(f"   From the machine file, in force until reset: {names}")
