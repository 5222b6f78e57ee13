"""rodbench watch"""

from __future__ import annotations

import contextlib
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_motion
from rodbench.errors import NeedsPerson, SettingsError, UsageError
from rodbench.settings import amounts

if TYPE_CHECKING:
    from rodbench.board import Board, Sample
    from rodbench.cli.keys import Keys
    from rodbench.show.live import View

TURN_S = 0.05


@click.command("watch")
@click.option("--for", "duration", metavar="TIME", help='End after so long, such as "10 s".')
@click.option("--jog", is_flag=True, help="With jog keys from the start; the caution comes first.")
@for_motion
def command(setup: Setup, duration: str | None, jog: bool) -> None:
    """Live view: both rods, currents, duty, heat, faults and what to do, who commands.

    It only listens, starts nothing and keeps nothing alive, until you ask for the jog keys. With
    --json, one JSON line for every sample.

    \b
    Keys: space stops all axes, whoever commands them; q ends the view and
    stops nothing but what these keys moved. j asks for the jog keys: the
    caution comes first, then right extends, left retracts while you hold it,
    up is faster, down slower, 1 and 2 choose the axis, j gives them up. While
    a rod runs by them, any other key stops it, as a signal or a closed
    terminal does.

    \b
    Position   0 ==== # end of the rod, [ ] soft stops, > < where the ramp is
    Current    the last seconds, full height is the trip, T reached it

    NO_COLOR leaves out colour; on a terminal that cannot be drawn over
    (TERM=dumb) it adds a line whenever something changes.

    \b
    Example:  rodbench watch
              rodbench watch --jog
              rodbench watch --json --for "2 s"
    """
    seconds = amounts.seconds(duration) if duration else None
    if not setup.as_json:
        _live(setup, seconds, jog)
        return
    if jog:
        raise UsageError("--json only listens: no jog keys beside it")
    with setup.board("watch") as board:
        _stream(board, seconds)


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


def _live(setup: Setup, seconds: float | None, jog: bool) -> None:
    from rodbench.cli.keys import keys
    from rodbench.cli.screen import opened
    from rodbench.cli.watch_loop import Watch

    with contextlib.ExitStack() as stack:
        board = stack.enter_context(setup.board("watch"))
        view = _view(setup, board)
        deadline = _deadline(board, seconds)
        with keys() as terminal:
            if jog:
                _consent(setup, board, terminal)
            with opened(view) as screen:
                watch = Watch(setup, stack, board, screen, terminal)
                if jog:
                    watch.jog.on()
                watch.run(deadline)


def _consent(setup: Setup, board: Board, terminal: Keys | None) -> None:
    """The caution before anything can move, as the other commands say it."""
    from rodbench.cli.caution import consent

    if terminal is None:
        raise NeedsPerson(
            "jog by keys needs a terminal",
            kept="Nothing moved.",
            hint="without --jog it only watches",
        )
    with terminal.cooked():
        consent(setup, board, 0)


def _view(setup: Setup, board: Board) -> View:
    from rodbench.show.live import View

    scopes = {number: board.read_scope(number) for number in board.scopes}
    title, rods = _names(setup)
    return View(scopes, rods, setup.units(), title)


def _names(setup: Setup) -> tuple[str, dict[int, str | None]]:
    """Of machine and rods; a machine file that does not hold is no reason not to look."""
    try:
        machine = setup.machine()
    except SettingsError:
        return setup.port_name(), {}
    title = f"{machine.name}   {setup.port_name()}"
    return title, {axis: machine.rod_of(axis) for axis in (1, 2)}


def _deadline(board: Board, seconds: float | None) -> float:
    return float("inf") if seconds is None else board.clock.now() + seconds
