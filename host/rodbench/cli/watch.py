"""rodbench watch"""

from __future__ import annotations

import time
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import amounts, talk
from rodbench.cli.options import Setup, for_board
from rodbench.errors import SettingsError

if TYPE_CHECKING:
    from rodbench.board import Board, Sample
    from rodbench.cli.keys import Keys
    from rodbench.show.live import View

TURN_S = 0.05
DRAW_S = 0.1


@click.command("watch")
@click.option("--for", "duration", metavar="SECONDS", help='End after so long, for example "10 s".')
@for_board
def command(setup: Setup, duration: str | None) -> None:
    """Live view: position, current, duty, state and faults, and what to do.

    It only listens: it starts nothing and keeps nothing alive. q ends it. With --json, one JSON
    line for every sample.

    \b
    Example:  rodbench watch
              rodbench watch --json --for "2 s"
    """
    seconds = amounts.seconds(duration) if duration else None
    with setup.board("watch") as board:
        if setup.as_json:
            _stream(board, seconds)
        else:
            _live(setup, board, seconds)


def _stream(board: Board, seconds: float | None) -> None:
    board.subscribe(0.05, 0.5)
    deadline = _deadline(board, seconds)
    while board.clock.now() < deadline:
        for sample in board.poll(TURN_S):
            talk.json_line(_data(sample))


def _data(sample: Sample) -> dict[str, Any]:
    from rodbench.board import AxisSample
    from rodbench.show.words import event_word, fault_names, state

    kind = {"AxisSample": "axis", "BoardSample": "board", "Event": "event"}
    data = {"sample": kind[type(sample).__name__], "time_s": sample.time_s, **asdict(sample)}
    if isinstance(sample, AxisSample):
        data |= {"state": state(sample.state), "faults": fault_names(sample.faults)}
    elif data["sample"] == "event":
        data["kind"] = event_word(int(data["kind"]))
    else:
        data["faults"] = fault_names(int(data["faults"]))
    return data


def _live(setup: Setup, board: Board, seconds: float | None) -> None:
    from rodbench.cli.keys import keys
    from rodbench.show.live import View

    scopes = {number: board.read_scope(number) for number in board.scopes}
    view = View(scopes, _rods(setup), setup.units())
    board.subscribe(0.05, 0.25)
    deadline = _deadline(board, seconds)
    with keys() as terminal, view.shown():
        _loop(board, view, terminal, deadline)


def _rods(setup: Setup) -> dict[int, str | None]:
    """Names of the rods; a machine file that does not hold is no reason not to look."""
    try:
        machine = setup.machine()
    except SettingsError:
        return {}
    return {axis: machine.rod_of(axis) for axis in (1, 2)}


def _loop(board: Board, view: View, terminal: Keys | None, deadline: float) -> None:
    drawn = asked = 0.0
    while board.clock.now() < deadline:
        if terminal is not None and terminal.read(0.0) == "quit":
            return
        for sample in board.poll(TURN_S):
            view.take(sample)
        now = time.monotonic()
        if now - asked > 1.0:
            asked = now
            view.link = board.statistics()
        if now - drawn > DRAW_S:
            drawn = now
            view.draw()


def _deadline(board: Board, seconds: float | None) -> float:
    return float("inf") if seconds is None else board.clock.now() + seconds
