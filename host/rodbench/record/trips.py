"""Trips of a board in the logbook, each once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rodbench.record.logbook import Logbook

KIND = "trip"


def note_new(
    book: Logbook, board_id: int, trips: Sequence[Mapping[str, Any]], digest: int | None
) -> int:
    """Append those that the logbook has not yet; returns how many. A number may come again, of a
    board whose memory is new, so all of a trip is compared."""
    known = {_key(e.data.get("board_id"), e.data) for e in book.read()[0] if e.kind == KIND}
    new = [trip for trip in trips if _key(board_id, trip) not in known]
    for trip in new:
        book.append(KIND, digest=digest, board_id=board_id, **trip)
    return len(new)


def _key(board_id: object, trip: Mapping[str, Any]) -> tuple[object, ...]:
    names = ("number", "axis", "fault", "raw", "uptime_min", "current_a", "supply_v")
    return (board_id, *(trip.get(name) for name in names))
