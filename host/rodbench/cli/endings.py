"""How a motion ended, as an error where it is one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench.errors import Faulted

if TYPE_CHECKING:
    from rodbench.board import Outcome
    from rodbench.settings.units import Units


def raise_fault(outcome: Outcome, units: Units) -> None:
    """Raise Faulted, with what, where and what to do, when a guard ended the motion."""
    from rodbench_protocol.names import Ended

    from rodbench.show.words import fault_name, fault_sentence

    if outcome.ended not in (Ended.FAULT, Ended.SILENCE) or not outcome.cause:
        return  # a jog that silence ended latches nothing
    sentence = fault_sentence(fault_name(outcome.cause), outcome.axis)
    what, _, todo = sentence.partition(" To do: ")
    raise Faulted(
        f"axis {outcome.axis} stopped at {units.length(outcome.position_mm)}. {what}",
        axis=outcome.axis,
        fault=outcome.cause,
        kept="The fault is latched: nothing moves until it is cleared.",
        hint=todo,
    )
