"""rodbench jog"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_motion
from rodbench.cli.signed import SignedCommand
from rodbench.errors import NeedsPerson, UsageError
from rodbench.settings import amounts

if TYPE_CHECKING:
    from rodbench.board import Axis
    from rodbench.settings.units import Units


@click.command("jog", cls=SignedCommand)
@axis_argument
@click.argument("speed", metavar="[SPEED]", required=False)
@click.option("--for", "duration", metavar="TIME", help='Run for so long, such as "2 s".')
@for_motion
def command(setup: Setup, axis: int, speed: str | None, duration: str | None) -> None:
    """Hold-to-run: the rod runs while you hold a key, or for a set time.

    SPEED: "3 mm/s" or "-0.1 in/s" (minus retracts) once the axis is calibrated; before that a
    share of full output, "20 %", which the board caps at creep. Without SPEED: half of the
    greatest speed, or creep.

    Of two rods that are ganged both move, whichever is named.

    \b
    Keys: right extends, left retracts, up is faster, down slower, space stops,
    q ends. One press is one jog of at most 0.25 s; held, it goes on until the
    key is let go.

    \b
    Example:  rodbench jog 1
              rodbench jog 1 "-3 mm/s" --for "2 s"
    """
    from rodbench.cli.caution import before_motion
    from rodbench.cli.gang import say_both

    units = setup.units()
    with setup.board(f"jog {axis}") as board:
        target = board.axis(axis)
        live = target.settings()
        value = _value(axis, live, speed, units)
        seconds = amounts.seconds(duration) if duration else None
        if seconds is None and speed is not None and value < 0:
            raise UsageError("with keys, left and right give the direction: no minus")
        before_motion(setup, board, axis, live)
        say_both(board, axis)
        if seconds is not None:
            _timed(setup, target, value, live, seconds, units)
        else:
            _by_keys(setup, target, value, live, units)


def usual_value(live: Mapping[str, int]) -> float:
    """Without a SPEED: half of the greatest in mm/s; creep, as a share, while uncalibrated."""
    if live["calibrated"]:
        return live["speed_max_um_s"] / 2000
    return live["creep_output_permille"] / 1000


def _value(axis: int, live: dict[str, int], speed: str | None, units: Units) -> float:
    """mm/s of a calibrated axis, a share of full output else. Raises UsageError."""
    from rodbench.show.where import has_pot

    if not live["calibrated"]:
        if speed is not None and not amounts.is_output(speed):
            why = "is not calibrated" if has_pot(live) else "has a rod without a pot"
            raise UsageError(
                f"axis {axis} {why}: '{speed}' has no meaning{' yet' * has_pot(live)}",
                kept="Nothing moved.",
                hint='a share of full output, for example "20 %"; the board caps it at creep',
            )
        return amounts.output(speed) if speed else usual_value(live)
    if speed is not None and amounts.is_output(speed):
        raise UsageError(
            f"axis {axis} is calibrated: it jogs at a speed, not at an output",
            kept="Nothing moved.",
            hint='for example "3 mm/s"',
        )
    return amounts.speed_mm_s(speed, units.name) if speed else usual_value(live)


def _timed(
    setup: Setup,
    axis: Axis,
    value: float,
    live: dict[str, int],
    seconds: float,
    units: Units,
) -> None:
    from rodbench.cli.endings import raise_fault, rest_words
    from rodbench.cli.gang import first_to_end
    from rodbench.show.where import has_pot
    from rodbench.show.words import ended, ended_word

    pot = has_pot(live)
    with axis.jog(value) if live["calibrated"] else axis.jog_output(value) as motion:
        outcome = motion.wait(seconds) or motion.stop()
    where = rest_words(axis, live, outcome, units)
    data = {**asdict(outcome), "ended": ended_word(outcome.ended)}
    setup.log(axis.board, "jog", value=value, **data)
    first = first_to_end(axis.board, outcome)
    raise_fault(first, units, where if first is outcome else "", pot)
    text = f"axis {axis.number} rests {where}; the jog {ended(outcome.ended, pot)}"
    talk.result(data, text, setup.as_json)


def _by_keys(setup: Setup, axis: Axis, value: float, live: dict[str, int], units: Units) -> None:
    from rodbench.cli.hold import Hold
    from rodbench.cli.keys import keys

    with keys() as terminal:
        if terminal is None:
            raise NeedsPerson(
                "jog by keys needs a terminal",
                kept="Nothing moved.",
                hint=f"for a set time: rodbench jog {axis.number} "
                f'"{"3 mm/s" if live["calibrated"] else "20 %"}" --for "2 s"',
            )
        talk.say(
            f"jog axis {axis.number}: hold right to extend, left to retract; up / down for speed, "
            "space stops, q ends"
        )
        Hold(axis, value, live, terminal, units).run()
    setup.log(axis.board, "jog", axis=axis.number, by="keys", value=value)
    talk.result({"axis": axis.number}, f"axis {axis.number} is at rest", setup.as_json)
