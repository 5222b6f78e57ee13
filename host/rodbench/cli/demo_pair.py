"""The demo's two rods as one: paired, moved, jammed, cleared."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.cli.options import Setup

if TYPE_CHECKING:
    from rodbench.board import Board

APART_UM = 6000
JAM_SHARE = 0.4  # of the stroke, on the way back
NEED_S = 90.0  # motor time for the ways that are left


def gang(setup: Setup, board: Board) -> None:
    """In the order that `level` tells: close each, gang, level, bolt the bar."""
    from rodbench.bench import level
    from rodbench.board import check_outcome
    from rodbench.cli.gang import PAIRING, needed
    from rodbench.cli.level import ahead_words
    from rodbench.settings import transfer

    low_mm = max(board.axis(axis).settings()["soft_stop_min_um"] for axis in (1, 2)) / 1000 + 1
    talk.say(f"\nTwo rods as one: close each, at {low_mm:.1f} mm, then [gang] in the machine file")
    for axis in (1, 2):
        with board.axis(axis).move(low_mm) as motion:
            check_outcome(motion.finish(120.0))
    machine = setup.machine()
    with machine.changing():
        machine.put_host(("gang",), "axes", [1, 2])
        machine.put(0, {"apart_trip_um": APART_UM})
    transfer.push(machine, board)
    machine.save()
    talk.say(f"note: {PAIRING}")
    done = level.run(board.axis(2), needed(board))
    talk.say(f"level: axis 2 is {ahead_words(2, done.ahead_mm, setup.units())}. Bolt the bar.")
    setup.log(board, "level", axis=2, by="itself", ahead_mm=done.ahead_mm)


def again(setup: Setup, board: Board) -> None:
    """As before the bar came off."""
    assert setup.rig is not None
    setup.rig.plants[1].tighten(0.0, 0.0, 0.0)
    rest(board)
    talk.say("The guide is cleaned, and the rods are paired as before: [gang], push, level, bar.")
    with talk.hushed():
        gang(setup, board)


def both(setup: Setup, board: Board) -> list[float]:
    """One move of both; where each rests."""
    from rodbench.board import check_outcome
    from rodbench.cli.gang import say_both

    live = board.axis(1).settings()
    target = 0.8 * live["stroke_um"] / 1000
    say_both(board, 1)
    with board.axis(1).move(target) as motion:
        outcome = check_outcome(motion.finish(120.0))
    setup.log(board, "move", target_mm=target, rest_mm=outcome.position_mm)
    return [board.axis(axis).sample().position_mm or 0.0 for axis in (1, 2)]


def jam(setup: Setup, board: Board) -> str:
    """An obstacle under axis 2 on the way back: what trips, and how it is cleared."""
    from rodbench.cli.endings import raise_fault
    from rodbench.cli.gang import first_to_end
    from rodbench.errors import Faulted

    assert setup.rig is not None
    units, live = setup.units(), board.axis(2).settings()
    place = JAM_SHARE * live["stroke_um"] / 1000
    rest(board)
    talk.say(f"\nA flower box stands in the way of axis 2, at {units.length(place)}; both close.")
    setup.rig.set_fault("jam", axis=2, value=place)
    with board.axis(1).move(0.1 * live["stroke_um"] / 1000) as motion:
        outcome = first_to_end(board, motion.finish(120.0))
    try:
        raise_fault(outcome, units)
    except Faulted as fault:
        talk.say(f"{fault.message}\n{fault.kept}\nTo do: {fault.hint}")
        tripped = fault.message
    _show_trip(setup, board)
    setup.rig.clear_fault("jam", axis=2)
    names = _cleared(board)
    talk.say(f"The flower box is taken away. Cleared: {names}.")
    setup.log(board, "clear", axis=0, faults=names.split(", "))
    with board.axis(1).move(0.1 * live["stroke_um"] / 1000) as motion:
        motion.finish(120.0)
    talk.say("Both are closed.")
    return tripped


def _show_trip(setup: Setup, board: Board) -> None:
    """What the board keeps of it, into the logbook; and its last 0.3 s."""
    from rodbench.cli.trips import remember
    from rodbench.show.trips import plot_box, trip_sentence

    trips, picture = board.trips(), setup.folder / "trip.png"
    remember(setup, board, trips)
    talk.say(f"Trip log: {trip_sentence(trips[-1], setup.units())}")
    box = board.black_box(2)
    assert box is not None
    live = board.axis(2).settings()
    title = 'ridge vent (emulated, figures invented): axis 2 "south" before the trip'
    plot_box(box, picture, live=live, title=title, units=setup.units())
    talk.say(f"Black box: its last 0.3 s, drawn in {picture.name}")


def rest(board: Board) -> None:
    """Until both motors may run for long enough again."""
    said = False
    board.subscribe(0.0, 1.0)
    while not board.last_board or min(board.last_board.duty_left_s) < NEED_S:
        if board.last_board and not said:
            said = True
            talk.say(f"Resting until {NEED_S:.0f} s of motor time may be spent on each axis.")
        board.sleep(5.0)


def _cleared(board: Board) -> str:
    from rodbench.show.words import fault_names

    return ", ".join(name.replace("_", " ") for name in fault_names(board.clear(0)))
