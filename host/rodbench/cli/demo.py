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
    from rodbench.board import Board

FOLDER = "ridge-vent"
MARK = "demo.txt"
_MARK_TEXT = "Made by `rodbench demo`, which may replace this folder. All figures are invented.\n"
_ANSWERS = {
    "rod": "north",
    "wires": "motor + pot",
    "mounting": "bench",
    "current_sensor_v_per_a": 0.185,
    "fuse_a": 5.0,
    "accept": "accept",
}


@click.command("demo")
@plain_json
def command(setup: Setup) -> None:
    """The main job on an emulated greenhouse vent: learn a rod, limit it, move it.

    Needs no board: an emulated one runs in this process, faster than real time, with invented
    figures. Makes the folder ./ridge-vent with machine file, logbook and one picture of the move.

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
    """Commission axis 1, move it, and show what came out."""
    from rodbench.cli.commission import run as commission
    from rodbench.cli.keeper import plain
    from rodbench.show.tables import learned

    setup.ready_answers = dict(_ANSWERS) | _pin_to_pin()
    units = setup.units()
    picture = setup.folder / "move.png"
    with setup.board("demo") as board:
        done = commission(setup, board, 1)
        rest_mm = _move(setup, board, picture)
    text = "\n".join(
        (
            learned(plain(done), units),
            f"a move: rests at {units.length(rest_mm)}",
            f"machine file  {setup.machine_path}",
            f"picture       {picture.relative_to(Path.cwd())}",
        )
    )
    data = {"machine": str(setup.machine_path), "picture": str(picture), "rest_mm": rest_mm}
    talk.result({**data, **plain(done)}, text, setup.as_json)


def _pin_to_pin() -> dict[str, object]:
    """What the label of the emulated rod says: its own stroke."""
    from rodbench.emulator.plant_file import default_machine

    stroke = default_machine().rods[1].stroke_mm
    return {"retracted_pin_to_pin": "305 mm", "extended_pin_to_pin": f"{305 + stroke:g} mm"}


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
