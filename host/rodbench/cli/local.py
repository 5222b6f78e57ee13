"""rodbench local"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_board
from rodbench.errors import Refused, SettingsError, UsageError

if TYPE_CHECKING:
    from rodbench.board import Axis, Board
    from rodbench.cli.keys import Keys
    from rodbench.show.local import Reading

LOOK_S = 0.1
FULL = 65535  # a place on the wire: the whole stroke


@click.command("local")
@axis_argument
@click.option("--take", is_flag=True, help="The host commands this axis from now on.")
@click.option("--give-back", is_flag=True, help="Its input commands again, once seen at rest.")
@click.option(
    "--button",
    nargs=2,
    metavar="extend|retract PLACE",
    type=(click.Choice(["extend", "retract"]), str),
    help='Let a button name a place: a position\'s name, "30 deg", "50 %".',
)
@for_board
def command(
    setup: Setup, axis: int, take: bool, give_back: bool, button: tuple[str, str] | None
) -> None:
    """Show what the board reads from an axis's local input, and who commands it.

    At a terminal it goes on showing until q. An axis with buttons, a stick or a servo pulse belongs
    to that input from the start of the board, without a computer. The host takes the axis with
    --take; after 10 s without a word of this computer, at rest, the input has it again. Moving
    begins only after the input was seen at rest. `rodbench calibrate inputs` sets the input up.

    The board stops both buttons at once; a stop or a fault wants the input at rest anew. None of
    this is an emergency stop.

    \b
    Example:  rodbench local 1
              rodbench local 1 --take
              rodbench local 1 --button extend open
    """
    if take + give_back + bool(button) > 1:
        raise UsageError("one of --take, --give-back and --button at a time")
    with setup.board(f"local {axis}") as board:
        target = board.axis(axis)
        supported(board)
        if button:
            _name(setup, target, *button)
        elif take or give_back:
            _hand(setup, target, take)
        else:
            _show(setup, board, target)


def supported(board: Board) -> None:
    """Raises Refused for a board that reads none."""
    from rodbench_protocol.names import Features

    if not board.hello.features & Features.LOCAL_CONTROL:
        raise Refused(
            "this board reads no local inputs",
            kept="nothing changed on the board",
            hint="its firmware is older, or was built without them",
        )


def _hand(setup: Setup, axis: Axis, take: bool) -> None:
    number = axis.number
    if not take and not axis.settings()["local_source"]:
        raise UsageError(
            f"axis {number} has no local input to give it back to",
            hint=f"rodbench calibrate inputs {number}",
        )
    axis.take() if take else axis.give_back()
    who = "host" if take else "local"
    setup.log(axis.board, "hand-over", axis=number, commander=who)
    text = f"the host commands axis {number}; 10 s after its last word the input has it again"
    if not take:
        text = f"axis {number} belongs to its input again, once that was seen at rest"
    talk.result({"axis": number, "commander": who}, text, setup.as_json)


def _show(setup: Setup, board: Board, axis: Axis) -> None:
    from rodbench.cli.keys import keys

    board.subscribe(0.05, 0.05)
    live = axis.settings()
    reading = _read(board, axis, live)
    with keys() as terminal:
        if terminal is not None and not setup.as_json:
            reading = _live(board, axis, live, reading, terminal)
    talk.result(asdict(reading), reading.text, setup.as_json)


def _live(
    board: Board, axis: Axis, live: dict[str, int], reading: Reading, terminal: Keys
) -> Reading:
    shown = ""
    while terminal.read(0.0) != "quit":
        reading = _read(board, axis, live)
        if reading.text != shown:
            shown = reading.text
            talk.say(shown)
    return reading


def _read(board: Board, axis: Axis, live: dict[str, int]) -> Reading:
    from rodbench.show.local import look

    board.sleep(LOOK_S)
    while board.last_board is None or axis.number not in board.last_axis:
        board.sleep(LOOK_S)
    return look(axis.number, live, board.last_axis[axis.number], board.last_board)


def _name(setup: Setup, axis: Axis, button: str, text: str) -> None:
    from rodbench.settings.target import find

    live = axis.settings()
    if not live["calibrated"]:
        raise SettingsError(
            f"axis {axis.number} is not calibrated: a place means nothing yet",
            kept="nothing changed",
            hint=f"rodbench commission {axis.number}",
        )
    place = find(setup.machine_or_error(), axis.number, text, live, setup.units())
    if not place.way.holds(place.mm):
        stops = place.units.span(place.way.low_mm, place.way.high_mm)
        raise UsageError(f"{place.said}: the soft stops are at {stops}", kept="nothing changed")
    wire = round(place.mm * 1000 / live["stroke_um"] * FULL)
    axis.board.write_scope(axis.number, {f"local_place_{button}": wire}, store=True)
    if setup.has_machine:
        machine = setup.machine()
        machine.put(
            axis.number, {f"local_place_{button}": wire}, {f"local_place_{button}": place.said}
        )
        machine.save()
    setup.log(axis.board, "button", axis=axis.number, button=button, place=place.said)
    talk.result(
        {"axis": axis.number, "button": button, "mm": round(place.mm, 3)},
        f"the {button} button of axis {axis.number} names {place.shown()}: stored",
        setup.as_json,
    )
