"""rodbench demo"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, plain_json
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.bench.commission import Done
    from rodbench.board import Board

FOLDER = "ridge-vent"
MARK = "demo.txt"
PICTURES = "size.png, move.png, trip.png"
_MARK_TEXT = "Made by `rodbench demo`, which may replace this folder. All figures are invented.\n"
APART_UM = 6000
JAM_SHARE = 0.4  # of the stroke, on the way back
NEED_S = 90.0  # motor time for the ways that are left
_ANSWERS = {
    "wires": "motor + pot",
    "mounting": "bench",
    "current_sensor_v_per_a": 0.185,
    "fuse_a": 5.0,
    "accept": "accept",
}


@click.command("demo")
@plain_json
def command(setup: Setup) -> None:
    """The main job on an emulated greenhouse vent: choose, learn two rods, limit them, move them.

    Rods are chosen by their data sheets. Each is commissioned, the first one proven; then both move
    as one, one of them meets a jam, and the trip is cleared. Wiring, report and card come last.

    Needs no board: an emulated one runs in this process, faster than real time, with invented
    figures. Makes the folder ./ridge-vent with job, candidates, machine file, logbook, proof run,
    pictures and papers.

    \b
    Example:  rodbench demo
    """
    folder = _folder(Path(FOLDER))
    setup.port, setup.speed = "emulator", "max"
    setup.machine_path = folder / "machine.toml"
    setup.yes = True
    run(setup)


def _folder(folder: Path) -> Path:
    """A fresh demo folder; replaces only one that a demo made. Raises UsageError."""
    from rodbench.cli.new import make

    if folder.exists():
        if not (folder / MARK).is_file():
            raise UsageError(
                f"./{folder} is there already and was not made by a demo",
                kept="Nothing in it was touched.",
                hint="run the demo in another folder, or move that one away",
            )
        talk.say(f"./{folder} is from an earlier demo: made anew.")
        shutil.rmtree(folder)
    make(folder, "ridge vent")
    (folder / MARK).write_text(_MARK_TEXT, encoding="utf-8")
    return folder


def run(setup: Setup) -> None:
    """Choose, commission both axes, move and prove one, then move both as one; then a jam, and how
    it is cleared; then what goes on paper."""
    from rodbench.cli.demo_papers import papers
    from rodbench.cli.keeper import plain
    from rodbench.show.tables import learned

    units = setup.units()
    picture = setup.folder / "move.png"
    chosen = _choose(setup.folder)
    with setup.board("demo") as board:
        done = _commission(setup, board, 1)
        rest_mm = _move(setup, board, picture)
        passed = _prove(setup, board)
        talk.say("\nAxis 2 is commissioned in the same way; its talk is left out.")
        with talk.hushed():
            _commission(setup, board, 2)
        _gang(setup, board)
        both_mm = _both(setup, board)
        tripped = _jam(setup, board)
    made = papers(setup)
    text = "\n".join(
        (
            f"these rods would do it: {', '.join(chosen)}",
            learned(plain(done), units),
            f"a move: rests at {units.length(rest_mm)}",
            f"a proof of axis 1: {'passed' if passed else 'not passed'}",
            f"both as one: rest at {' and '.join(map(units.length, both_mm))}",
            f"a jam: {tripped}",
            f"machine file  {setup.machine_path}",
            f"pictures      {PICTURES}",
            f"on paper      {', '.join(made)}",
        )
    )
    data = {
        "machine": str(setup.machine_path),
        "picture": str(picture),
        "chosen": chosen,
        "rest_mm": rest_mm,
        "proof_passed": passed,
        "papers": made,
        "both_mm": both_mm,
        "tripped": tripped,
    }
    talk.result({**data, **plain(done)}, text, setup.as_json)


def _choose(folder: Path) -> list[str]:
    """Which of some rods would do it, by their data sheets; says why the others would not."""
    from rodbench.cli.size import EXAMPLES, answer_of, draw, write_examples
    from rodbench.show.sizing_text import verdict_lines

    job, candidates = (folder / name for name in EXAMPLES)
    write_examples(folder)
    talk.say(f"Which rod? `rodbench size {' '.join(EXAMPLES)} --plot size.png` in {folder.name}:")
    answer = answer_of(job, candidates)
    draw(answer, folder / "size.png")
    talk.say("\n".join(f"  {line}" for line in verdict_lines(answer)) + "\n")
    return answer.fitting


def _commission(setup: Setup, board: Board, axis: int) -> Done:
    """As a person would, with the emulated rod's own label."""
    from rodbench.cli.commission import run as commission
    from rodbench.emulator.plant_file import default_machine

    rod = default_machine().rods[axis]
    setup.ready_answers = _ANSWERS | {
        "rod": rod.name,
        "retracted_pin_to_pin": "305 mm",
        "extended_pin_to_pin": f"{305 + rod.stroke_mm:g} mm",
    }
    return commission(setup, board, axis)


def _prove(setup: Setup, board: Board) -> bool:
    """A proof of axis 1, which later ones are compared with; whether all was as required."""
    from rodbench.cli.proof import prove, settle_baseline
    from rodbench.show.proof import table_of

    talk.say("\nA proof: what is required of axis 1, and what it does")
    run = prove(setup, board, 1)
    settle_baseline(setup, run, asked=False)
    talk.say(table_of(run, setup.units()))
    return run.passed


def _gang(setup: Setup, board: Board) -> None:
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


def _both(setup: Setup, board: Board) -> list[float]:
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


def _jam(setup: Setup, board: Board) -> str:
    """An obstacle under axis 2 on the way back: what trips, and how it is cleared."""
    from rodbench.cli.endings import raise_fault
    from rodbench.cli.gang import first_to_end
    from rodbench.errors import Faulted

    assert setup.rig is not None
    units, live = setup.units(), board.axis(2).settings()
    place = JAM_SHARE * live["stroke_um"] / 1000
    _rest(board)
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


def _rest(board: Board) -> None:
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


def _move(setup: Setup, board: Board, picture: Path) -> float:
    """A move over most of the way, drawn."""
    from rodbench.board import check_outcome
    from rodbench.show.plot import plot_run
    from rodbench.show.run import Recorder

    axis = board.axis(1)
    live = axis.settings()
    low, high = live["soft_stop_min_um"] / 1000, live["soft_stop_max_um"] / 1000
    target = low + 0.85 * (high - low)
    talk.say(f"\nA move to {target:.1f} mm, drawn in {picture.name}")
    with Recorder(board, 1) as seen, axis.move(target) as motion:
        outcome = check_outcome(motion.finish(120.0))
        board.sleep(0.5)
    setup.log(board, "move", target_mm=target, rest_mm=outcome.position_mm)
    title = f'ridge vent (emulated, figures invented): axis 1 "north" to {target:.1f} mm'
    plot_run(seen, picture, live=live, title=title, units=setup.units())
    return outcome.position_mm
