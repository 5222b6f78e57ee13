"""rodbench trips"""

from __future__ import annotations

import contextlib
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_board
from rodbench.errors import RodbenchError, UsageError

if TYPE_CHECKING:
    from rodbench.board import BlackBox, Board, Trip
    from rodbench.settings.units import Units


@click.command("trips")
@click.argument("axis", type=click.IntRange(0, 2), metavar="[AXIS]", required=False)
@click.option("--last", is_flag=True, help="The last trip alone, and its black box as a picture.")
@click.option(
    "--plot",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="With --last: where the picture goes; else trip-NUMBER.png here.",
)
@for_board
def command(setup: Setup, axis: int | None, last: bool, plot: Path | None) -> None:
    """Why it stopped: the last trips, oldest first, and what each axis has done in all.

    The board keeps its last eight trips through power cuts; those that the logbook has not yet go
    into it. AXIS: trips of one axis only, 0 for those of the board itself.

    With --last: position, current and output of the last 0.3 s before the trip, which the board
    keeps until its power is cut or the next motion begins.

    \b
    Example:  rodbench trips
              rodbench trips 1 --last --plot jam.png
    """
    if plot is not None and not last:
        raise UsageError("--plot draws the last trip's black box: add --last")
    units = setup.units()
    with setup.board("trips") as board:
        found = board.trips()
        remember(setup, board, found)
        shown = [trip for trip in found if axis in (None, trip.axis)]
        shown = shown[-1:] if last else shown
        data: dict[str, Any] = {"trips": [told(trip) for trip in shown]}
        if last:
            lines = _last(board, shown, plot, units, data)
        else:
            lines = _all(board, shown, axis, units, data)
    talk.result(data, "\n".join(lines), setup.as_json)


def told(trip: Trip) -> dict[str, Any]:
    """A trip for JSON and the logbook: its fault by name."""
    from rodbench.show.words import fault_name

    return {**asdict(trip), "fault": fault_name(trip.fault)}


def remember(setup: Setup, board: Board, trips: list[Trip]) -> None:
    """New trips go into the logbook, where there is one."""
    from rodbench.record.trips import note_new

    if not setup.has_machine or not trips:
        return
    digest = None
    with contextlib.suppress(RodbenchError):
        digest = board.digests()["live"]
    note_new(setup.logbook(), board.ask_hello().board_id, [told(trip) for trip in trips], digest)


def _pots(board: Board) -> dict[int, bool]:
    """Whether each fitted axis's rod has a pot."""
    from rodbench.show.where import has_pot

    scopes = {number: board.read_scope(number) for number in board.scopes[1:]}
    return {number: has_pot(live) for number, live in scopes.items() if live["feedback"]}


def _all(
    board: Board, trips: list[Trip], axis: int | None, units: Units, data: dict[str, Any]
) -> list[str]:
    from rodbench.show.trips import totals_sentence, trip_sentence

    pots = _pots(board)
    lines = [trip_sentence(trip, units, pots.get(trip.axis, True)) for trip in trips]
    totals = {number: board.totals(number) for number in pots if axis in (None, number)}
    data["totals"] = [asdict(each) for each in totals.values()]
    said = [totals_sentence(each, units, pots[number]) for number, each in totals.items()]
    return [*(lines or ["no trip is kept"]), *said]


def _last(
    board: Board, trips: list[Trip], plot: Path | None, units: Units, data: dict[str, Any]
) -> list[str]:
    from rodbench.show.trips import GONE, plot_box, trip_sentence

    data |= {"black_box": None, "plot": None}
    if not trips:
        return ["no trip is kept"]
    trip, pots = trips[-1], _pots(board)
    lines = [trip_sentence(trip, units, pots.get(trip.axis, True))]
    number = trip.axis or min(pots, default=1)
    box = board.black_box(number)
    if box is None:
        return [*lines, GONE]
    path = plot or Path(f"trip-{trip.number}.png")
    title = _title(box, trip)
    plot_box(box, path, live=board.read_scope(number), title=title, units=units)
    data |= {"black_box": asdict(box), "plot": str(path)}
    return [*lines, f"{title}: {path}"]


def _title(box: BlackBox, trip: Trip) -> str:
    """Of several trips at once the box is frozen by the first, which need not be the last."""
    from rodbench.show.words import fault_name

    of = "the board" if not box.trip_axis else f"axis {box.trip_axis}"
    what = f"{of}: {fault_name(box.trip_fault).replace('_', ' ')}"
    same = (box.trip_axis, box.trip_fault) == (trip.axis, trip.fault)
    which = f"trip {trip.number}" if same else "an earlier trip"
    return f"axis {box.axis}, the last 0.3 s before {which} ({what})"
