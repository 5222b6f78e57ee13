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
PICTURES = "size.png, move.png, linearity.png, trip.png, compare.png"
_MARK_TEXT = "Made by `rodbench demo`, which may replace this folder. All figures are invented.\n"
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

    Rods are chosen by their data sheets. Each is commissioned; the first one's pot and motor are
    measured, and it is proven. Then both move as one, one of them meets a jam, and the trip is
    cleared. On a later visit another proof tells what has changed. Wiring, report and card come
    last.

    Needs no board: an emulated one runs in this process, faster than real time, with invented
    figures. Makes the folder ./ridge-vent with job, candidates, machine file, logbook, proof runs,
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
    """Choose, commission both axes, measure and prove one, then move both as one; then a jam, and
    how it is cleared; a later visit; and what goes on paper."""
    from rodbench.cli import demo_pair, demo_rod
    from rodbench.cli.demo_papers import papers
    from rodbench.cli.keeper import plain
    from rodbench.show.tables import learned

    units = setup.units()
    picture = setup.folder / "move.png"
    chosen = _choose(setup.folder)
    with setup.board("demo") as board:
        done = _commission(setup, board, 1)
        rest_mm = _move(setup, board, picture)
        demo_rod.straighten(setup, board)
        stall = demo_rod.judge_motor(setup, board)
        proof = demo_rod.prove(setup, board)
        talk.say("\nAxis 2 is commissioned in the same way; its talk is left out.")
        with talk.hushed():
            _commission(setup, board, 2)
        alone = setup.machine().text
        demo_pair.gang(setup, board)
        both_mm = demo_pair.both(setup, board)
        tripped = demo_pair.jam(setup, board)
        changed = demo_rod.look_again(setup, board, proof, alone)
        demo_pair.again(setup, board)
    made = papers(setup)
    text = "\n".join(
        (
            f"these rods would do it: {', '.join(chosen)}",
            learned(plain(done), units),
            f"stall by its motor's figures: {stall}",
            f"a move: rests at {units.length(rest_mm)}",
            f"a proof of axis 1: {'passed' if proof.passed else 'not passed'}",
            f"both as one: rest at {' and '.join(map(units.length, both_mm))}",
            f"a jam: {tripped}",
            f"a later visit: {' '.join(changed)}",
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
        "stall": stall,
        "proof_passed": proof.passed,
        "papers": made,
        "both_mm": both_mm,
        "tripped": tripped,
        "changed": changed,
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
