"""What the live view says in sentences: faults with what to do, and what an axis is beside its
state."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping

from rodbench.board import AxisSample, BoardSample, Event
from rodbench.settings.units import Units, minutes
from rodbench.show.where import has_pot
from rodbench.show.words import event_words, fault_names, fault_sentence, fault_what

AS_ONE = "Moves as one with the other rod: `rodbench level` moves it alone."
SPENT = 0.999  # of the duty budget: telemetry counts in thousandths


def axis_faults(
    sample: AxisSample, live: Mapping[str, int], board: BoardSample | None, short: bool = False
) -> list[str]:
    """Sentences of the faults that are the axis's own; `short`: without what to do."""
    own = sample.faults & ~(board.faults if board else 0)
    pot = has_pot(live)
    if short:
        return [fault_what(name, pot) + "." for name in fault_names(own)]
    return [fault_sentence(name, sample.axis, pot) for name in fault_names(own)]


def board_faults(board: BoardSample | None, short: bool = False) -> list[str]:
    """Sentences of the faults that the board has latched for all."""
    names = fault_names(board.faults) if board else []
    return [fault_what(name) + "." if short else fault_sentence(name) for name in names]


def axis_remarks(sample: AxisSample, board: BoardSample | None) -> list[str]:
    """What the axis is beside its state."""
    found = []
    if sample.outside:
        found.append("The rod is outside its soft stops: only the way back is open.")
    if sample.held_back:
        found.append("A soft stop holds the motion back.")
    if sample.calibrated and not sample.proven:
        found.append("Not moved since the board started: the first motion goes at creep.")
    if sample.duty_used >= SPENT:
        found.append(f"The duty budget is spent: the rod rests until {_ready(sample, board)}.")
    return found + _also(sample)


def _ready(sample: AxisSample, board: BoardSample | None) -> str:
    ready = None if board is None else board.duty_ready_s
    if ready is None:
        return "there is some again"
    return f"there is some again; all of it in {minutes(ready[sample.axis - 1])}"


def _also(sample: AxisSample) -> list[str]:
    found = []
    if sample.ganged:
        found.append(AS_ONE)
    if sample.source_lost:
        found.append("Its local input is lost: look at the wire, then bring it to rest.")
    elif sample.local:
        armed = "commands it" if sample.armed else "commands it once it was seen at rest"
        found.append(f"Its local input {armed}.")
    if sample.folded_back:
        found.append("The output is taken back, so that the current stays below fold_back_a.")
    if sample.warm:
        found.append("The motor is warm by its currents: let it rest before it trips.")
    return found


def event_line(event: Event, units: Units, calibrated: bool = True) -> str:
    """An event as one line; an uncalibrated axis has no position to tell."""
    who = f"axis {event.axis}" if event.axis else "board"
    what = event_words(event.kind, event.cause)
    where = f" at {units.length(event.position_mm)}" if event.axis and calibrated else ""
    return f"{who}: {what}{where}, board clock {event.time_s:.1f} s"


def wrapped(texts: list[str], width: int, mark: str = "  ! ") -> list[str]:
    """Each text as lines of at most `width`, the first with a mark."""
    wrap = textwrap.TextWrapper(width, initial_indent=mark, subsequent_indent=" " * len(mark))
    return [line for text in texts for line in wrap.wrap(text)]
