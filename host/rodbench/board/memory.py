"""What a board remembers: trips, black box, totals, duty through a power loss."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rodbench_protocol.names import Features, Status

from rodbench.board import convert
from rodbench.board.types import BlackBox, BoxSample, Hello, Totals, Trip
from rodbench.errors import NoAnswer, Refused, UsageError

if TYPE_CHECKING:
    from rodbench.board.board import Board
    from rodbench.link.api import Reply

AGES = 8  # trips that are kept, SPEC.md section 14
UPTIME_MOST_MIN = 65535
OFF_MOST_S = 65535  # the board counts no more
SAMPLE_S = 0.01
BUSY_S = 6.0  # a store takes two seconds; trips and totals are written one by one
BUSY_TURN_S = 0.05


def trips(board: Board) -> list[Trip]:
    """The last trips, oldest first."""
    _needs(board, Features.TRIP_LOG, "trip log")
    found: dict[int, Trip] = {}
    for age in range(AGES):  # one that was not written leaves a gap
        reply = _ask(board, "trip_get", age=age)
        if reply is not None:
            found.setdefault(reply["number"], _trip(reply.fields))
    return list(found.values())[::-1]


def black_box(board: Board, axis: int) -> BlackBox | None:
    """The samples of an axis; None where there are none."""
    _needs(board, Features.BLACK_BOX, "black box")
    items: list[dict[str, int]] = []
    while True:
        reply = _ask(board, "black_box", axis=axis, first=len(items))
        if reply is None:
            return None
        items += reply["items"]
        if len(items) >= reply["count"] or not reply["items"]:
            return _box(board, axis, reply, items)


def totals(board: Board, axis: int) -> Totals:
    """On-time, starts and travel in all."""
    _needs(board, Features.TRIP_LOG, "totals")
    reply = board.request("totals", axis=axis)
    return Totals(axis, reply["on_s"], reply["starts"], reply["travel_mm"])


def credit_off(board: Board, seconds: float) -> None:
    """So long was the board without power: duty and heat fall by it."""
    if not 0 < seconds < math.inf:  # nan is in no range
        raise UsageError(f"{seconds:g} s is no time without power", kept="nothing was sent")
    if board.hello.protocol_minor < convert.GUARDS_MINOR:
        raise _too_old(board.hello, "duty through a power loss")
    board.request("credit_off", off_s=min(int(seconds), OFF_MOST_S))  # rounded down: warmer


def _needs(board: Board, feature: Features, what: str) -> None:
    if not board.hello.features & feature:
        raise _too_old(board.hello, what)


def _too_old(hello: Hello, what: str) -> Refused:
    return Refused(
        f"this board keeps no {what}: its firmware {hello.firmware} speaks protocol "
        f"{hello.protocol_major}.{hello.protocol_minor}",
        status=Status.NOT_SUPPORTED,
        status_name="not_supported",
        kept="nothing was sent",
        hint="`rodbench load` puts this program's firmware on the board; settings stay",
    )


def _ask(board: Board, name: str, **fields: int) -> Reply | None:
    """The reply; None for nothing_kept. Waits while the board writes its memory."""
    deadline = board.clock.now() + BUSY_S
    while board.clock.now() < deadline:
        try:
            return board.request(name, **fields)
        except Refused as error:
            if error.status == Status.NOTHING_KEPT:
                return None
            if error.status != Status.BUSY:
                raise
        board.sleep(BUSY_TURN_S)
    raise NoAnswer(f"the board has been writing its memory for {BUSY_S:g} s", hint="ask again")


def _trip(f: dict[str, Any]) -> Trip:
    return Trip(
        number=f["number"],
        axis=f["axis"],
        fault=f["fault"],
        position_mm=f["position_um"] / 1000 if f["position_um"] else None,
        raw=f["raw"],
        current_a=f["current_ma"] / 1000,
        supply_v=f["supply_mv"] / 1000,
        output=f["output_percent"] / 100,
        uptime_min=f["uptime_min"],
        or_more=f["uptime_min"] == UPTIME_MOST_MIN,
    )


def _box(board: Board, axis: int, reply: Reply, items: list[dict[str, int]]) -> BlackBox:
    live = board.read_scope(axis)
    samples = tuple(
        _sample(live, (n - len(items)) * SAMPLE_S, item["place_output"], item["current"])
        for n, item in enumerate(items)
    )
    return BlackBox(axis, reply["trip_axis"], reply["trip_fault"], samples)


def _sample(live: dict[str, int], time_s: float, place_output: int, current: int) -> BoxSample:
    raw = (place_output >> 6) * 8 + 4  # the middle of 8
    output = ((place_output & 0x3F) - 32) * 32 / 1000
    return BoxSample(round(time_s, 3), raw, _position_mm(live, raw), output, current * 64 / 1000)


def _position_mm(live: dict[str, int], raw: int) -> float | None:
    """On the line between the endpoints."""
    if not live["calibrated"] or live["raw_extended"] == live["raw_retracted"]:
        return None
    return round((raw - live["raw_retracted"]) * convert.mm_per_raw(live), 3)
