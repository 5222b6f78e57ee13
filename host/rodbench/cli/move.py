"""rodbench move"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_motion
from rodbench.cli.signed import SignedCommand
from rodbench.errors import ProcedureError
from rodbench.settings import amounts

if TYPE_CHECKING:
    from rodbench.board import Outcome
    from rodbench.settings.units import Units


@click.command("move", cls=SignedCommand)
@axis_argument
@click.argument("position", metavar="POSITION")
@click.option("--at", "speed", metavar="SPEED", help='Not faster than this, for example "3 mm/s".')
@for_motion
def command(setup: Setup, axis: int, position: str, speed: str | None) -> None:
    """Go to a position and rest there.

    POSITION: a name of the machine file's [positions], "101.5 mm", "4 in", "30 deg" by its
    [linkage], or "50 %" of the way between the soft stops; a bare number counts in its show_units.
    A rod without a pot goes to one of its ends: "extended" or "retracted".

    Of two rods that are ganged both go to the same share of their strokes, whichever is named.

    Ctrl-C stops the rod; if this command dies, the board stops it by itself.

    \b
    Example:  rodbench move 1 "101.5 mm"
              rodbench move 1 open
    """
    from rodbench.cli import run_to_end
    from rodbench.cli.caution import before_motion
    from rodbench.cli.gang import first_to_end, refused, say_both
    from rodbench.settings.target import find
    from rodbench.show.run import Recorder
    from rodbench.show.where import has_pot

    units = setup.units()
    with setup.board(f"move {axis}") as board:
        live = board.read_scope(axis)
        if not has_pot(live):
            run_to_end.run(setup, board, axis, position, speed)
            return
        target = find(setup.machine_or_error(), axis, position, live, units)
        speed_mm_s = amounts.speed_mm_s(speed, units.name) if speed else 0.0
        before_motion(setup, board, axis, live)
        gang = say_both(board, axis)
        with (
            Recorder(board, axis) as seen,
            refused(gang, board, axis, target.mm, units),
            target.refused(),
            board.axis(axis).move(target.mm, speed_mm_s) as motion,
        ):
            outcome = motion.wait()
        assert outcome is not None
        first = first_to_end(board, outcome)
        setup.log(board, "move", asked=position, target_mm=target.mm, **_data(outcome))
    _check(first, units)
    data = {"target_mm": target.mm, "seconds": seen.seconds, **_data(outcome)}
    if gang is not None:
        data["ganged_with"] = 3 - axis
    if target.way.linkage is not None:
        data["angle_deg"] = target.angle_deg(outcome.position_mm)
    text = (
        f"axis {axis} rests at {target.shown(outcome.position_mm)} "
        f"(asked: {target.shown()}), {seen.seconds:.1f} s, "
        f"motor on for {outcome.on_time_s:.1f} s"
    )
    talk.result(data, text, setup.as_json)


def _data(outcome: Outcome) -> dict[str, Any]:
    from rodbench.show.words import ended_word

    return {**asdict(outcome), "ended": ended_word(outcome.ended)}


def _check(outcome: Outcome, units: Units) -> None:
    """Raise when the move did not come to rest at its target."""
    axis = outcome.axis
    from rodbench_protocol.names import Ended

    from rodbench.cli.endings import raise_fault
    from rodbench.show.words import ended

    raise_fault(outcome, units)
    if outcome.ended != Ended.REACHED:
        raise ProcedureError(
            f"axis {axis}: the move {ended(outcome.ended)}, at {units.length(outcome.position_mm)}",
            kept="The rod is at rest.",
            hint=f"`rodbench watch --for 1s` shows the state of axis {axis}.",
        )
