"""How a motion ended, as an error where it is one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from rodbench.errors import Faulted

if TYPE_CHECKING:
    from rodbench.board import Axis, Outcome
    from rodbench.settings.units import Units


def rest_words(axis: Axis, live: Mapping[str, int], outcome: Outcome, units: Units) -> str:
    """Where the rod rests: `at 101.5 mm`, `at raw 4000`, or, without a pot, `between the ends`."""
    from rodbench.show.where import has_pot, place_words

    if not has_pot(live):
        return place_words(axis.sample().place)
    return f"at {units.length(outcome.position_mm) if live['calibrated'] else f'raw {outcome.raw}'}"


def raise_fault(outcome: Outcome, units: Units, where: str = "", pot: bool = True) -> None:
    """Raise Faulted, with what, where and what to do, when a guard ended the motion.

    `where` in words, else the position; `pot`: whether the rod has one."""
    from rodbench_protocol.names import Ended

    from rodbench.show.words import fault_name, fault_sentence

    if outcome.ended not in (Ended.FAULT, Ended.SILENCE) or not outcome.cause:
        return  # a jog that silence ended latches nothing
    sentence = fault_sentence(fault_name(outcome.cause), outcome.axis, pot)
    what, _, todo = sentence.partition(" To do: ")
    raise Faulted(
        f"axis {outcome.axis} stopped {where or f'at {units.length(outcome.position_mm)}'}. {what}",
        axis=outcome.axis,
        fault=outcome.cause,
        kept="The fault is latched: nothing moves until it is cleared.",
        hint=todo,
    )
