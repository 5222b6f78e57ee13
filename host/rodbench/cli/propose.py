"""rodbench propose"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_procedure

if TYPE_CHECKING:
    from rodbench.bench.propose import Proposed
    from rodbench.bench.two_wires_propose import Limits


@click.command("propose")
@axis_argument
@click.option("--save", is_flag=True, help="Write the proposal into the machine file.")
@for_procedure
def command(setup: Setup, axis: int, save: bool) -> None:
    """Propose limits with a line of reason each. Sends nothing to the board.

    From what the calibrate steps found. With --save it goes into the machine file, and
    `rodbench settings push` puts it on the board.

    \b
    Example:  rodbench propose 1
              rodbench propose 1 --save && rodbench settings push
    """
    from rodbench.bench import propose as proposing
    from rodbench.bench.current import AtRest
    from rodbench.bench.duty_share import duty_of
    from rodbench.bench.endpoints import Endpoints
    from rodbench.bench.speed import Speeds
    from rodbench.cli import steps, two_wires
    from rodbench.cli.keeper import FileKeeper, plain

    machine = setup.machine()
    fuse = machine.host("fuse_a", ("board",))
    with setup.board(f"propose {axis}") as board, steps.job(setup, board, axis) as job:
        found: Proposed | Limits
        fuse_a = float(fuse) if fuse else None
        keeper, rod = FileKeeper(setup, board), machine.rod_of(axis) or ""
        if without_pot := two_wires.is_for(job):
            found = two_wires.propose(setup, job, fuse_a)
        else:
            known = proposing.learned(
                job,
                steps.recall(setup, axis, "current", AtRest, "rodbench calibrate current"),
                steps.recall(setup, axis, "endpoints", Endpoints, "rodbench calibrate endpoints"),
                steps.recall(setup, axis, "speed", Speeds, "rodbench calibrate speed"),
                fuse_a=fuse_a,
                duty=duty_of(keeper, axis, rod),
            )
            found = proposing.propose(job, known)
        if save:
            settings = {**machine.scope(axis), **found.settings()}
            settings["calibrated"] = int(not without_pot)
            keeper.keep(axis, rod, settings, {}, found.notes())
            keeper.record("propose", {"axis": axis, "proposal": found})
    where = f"written into {setup.machine_path}" if save else "nothing was sent or written"
    talk.result({"axis": axis, "saved": save, **plain(found)}, where, setup.as_json)
