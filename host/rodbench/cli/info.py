"""rodbench info"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_board
from rodbench.settings import amounts

if TYPE_CHECKING:
    from rodbench.board import Board, BoardSample
    from rodbench.settings.units import Units

BOARD_PERIOD_S = 0.25  # more than one period of the board's own telemetry


@click.command("info")
@click.option(
    "--off-for",
    metavar="TIME",
    help='Tell the board how long it was without power ("2 h"); it cannot know. Once, before '
    "anything moves. Say no more than is sure: else the motor is warmer than the board reckons.",
)
@for_board
def command(setup: Setup, off_for: str | None) -> None:
    """Who is on the port: versions, reset cause, digests, counters, link; where its rods are, duty
    left and heat, and which faults stand.

    Opening a port may restart the board; nothing moves.

    \b
    Example:  rodbench info --port emulator
    """
    off_s = None if off_for is None else amounts.seconds(off_for)
    with setup.board("info") as board:
        if off_s is not None:
            board.credit_off(off_s)
            setup.log(board, "power off", off_s=off_s)
            board.watch(BOARD_PERIOD_S)  # what it reckons from now on
        found: dict[str, Any] = {
            "hello": asdict(board.ask_hello()),
            "digests": board.digests(),
            "counters": board.counters(),
            "link": asdict(board.statistics()),
            "board": _board(board),
            "axes": _axes(board, setup.units()),
        }
    talk.result(found, _text(found), setup.as_json)


def _board(board: Board) -> dict[str, Any]:
    """Supply, inputs and the board's own faults, in a sentence each."""
    from rodbench.show.words import fault_names, fault_sentence

    if board.last_board is None:
        board.watch(BOARD_PERIOD_S)
    sample = board.last_board
    if sample is None:
        return {"faults": [], "to_do": []}
    names = fault_names(sample.faults)
    data = {**asdict(sample), "faults": names}
    return {**data, "to_do": [fault_sentence(name) for name in names]}


def _axes(board: Board, units: Units) -> list[dict[str, Any]]:
    """The axes that have a rod, and where it is as far as anything tells."""
    from rodbench.show.where import has_pot, where
    from rodbench.show.words import fault_names, fault_sentence, state

    found = []
    for number in range(1, board.hello.axis_count + 1):
        axis = board.axis(number)
        live = axis.settings()
        if live["feedback"]:
            sample = axis.sample()
            place = where(sample, live, units)
            without = "" if has_pot(live) else ", two wires, no pot"
            raw = "" if sample.calibrated or without else ", not calibrated"
            said = f"{state(sample.state)}, {place}{without}{raw}"
            names = fault_names(sample.faults)
            to_do = [fault_sentence(name, number, has_pot(live)) for name in names]
            found.append(
                {"axis": number, "state": state(sample.state), "said": said, "faults": names}
                | {"to_do": to_do, **_spent(board.last_board, number, live.get("rated_ma", 0))}
            )
    return found


def _spent(sample: BoardSample | None, axis: int, rated_ma: int) -> dict[str, float]:
    """Duty and heat as far as the board tells them."""
    if sample is None:
        return {}
    found = {"duty_left_s": sample.duty_left_s[axis - 1]}
    if sample.duty_ready_s is not None:
        found["duty_ready_s"] = sample.duty_ready_s[axis - 1]
    if sample.heat is not None and rated_ma:
        found["heat"] = sample.heat[axis - 1]
    return found


def _axis_lines(axis: dict[str, Any]) -> list[str]:
    said = f"  axis {axis['axis']}       {axis['said']}"
    return [said, *_spent_lines(axis), *(f"  ! {sentence}" for sentence in axis["to_do"])]


def _spent_lines(axis: dict[str, Any]) -> list[str]:
    from rodbench.settings.units import minutes

    if "duty_left_s" not in axis:
        return []
    said = f"duty left {minutes(axis['duty_left_s'])}"
    if axis.get("duty_ready_s"):
        said += f", all of it after {minutes(axis['duty_ready_s'])} of rest"
    if "heat" in axis:
        said += f"; motor at {100 * axis['heat']:.0f} % of its rated heat"
    return [f"               {said}"]


def _text(found: dict[str, Any]) -> str:
    from rodbench.show.words import reset_cause

    hello, digests, counters = found["hello"], found["digests"], found["counters"]
    stored = (
        f"{digests['stored']:08X}" if digests["stored"] else "none: the next start has defaults"
    )
    same = "" if digests["stored"] in (0, digests["live"]) else "   (not what is in force)"
    lines = [
        f"{hello['name']} {hello['firmware']}, protocol {hello['protocol_major']}."
        f"{hello['protocol_minor']}, {hello['axis_count']} axes",
        f"  started by   {reset_cause(hello['reset_cause'])}",
        f"  board id     {hello['board_id'] or 'none yet'}",
        f"  in force     {digests['live']:08X}",
        f"  stored       {stored}{same}",
        f"  requests     {counters['requests_done']} done, {counters['repeats']} repeated",
        f"  frames       {counters['frames_good']} good, {counters['frames_bad']} bad, "
        f"{counters['frames_dropped']} dropped",
        f"  ticks late   {counters['late_ticks']}",
        *(f"  ! {sentence}" for sentence in found["board"]["to_do"]),
        *(line for axis in found["axes"] for line in _axis_lines(axis)),
    ]
    return "\n".join(lines)
