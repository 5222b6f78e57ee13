"""rodbench measure pot"""

from __future__ import annotations

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_procedure


@click.group("measure")
def command() -> None:
    """Look closer at a rod. Results go to the logbook, not to settings.

    \b
    Example:  rodbench measure pot 1
    """


@command.command("pot")
@axis_argument
@for_procedure
def pot(setup: Setup, axis: int) -> None:
    """Is the pot sound? Lost contact by place, noise, play, repeatability.

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
