"""What the demo learns of its first rod once it is commissioned, and finds changed later."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.cli.options import Setup

if TYPE_CHECKING:
    from rodbench.board import Board
    from rodbench.record.runs import Run

AXIS = 1
TIGHT_MM, TIGHT_SHARE = (130.0, 150.0), 0.3  # later: more friction there, by so much
_ANSWERS = {
    "accept_table": "accept",
    "hang_weight": "none",
    "motor_turn": "not known",
    "sensor_error": "not known",
}


def straighten(setup: Setup, board: Board) -> None:
    """The pot by a ruler, and its table stored."""
    from rodbench.bench.linearity import sentences
    from rodbench.cli.calibrate import draw_straightness, straightness
    from rodbench.settings import transfer

    setup.ready_answers = {**setup.ready_answers, **_ANSWERS}
    talk.say("\nHow straight is its pot? `rodbench calibrate linearity 1 --plot linearity.png`")
    found = straightness(setup, board, AXIS)
    stroke_mm = board.read_scope(AXIS)["stroke_um"] / 1000
    draw_straightness(setup, AXIS, found, stroke_mm, setup.folder / "linearity.png")
    if found.accepted:
        transfer.push(setup.machine(), board)
        talk.say(f"       {sentences(found, setup.units())[-1]}. Pushed, and stored.")


def judge_motor(setup: Setup, board: Board) -> str:
    """What the motor is worth; its stall current in words."""
    from rodbench.cli.measure import motor_of
    from rodbench.show.motor import sentences

    talk.say("\nWhat is its motor worth? `rodbench measure motor 1`")
    found = motor_of(setup, board, AXIS)
    talk.say("\n".join(sentences(found, setup.units())))
    stall = found.figures["stall_a"]
    return f"{stall.best:.2f} +-{stall.half:.2f} A"


def prove(setup: Setup, board: Board) -> Run:
    """A proof, which later ones are compared with."""
    from rodbench.cli.proof import prove, settle_baseline
    from rodbench.show.proof import table_of

    talk.say("\nA proof: what is required of axis 1, and what it does. `rodbench proof 1`")
    run = prove(setup, board, AXIS)
    settle_baseline(setup, run, asked=False)
    talk.say(table_of(run, setup.units()))
    return run


def look_again(setup: Setup, board: Board, baseline: Run, alone: str) -> list[str]:
    """A later visit: a proof beside the first, and what has changed. `alone` is the machine file
    without the gang."""
    from rodbench.bench.compared import compared
    from rodbench.cli.compare import draw
    from rodbench.cli.proof import prove
    from rodbench.settings import transfer
    from rodbench.show.compare import report, sentences

    assert setup.rig is not None
    setup.rig.plants[AXIS].tighten(*TIGHT_MM, TIGHT_SHARE)
    talk.say(
        "\nA later visit: axis 1 sounds strained. The bar comes off, [gang] out of the machine "
        "file, pushed; `rodbench proof 1` again, its talk left out, then `rodbench compare`:"
    )
    setup.machine_path.write_text(alone, encoding="utf-8")
    transfer.push(setup.machine(), board)
    with talk.hushed():
        later = prove(setup, board, AXIS)
    units, found = setup.units(), compared(baseline, later)
    talk.say(report(baseline, later, found, units))
    draw(setup, baseline, later, found, setup.folder / "compare.png")
    return sentences(found, units)
