"""Figures that change slowly: duty, heat, supply, link, settings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rodbench_protocol.names import Inputs

from rodbench.board.gang import Gang
from rodbench.settings.units import minutes
from rodbench.show.live import link_words

if TYPE_CHECKING:
    from rodbench.board import AxisSample
    from rodbench.page.feed import Feed


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with its name; `part` (0 to 1) where a bar helps."""

    name: str
    text: str
    part: float | None = None


def of_axis(feed: Feed, sample: AxisSample) -> list[Figure]:
    """Duty, heat and trip of an axis."""
    live, board = feed.scopes[sample.axis], feed.last_board
    left = 1 - min(1.0, sample.duty_used)
    text = f"{100 * left:.0f} %"
    if board is not None:
        text = f"{minutes(board.duty_left_s[sample.axis - 1])}, {text}"
    found = [Figure("Duty left", text, left)]
    if live.get("rated_ma") and board is not None and board.heat is not None:
        heat, trip = 100 * board.heat[sample.axis - 1], live["thermal_trip_percent"]
        warn = live["thermal_warn_percent"]
        words = f"{heat:.0f} %; warns at {warn} %, trips at {trip} %"
        found.append(Figure("Motor heat", words, min(1.0, heat / trip)))
    return found


def of_board(feed: Feed) -> list[Figure]:
    """Supply, stop input, link and settings."""
    board, live, found = feed.last_board, feed.scopes[0], []
    if board is not None:
        known = "" if live["supply_calibrated"] else " as read"
        found.append(Figure("Supply", f"{board.supply_v:.2f} V{known}"))
        if live.get("stop_input") and board.inputs is not None:
            closed = board.inputs & Inputs.STOP
            found.append(Figure("Stop input", "closed" if closed else "OPEN"))
    if (apart := _apart(feed)) is not None:
        found.append(Figure("Rods apart", apart))
    stored = "" if feed.replay else ", stored" if feed.stored else ", until reset"
    found.append(Figure("Settings", f"{feed.digest:08X}{stored}"))
    if feed.link is not None:
        found.append(Figure("Link", link_words(feed.link, 0).removeprefix("link ")))
    return found


def _apart(feed: Feed) -> str | None:
    """How far two ganged rods are apart, as the board reckons it."""
    gang = Gang.by(feed.scopes)
    ahead_mm = None if gang is None else gang.ahead_mm(1, feed.last_axis)
    if gang is None or ahead_mm is None:
        return None
    return f"{feed.units.number(abs(ahead_mm))} of {feed.units.length(gang.apart_trip_mm)}"
