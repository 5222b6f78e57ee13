"""rodbench level"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_motion
from rodbench.errors import NeedsPerson, ProcedureError

if TYPE_CHECKING:
    from rodbench.board import Axis
    from rodbench.board.gang import Gang
    from rodbench.settings.units import Units


@click.command("level")
@axis_argument
@click.option("--until-level", is_flag=True, help="Run by itself, and stop where both are level.")
@for_motion
def command(setup: Setup, axis: int, until_level: bool) -> None:
    """Move one rod of a gang alone, at creep, until both are level.

    Shows how far this rod is ahead of the other. Hold-to-run by keys, as in `jog`; or, with
    --until-level, by itself until the difference is within the noise. The board stops it at twice
    apart_trip_mm.

    \b
    Pairing two rods, in this order:
      1. commission both, each alone, the bar not fitted
      2. close each: `rodbench move 1 closed`, `rodbench move 2 closed`
      3. [gang] in the machine file, then `rodbench settings push`
      4. still unlinked, bring them level: `rodbench level`
      5. bolt the bar; from now on `move` and `jog` of either move both
    Before anything is learned anew: unbolt the bar, take [gang] out, push.

    \b
    Example:  rodbench level 2
              rodbench level 2 --until-level
    """
    from rodbench.cli.caution import before_motion
    from rodbench.cli.gang import needed

    units = setup.units()
    with setup.board(f"level {axis}") as board:
        target = board.axis(axis)
        gang = needed(board)
        before_motion(setup, board, axis, target.settings())
        if until_level:
            ahead_mm = _until_level(target, gang, units)
        else:
            ahead_mm = _by_keys(target, gang, units)
        how = "itself" if until_level else "keys"
        setup.log(board, "level", axis=axis, by=how, ahead_mm=ahead_mm)
    text = f"axis {axis} is at rest, {ahead_words(axis, ahead_mm, units)}"
    talk.result({"axis": axis, "ahead_mm": ahead_mm}, text, setup.as_json)


def ahead_words(axis: int, ahead_mm: float, units: Units) -> str:
    """`0.4 mm ahead of axis 2`, by share of stroke."""
    word = "ahead of" if ahead_mm >= 0 else "behind"
    return f"{units.length(abs(ahead_mm))} {word} axis {3 - axis}"


def _until_level(axis: Axis, gang: Gang, units: Units) -> float:
    from rodbench.bench.level import run
    from rodbench.cli.endings import raise_fault
    from rodbench.show.words import ended

    done = run(axis, gang)
    if done.outcome is not None:
        raise_fault(done.outcome, units)
    if not done.is_level:
        why = "it moved no nearer" if done.outcome is None else ended(done.outcome.ended)
        raise ProcedureError(
            f"axis {axis.number} is {ahead_words(axis.number, done.ahead_mm, units)}: {why}",
            kept="The rod is at rest.",
            hint=f"by keys: rodbench level {axis.number}; or level the other rod",
        )
    return done.ahead_mm


def _by_keys(axis: Axis, gang: Gang, units: Units) -> float:
    from rodbench.bench.level import ahead_at_rest
    from rodbench.cli.hold import LevelHold
    from rodbench.cli.keys import keys

    live = axis.settings()
    with keys() as terminal:
        if terminal is None:
            raise NeedsPerson(
                "level by keys needs a terminal",
                kept="Nothing moved.",
                hint=f"to let it run by itself: rodbench level {axis.number} --until-level",
            )
        talk.say(
            f"level axis {axis.number}: hold right to extend, left to retract; space stops, q ends"
        )
        LevelHold(axis, live["creep_speed_um_s"] / 1000, live, terminal, units, gang).run()
    return ahead_at_rest(axis, gang)
