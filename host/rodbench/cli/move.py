"""rodbench move"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import amounts, talk
from rodbench.cli.options import Setup, axis_argument, for_motion
from rodbench.errors import ProcedureError

if TYPE_CHECKING:
    from rodbench.board import Board, Outcome
    from rodbench.settings.units import Units


@click.command("move", context_settings={"ignore_unknown_options": True})
@axis_argument
@click.argument("position", metavar="POSITION")
@click.option("--at", "speed", metavar="SPEED", help='Not faster than this, for example "3 mm/s".')
@for_motion
def command(setup: Setup, axis: int, position: str, speed: str | None) -> None:
    """Go to a position and rest there.

    POSITION: "101.5 mm", "4 in" or "50 %" of the way between the soft stops; a bare number counts
    in the machine file's show_units. Ctrl-C stops the rod; if this command dies, the board stops
    it by itself. A rod without a pot goes to one of its ends: "extended" or "retracted".

    \b
    Example:  rodbench move 1 "101.5 mm"
    """
    from rodbench.cli import run_to_end
    from rodbench.cli.caution import before_motion
    from rodbench.show.run import Recorder
    from rodbench.show.where import has_pot

    units = setup.units()
    with setup.board(f"move {axis}") as board:
        if not has_pot(board.read_scope(axis)):
            run_to_end.run(setup, board, axis, position, speed)
            return
        target_mm = _target(board, axis, position, units)
        speed_mm_s = amounts.speed_mm_s(speed, units.name) if speed else 0.0
        before_motion(setup, board, axis)
        with Recorder(board, axis) as seen, board.axis(axis).move(target_mm, speed_mm_s) as motion:
            outcome = motion.wait()
        assert outcome is not None
        setup.log(board, "move", target_mm=target_mm, **_data(outcome))
    _check(outcome, axis, units)
    data = {"target_mm": target_mm, "seconds": seen.seconds, **_data(outcome)}
    text = (
        f"axis {axis} rests at {units.length(outcome.position_mm)} "
        f"(asked: {units.length(target_mm)}), {seen.seconds:.1f} s, "
        f"motor on for {outcome.on_time_s:.1f} s"
    )
    talk.result(data, text, setup.as_json)


def _target(board: Board, axis: int, position: str, units: Units) -> float:
    live = board.read_scope(axis)
    low, high = live["soft_stop_min_um"] / 1000, live["soft_stop_max_um"] / 1000
    return amounts.position_mm(position, units.name, low, high)


def _data(outcome: Outcome) -> dict[str, Any]:
    from rodbench.show.words import ended_word

    return {**asdict(outcome), "ended": ended_word(outcome.ended)}


def _check(outcome: Outcome, axis: int, units: Units) -> None:
    """Raise when the move did not come to rest at its target."""
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
