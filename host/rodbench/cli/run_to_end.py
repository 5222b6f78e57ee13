"""`rodbench move` of a rod without a pot: to one of its ends, never to a length."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rodbench.cli import talk
from rodbench.cli.options import Setup
from rodbench.errors import ProcedureError, UsageError

if TYPE_CHECKING:
    from rodbench.board import Axis, Board, Motion, Outcome

ENDS = {"extended": 1, "retracted": -1}


def run(setup: Setup, board: Board, number: int, position: str, speed: str | None) -> None:
    """Run axis `number` to the end that `position` names, and print where it is.

    Raises UsageError for a place that is no end, Faulted for a trip, ProcedureError when the run
    ended without an end.
    """
    from rodbench.bench.two_wires_ends import leave
    from rodbench.cli.caution import before_motion
    from rodbench.show.run import Recorder
    from rodbench.show.where import place_words

    axis, end = board.axis(number), position.strip().lower()
    _check_asked(axis, end, position, speed)
    began = axis.sample().place
    if began == end:
        text = f"axis {number} is {place_words(end)} already: nothing moved"
        talk.result({"target": end, "place": end, "seconds": 0.0}, text, setup.as_json)
        return
    live = axis.settings()
    before_motion(setup, board, number, live)
    if began is None:
        talk.say(
            "Place unknown since the board started: a moment the other way, then to that end at "
            "creep, on the current alone."
        )
        leave(axis, -ENDS[end] * live["creep_output_permille"] / 1000)
    with Recorder(board, number) as seen, _begin(axis, began, ENDS[end]) as motion:
        outcome = motion.wait()
    assert outcome is not None
    place = axis.sample().place
    data = {"target": end, "place": place, "seconds": seen.seconds, **_data(outcome)}
    setup.log(board, "move", **data)
    _check_end(setup, outcome, place, end)
    if began is None:
        _check_kind(setup, outcome, end)
    text = f"axis {number} is {place_words(place)}, after {seen.seconds:.1f} s"
    talk.result(data, text, setup.as_json)


def _begin(axis: Axis, began: str | None, way: int) -> Motion:
    """From an unknown place at creep: only from an end can the time tell a jam from the other."""
    return axis.seek(way) if began is None else axis.run_to_end(way)


def _check_kind(setup: Setup, outcome: Outcome, end: str) -> None:
    """Raise when a rod known for its end switches was stopped by a risen current instead."""
    if not setup.has_machine:
        return
    machine = setup.machine()
    rod = machine.rod_of(outcome.axis)
    known = machine.host(f"end_{end}", ("rods", rod)) if rod else None
    if known == "end-switch" and outcome.current_probe_a > 0.5 * outcome.current_before_a:
        raise ProcedureError(
            f"axis {outcome.axis}: the current rose to {outcome.current_probe_a:.2f} A; at its "
            f"{end} end an end switch takes it away",
            kept="The rod is at rest, and not at that end.",
            hint="See what holds it, jog it free, then move again.",
        )


def _check_asked(axis: Axis, end: str, position: str, speed: str | None) -> None:
    """Raise UsageError for what such a rod cannot do."""
    number = axis.number
    if end not in ENDS:
        raise UsageError(
            f"'{position}': this rod has no pot: it can go to an end, or jog",
            kept="Nothing moved.",
            hint=f"`rodbench move {number} retracted`, `rodbench move {number} extended`, or "
            f"`rodbench jog {number}`",
        )
    if speed is not None:
        raise UsageError(
            "this rod has no pot: it runs to an end at the greatest output, at no speed of choice",
            kept="Nothing moved.",
            hint=f"without --at; or slowly, while you hold a key: `rodbench jog {number}`",
        )
    _check_known(number, axis.settings())


def _check_known(number: int, live: Mapping[str, int]) -> None:
    if not live["current_sensor"]:
        raise UsageError(
            f"axis {number} has neither pot nor current sensor: nothing would see the end",
            kept="Nothing moved.",
            hint=f"`rodbench jog {number}` runs it while you hold a key and watch it",
        )
    if not (live["stroke_time_extend_cs"] and live["stroke_time_retract_cs"]):
        raise UsageError(
            f"axis {number}: the time from end to end is not known, so no run to an end can be "
            "guarded",
            kept="Nothing moved.",
            hint=f"`rodbench calibrate endpoints {number}` measures it",
        )


def _check_end(setup: Setup, outcome: Outcome, place: str | None, end: str) -> None:
    """Raise when the run ended otherwise than at its end."""
    from rodbench_protocol.names import Ended

    from rodbench.cli.endings import raise_fault
    from rodbench.show.where import place_words
    from rodbench.show.words import ended

    where, number = place_words(place), outcome.axis
    raise_fault(outcome, setup.units(), where, pot=False)
    missed = outcome.ended == Ended.END_FOUND and place != end  # it never ran on its way there
    if missed or outcome.ended == Ended.UNFINISHED:
        other = next(word for word in ENDS if word != end)
        raise ProcedureError(
            f"axis {number} was stopped, but no end was seen: the current did not tell",
            kept=f"The rod is at rest, {where}.",
            hint=f"Look at it. If it stands at its end already: `rodbench move {number} {other}`, "
            "then back.",
        )
    if outcome.ended != Ended.END_FOUND:
        raise ProcedureError(
            f"axis {number}: the run {ended(outcome.ended, pot=False)}",
            kept=f"The rod is at rest, {where}.",
            hint=f"`rodbench watch --for 1s` shows the state of axis {number}.",
        )


def _data(outcome: Outcome) -> dict[str, Any]:
    """The outcome without raw and lengths, which mean nothing here."""
    from rodbench.show.words import ended_word

    known = {**asdict(outcome), "ended": ended_word(outcome.ended)}
    return {name: value for name, value in known.items() if name not in ("raw", "position_mm")}
