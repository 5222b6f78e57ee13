"""What each rod does, or why it does not: one sentence, with what to do and the duty left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rodbench_protocol.names import AxisState, EventKind

from rodbench.board import RUNNING
from rodbench.show.live_remarks import AS_ONE, SPENT, axis_remarks
from rodbench.show.where import has_pot, uncalibrated_words, where
from rodbench.show.words import fault_look, fault_name, fault_names, fault_what

if TYPE_CHECKING:
    from rodbench.board import AxisSample, Event
    from rodbench.page.feed import Feed

NO_AXIS = "No rod is set up on this board. `rodbench commission` sets one up."


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence; `grave`: nothing moves before a person has done something; `clear`: the axis
    whose faults are to be cleared then, 0 for the board and all, None for none."""

    text: str
    grave: bool = False
    clear: int | None = None


def said(feed: Feed) -> list[Said]:
    """The sentences, what is grave first."""
    if feed.lost:
        text = f"The board is not reached: {feed.lost}. What stands here is old. If a rod still "
        return [Said(text + "moves, cut motor power.", True)]
    fitted = fitted_axes(feed)
    if not fitted:
        return [Said(NO_AXIS, True)]
    told: set[str] = set()
    found = [*_of_board(feed), *(_of_axis(feed, feed.last_axis[axis], told) for axis in fitted)]
    return sorted(found, key=lambda one: not one.grave)


def fitted_axes(feed: Feed) -> list[int]:
    """Axes that have a rod and were heard of."""
    return [n for n in sorted(feed.last_axis) if feed.scopes[n]["feedback"]]


def rod_name(feed: Feed, axis: int) -> str:
    """`north`, or `axis 1` for a rod without a name."""
    return feed.rods.get(axis) or f"axis {axis}"


def last_trip(feed: Feed, axis: int) -> Event | None:
    """The newest trip of an axis (0: the board) among the events kept."""
    trips = (
        e for _, e in reversed(list(feed.events)) if e.kind == EventKind.TRIP and e.axis == axis
    )
    return next(trips, None)


def duty_words(feed: Feed, sample: AxisSample) -> str:
    """Duty in minutes: what is left, or how long it rests."""
    board = feed.last_board
    if sample.duty_used >= SPENT:
        ready = None if board is None else board.duty_ready_s
        when = "" if ready is None else f", and all of it in {about(ready[sample.axis - 1])}"
        return f"The duty budget is spent: the rod rests until there is some again{when}."
    if board is None:
        return f"{100 * (1 - sample.duty_used):.0f} % of the duty budget left."
    return f"{about(board.duty_left_s[sample.axis - 1])} of duty left."


def about(seconds: float) -> str:
    """Minutes, below one tens of seconds: what is read out must not change each second."""
    if seconds >= 60:
        return f"{seconds // 60:.0f} min"
    return f"{10 * (seconds // 10):.0f} s"


def _of_board(feed: Feed) -> Iterator[Said]:
    """Faults that the board itself has latched."""
    if feed.last_board is None:
        return
    for name in fault_names(feed.last_board.faults):
        yield Said(f"All stopped: {fault_what(name)}.{_look(feed, name)}", True, 0)


def _of_axis(feed: Feed, sample: AxisSample, told: set[str]) -> Said:
    """`told`: remarks that were made of another rod already."""
    name, live = rod_name(feed, sample.axis), feed.scopes[sample.axis]
    own = sample.faults & ~(feed.last_board.faults if feed.last_board else 0)
    if own:
        return Said(_stopped(feed, sample, fault_names(own), name), True, sample.axis)
    if sample.duty_used >= SPENT:
        return Said(f"{name}: {duty_words(feed, sample)}", True)
    remarks = [text for text in axis_remarks(sample, feed.last_board) if text not in told]
    told |= {AS_ONE} & set(remarks)
    parts = [_does(feed, sample, name), *remarks, duty_words(feed, sample)]
    if not sample.calibrated:
        parts.insert(1, f"Axis {sample.axis} {uncalibrated_words(live)}.")
    return Said(" ".join(parts))


def _stopped(feed: Feed, sample: AxisSample, faults: list[str], name: str) -> str:
    pot = has_pot(feed.scopes[sample.axis])
    trip = last_trip(feed, sample.axis)
    first = faults[0]
    if trip is not None and fault_name(trip.cause) in faults:
        first = fault_name(trip.cause)
        place = _trip_place(feed, trip, pot)
    else:
        place = ""
    more = "".join(f" Also {fault_what(fault, pot)}." for fault in faults if fault != first)
    duty = duty_words(feed, sample)
    return f"{name} stopped: {fault_what(first, pot)}{place}.{more}{_look(feed, first, pot)} {duty}"


def _trip_place(feed: Feed, trip: Event, pot: bool) -> str:
    """`; 2.93 A at 140.0 mm while extending`; no place where the pot itself is at fault."""
    trusted = not fault_name(trip.cause).startswith("pot_")
    known = pot and trusted and feed.scopes[trip.axis]["calibrated"]
    place = f" at {feed.units.length(trip.position_mm)}" if known else ""
    way = {True: " while extending", False: " while retracting"}.get(trip.output > 0, "")
    return f"; {trip.current_a:.2f} A{place}{way if trip.output else ''}"


def _look(feed: Feed, name: str, pot: bool = True) -> str:
    if feed.replay:
        return ""  # there is nothing to be done about the past
    first, _, after = fault_look(name, pot).partition("; once cleared, ")
    return f" To do: {first}; then press Clear." + (f" Once cleared, {after}." if after else "")


def _does(feed: Feed, sample: AxisSample, name: str) -> str:
    """Without a figure that changes from moment to moment: the sentence is read out."""
    live = feed.scopes[sample.axis]
    at = where(sample, live, feed.units)
    at = f"at {at}" if has_pot(live) else at
    if sample.state not in RUNNING or abs(sample.output) < 0.001:
        coming = sample.state == AxisState.STOPPING
        return f"{name} {'comes to rest' if coming else 'rests'} {at}."
    way = "extends" if sample.output > 0 else "retracts"
    held = " while held" if sample.state == AxisState.JOG and not sample.local else ""
    target_mm = feed.targets.get(sample.axis)
    to = "" if target_mm is None else f" to {feed.units.length(target_mm)}"
    return f"{name} {way}{held}{to}."
