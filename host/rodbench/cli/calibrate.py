"""rodbench calibrate current | polarity | endpoints | speed | linearity | supply | inputs"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, axis_argument, for_procedure

if TYPE_CHECKING:
    from rodbench.bench.linearity import Linearity
    from rodbench.bench.polarity import Polarity
    from rodbench.bench.two_wires_direction import SeenDirection
    from rodbench.board import Board


@click.group("calibrate")
def command() -> None:
    """One step of learning, in this order: current, polarity, endpoints, speed.

    linearity once the axis is calibrated; supply and inputs at any time.

    Each of the first four takes the axis out of use first (uncalibrated). What was found is left in
    force until reset, and in the machine file; `rodbench settings push` stores it. `commission`
    does these four in a row. Any key stops the rod.

    \b
    Example:  rodbench calibrate polarity 1
    """


@command.command("current")
@axis_argument
@for_procedure
def current(setup: Setup, axis: int) -> None:
    """Sensors at rest: noise of the pot, zero of the current. Nothing moves.

    \b
    Example:  rodbench calibrate current 1
    """
    from rodbench.bench import current as procedure
    from rodbench.cli import steps

    with setup.board(f"calibrate current {axis}") as board, steps.job(setup, board, axis) as job:
        found = procedure.measure(job)
        steps.keep(setup, job, "current", found)
    steps.show(setup, "current", axis, found)


@command.command("polarity")
@axis_argument
@for_procedure
def polarity(setup: Setup, axis: int) -> None:
    """Which way is out: two short runs at creep, and what you saw.

    \b
    Example:  rodbench calibrate polarity 1
    """
    from rodbench.bench import current as sensors
    from rodbench.bench import edge, two_wires_direction
    from rodbench.bench import polarity as procedure
    from rodbench.cli import steps, two_wires

    with setup.board(f"calibrate polarity {axis}") as board, steps.job(setup, board, axis) as job:
        _consent(job, "The rod makes two short runs at creep.")
        at_rest = sensors.measure(job)
        found: Polarity | SeenDirection
        if two_wires.is_for(job):
            found = two_wires_direction.find(job, at_rest, third_look=at_rest.sensor is None)
        else:
            at_rest = edge.leave(job, at_rest, job.live["stroke_um"] / 1000)
            found = procedure.find(job, at_rest)
        steps.keep(setup, job, "polarity", found)
    steps.show(setup, "polarity", axis, found)


@command.command("endpoints")
@axis_argument
@click.option("--by-hand", is_flag=True, help="A mounted rod: you show its working ends, at creep.")
@for_procedure
def endpoints(setup: Setup, axis: int, by_hand: bool) -> None:
    """Where the ends are, and how the travel ends there.

    Three approaches each, all at creep. Of a rod without a pot the time from end to end is taken,
    at full output, twice each way. For a rod that is free on the bench. Needs `calibrate polarity`
    before.

    With --by-hand nothing is sought: you bring the rod to each working end of the machine with the
    arrow keys. The rod's own ends stay where the bench has found them.

    \b
    Example:  rodbench calibrate endpoints 1
              rodbench calibrate endpoints 1 --by-hand
    """
    from rodbench.bench import cautions
    from rodbench.bench import current as sensors
    from rodbench.bench import endpoints as procedure
    from rodbench.bench.polarity import Polarity
    from rodbench.cli import steps, two_wires

    with setup.board(f"calibrate endpoints {axis}") as board, steps.job(setup, board, axis) as job:
        if by_hand:
            if two_wires.is_for(job):
                raise two_wires.refusal(job, "a place that is shown could not be found again")
            _consent(job, "The rod creeps while you hold a key.", cautions.CRUSH_MOUNTED)
            steps.show(setup, "endpoints", axis, steps.shown_by_hand(setup, job))
            return
        if two_wires.is_for(job):
            _consent(job, "The rod runs from end to end, at creep and then at full output.")
            strokes = two_wires.endpoints(setup, job)
            steps.show(setup, "endpoints", axis, strokes)
            return
        way = steps.recall(setup, axis, "polarity", Polarity, "rodbench calibrate polarity")
        _consent(job, "The rod creeps from end to end, three times each.")
        at_rest = sensors.measure(job)
        stroke_mm = job.live["stroke_um"] / 1000
        found = procedure.find(job, at_rest, way, stroke_mm)
        steps.keep(setup, job, "current", at_rest)
        steps.keep(setup, job, "endpoints", found)
    steps.show(setup, "endpoints", axis, found)


@command.command("speed")
@axis_argument
@for_procedure
def speed(setup: Setup, axis: int) -> None:
    """Full speed, current, dead zone and run-on, twice each way.

    Needs `calibrate endpoints` before, with its provisional soft stops still in force.

    \b
    Example:  rodbench calibrate speed 1
    """
    from rodbench.bench import speed as procedure
    from rodbench.bench.current import AtRest
    from rodbench.bench.endpoints import Endpoints
    from rodbench.cli import steps, two_wires

    with setup.board(f"calibrate speed {axis}") as board, steps.job(setup, board, axis) as job:
        if two_wires.is_for(job):
            raise two_wires.no_speed(job)
        at_rest = steps.recall(setup, axis, "current", AtRest, "rodbench calibrate current")
        ends = steps.recall(setup, axis, "endpoints", Endpoints, "rodbench calibrate endpoints")
        _consent(job, "The rod runs at full speed.")
        found = procedure.measure(job, at_rest, ends)
        steps.keep(setup, job, "speed", found)
    steps.show(setup, "speed", axis, found)


@command.command("linearity")
@axis_argument
@click.option(
    "--stops",
    default=8,
    type=click.IntRange(3, 40),
    show_default=True,
    help="Places along the way.",
)
@click.option(
    "--rounds",
    default=2,
    type=click.IntRange(2, 10),
    show_default=True,
    help="How often each is read from either side.",
)
@click.option("--plot", metavar="FILE", type=click.Path(path_type=Path), help="Draw it as PNG.")
@for_procedure
def linearity(setup: Setup, axis: int, stops: int, rounds: int, plot: Path | None) -> None:
    """How straight the pot is, by your ruler or caliper.

    The rod stops at some places between the soft stops, from either side, and you read pin to pin
    at each. Says linearity as pot makers define it, repeatability and backlash, each with its
    uncertainty, and proposes a table for the board where that is worth it. An accepted table is
    in force until reset, and in the machine file; `rodbench settings push` stores it. Any key stops
    the rod.

    \b
    Example:  rodbench calibrate linearity 1 --plot linearity.png
    """
    from rodbench.bench import linearity as procedure
    from rodbench.cli.keeper import plain

    with setup.board(f"calibrate linearity {axis}") as board:
        found = straightness(setup, board, axis, stops=stops, rounds=rounds)
        stroke_mm = board.read_scope(axis)["stroke_um"] / 1000
    if plot is not None:
        draw_straightness(setup, axis, found, stroke_mm, plot)
    data = {"step": "linearity", "axis": axis, "found": plain(found)}
    talk.result(data, "\n".join(procedure.sentences(found, setup.units())), setup.as_json)


def straightness(
    setup: Setup, board: Board, axis: int, *, stops: int = 8, rounds: int = 2
) -> Linearity:
    """The pot of an axis by a ruler, on an open board; kept."""
    from rodbench.bench import cautions
    from rodbench.bench import linearity as procedure
    from rodbench.bench.label import pin_to_pin
    from rodbench.cli import steps, two_wires

    with steps.job(setup, board, axis) as job:
        if two_wires.is_for(job):
            raise two_wires.refusal(job, "there is no pot to look at")
        _consent(
            job,
            "The rod moves between its soft stops, and stands while you measure.",
            f"{cautions.CRUSH_MOUNTED} Measure with the rod at rest, hands away before you answer: "
            "it goes on at once.",
        )
        retracted_mm = _retracted_mm(setup, axis) or pin_to_pin(
            job, "retracted_pin_to_pin", "Pin to pin, fully retracted"
        )
        found = procedure.measure(job, retracted_mm, stops=stops, rounds=rounds)
        steps.keep(setup, job, "linearity", found)
    return found


def _retracted_mm(setup: Setup, axis: int) -> float | None:
    """Pin to pin of the retracted rod, where the machine file knows it."""
    machine = setup.machine()
    rod = machine.rod_of(axis)
    known = None if rod is None else machine.host("retracted_pin_to_pin_mm", ("rods", rod))
    return None if known is None else float(known)


def draw_straightness(
    setup: Setup, axis: int, found: Linearity, stroke_mm: float, path: Path
) -> None:
    """The picture, where it can be written."""
    from rodbench.cli.pictures import if_it_can_be
    from rodbench.show.linearity_plot import Picture, plot

    rod = setup.machine().rod_of(axis)
    title = f'axis {axis} "{rod}": independent linearity {found.independent_percent:.2f} %'
    state = f"table, {'in force' if found.accepted else 'proposed'}" if found.worth else ""
    seen = Picture(
        found.position_mm,
        found.deviation_mm,
        found.deviation_error_mm,
        [(0.0, 0.0), *found.table_line, (stroke_mm, 0.0)],
        state,
    )
    with if_it_can_be():
        plot(seen, path, title=title, units=setup.units())


@command.command("supply")
@for_procedure
def supply(setup: Setup) -> None:
    """The motor supply by your meter, and limits to watch it.

    Asks for two readings: the board's own 5 V pin, and the motor supply. Until then the board takes
    the nominal supply and watches none. Nothing moves, but motor power is on.

    \b
    Example:  rodbench calibrate supply
    """
    from rodbench.bench import supply as procedure
    from rodbench.cli import steps

    with setup.board("calibrate supply") as board, steps.answers(setup, board) as asker:
        found = procedure.calibrate(board, asker, talk.say)
        steps.keep_board(setup, board, "supply", found)
    steps.show(setup, "supply", 0, found)


@command.command("inputs")
@axis_argument
@for_procedure
def inputs(setup: Setup, axis: int) -> None:
    """Buttons, stick or pulse: what the board reads of them.

    Nothing moves. The input then stands in force and in the machine file; `rodbench settings push`
    stores it. From then on, once this computer was silent for 10 s, and from each start of the
    board, the input commands the axis as soon as it was seen at rest: a rod that a button can start
    wants a guard, and a switch that cuts motor power.

    \b
    Example:  rodbench calibrate inputs 1
    """
    from rodbench.bench import inputs as procedure
    from rodbench.cli import local, steps

    with setup.board(f"calibrate inputs {axis}") as board, steps.job(setup, board, axis) as job:
        local.supported(board)
        found = procedure.find(job)
        steps.keep(setup, job, "inputs", found)
    steps.show(setup, "inputs", axis, found)


def _consent(job: object, what: str, caution: str | None = None) -> None:
    """The caution before a step. Raises NeedsPerson, or UsageError when it was not accepted."""
    from rodbench.bench import cautions
    from rodbench.bench.guarded import not_guarded
    from rodbench.bench.job import Job
    from rodbench.errors import UsageError

    assert isinstance(job, Job)
    talk.say(not_guarded(job.board_live, job.live))
    talk.say(caution or cautions.CRUSH)
    if not job.asker.accept(cautions.creep(what)):
        raise UsageError("the caution was not accepted", kept="Nothing moved.")
