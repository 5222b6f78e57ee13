"""What each request does. A handler returns a status and puts reply fields into call.reply."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench_protocol.names import (
    MAJOR,
    MINOR,
    SCHEMA_DIGEST,
    BoardKind,
    Ended,
    Features,
    MessageId,
    Status,
)
from rodbench_protocol.schema import load_schema

from rodbench.emulator.twin import wire
from rodbench.emulator.twin.blackbox import blackbox_items
from rodbench.emulator.twin.draft import draft_drop
from rodbench.emulator.twin.handle_motion import handle_motion
from rodbench.emulator.twin.handle_settings import handle_settings
from rodbench.emulator.twin.hot import hot_credit
from rodbench.emulator.twin.local import local_commands, local_hand_over
from rodbench.emulator.twin.telemetry import telemetry_subscribe
from rodbench.emulator.twin.trips import trips_get

if TYPE_CHECKING:
    from rodbench.emulator.twin.call import Call
    from rodbench.emulator.twin.core import Twin

RESTART_TICKS = 6
MS_PER_TICK = 5
AXIS_PERIOD_LEAST_MS = 10
BOARD_PERIOD_LEAST_MS = 50
FIRMWARE = (0, 2, 0)
FIRMWARE_NAME = b"rodbench"
_KIND = load_schema().board_kinds["atmega328p_5v"]
_FEATURES = int(
    Features.TWO_AXES
    | Features.CURRENT_SENSE
    | Features.SUPPLY_SENSE
    | Features.TRIP_LOG
    | Features.BLACK_BOX
    | Features.GANG
    | Features.LOCAL_CONTROL
)
_HELLO, _COUNTERS = wire.reply("hello"), wire.reply("counters")
_BOX, _TOTALS = wire.reply("black_box"), wire.reply("totals")
_OPEN, _SUBSCRIBE = wire.request("open"), wire.request("subscribe")
_CREDIT = wire.request("credit_off")
_LEAST = wire.least_sizes()
_MOTION_IDS = range(MessageId.STOP, MessageId.DRAFT_BEGIN)


def handle_hello(core: Twin, call: Call) -> int:
    """Who is there."""
    call.reply = _HELLO.pack(
        MAJOR,
        MINOR,
        SCHEMA_DIGEST,
        core.noinit.nonce,
        *FIRMWARE,
        BoardKind.ATMEGA328P_5V,
        len(core.axis),
        _FEATURES,
        core.reset_cause,
        _KIND.adc_full_scale,
        _KIND.adc_reference_mv,
        core.live.board.board_id,
        core.live.digest(),
        core.store.digest,
        FIRMWARE_NAME,
        _KIND.current_full_scale,
    )
    return Status.OK


def _was_open(core: Twin, number: int) -> bool:
    """A late copy of an open that another has replaced must not take the board back."""
    return number in core.session.recent


def handle_open(core: Twin, call: Call, session: int, seq: int) -> int:
    """Take the board."""
    if len(call.body) < _OPEN.size:
        return Status.MALFORMED
    nonce, major, _minor = _OPEN.unpack_from(call.body)
    if nonce != core.noinit.nonce:
        return Status.WRONG_NONCE
    if major != MAJOR:
        return Status.PROTOCOL_MAJOR
    if session == 0:
        return Status.BAD_VALUE
    if _was_open(core, session):
        return Status.SESSION_IN_USE
    core.session.recent[core.session.opens % len(core.session.recent)] = session
    core.session.opens += 1
    core.session.number = session
    core.session.seq = seq
    core.session.newest_alive = core.ticks
    draft_drop(core.draft)
    telemetry_subscribe(core, 0, 0)
    for index in range(len(core.axis)):
        if not local_commands(core, index):
            core.stop(index, 1, Ended.SESSION)
    return Status.OK


def _counters(core: Twin, call: Call) -> int:
    counted = core.counters
    call.reply = _COUNTERS.pack(
        counted.requests_done,
        counted.frames_good,
        counted.frames_bad,
        counted.frames_dropped,
        counted.repeats,
        counted.alive_ignored,
        counted.unasked_dropped,
        counted.late_ticks,
        counted.worst_tick_us,
    )
    return Status.OK


def _restart(core: Twin) -> int:
    if not core.at_rest():
        return Status.IN_MOTION
    if core.store.writing:
        return Status.BUSY
    core.restart_in = RESTART_TICKS
    return Status.OK


def _period_good(ms: int, least: int) -> bool:
    return ms == 0 or (ms >= least and ms % MS_PER_TICK == 0)


def _subscribe(core: Twin, call: Call) -> int:
    axis_ms, board_ms = _SUBSCRIBE.unpack_from(call.body)
    if not _period_good(axis_ms, AXIS_PERIOD_LEAST_MS):
        return call.bad_value(1)
    if not _period_good(board_ms, BOARD_PERIOD_LEAST_MS):
        return call.bad_value(2)
    telemetry_subscribe(core, axis_ms // MS_PER_TICK, board_ms // MS_PER_TICK)
    return Status.OK


def _trip_get(core: Twin, call: Call) -> int:
    status, call.reply = trips_get(core, call.body[0])
    return status


def _black_box(core: Twin, call: Call, index: int) -> int:
    box, first = core.noinit.box, call.body[1]
    call.reply = _BOX.pack(box.axis, box.fault, len(box.sample[0]))
    call.reply += blackbox_items(box, index, first)
    return Status.OK if box.fault else Status.NOTHING_KEPT


def _of_axis(core: Twin, call: Call, number: int) -> int:
    index = call.body[0] - 1
    if not 0 <= index < len(core.axis):
        return call.bad_value(1)
    if number == MessageId.BLACK_BOX:
        return _black_box(core, call, index)
    call.reply = _TOTALS.pack(*core.noinit.totals.axis[index].fields())
    return Status.OK


def handle_request(core: Twin, call: Call, number: int) -> int:
    """All other requests, by id."""
    least = _LEAST.get(number)
    if least is None:
        return Status.UNKNOWN_MESSAGE
    if len(call.body) < least:
        return Status.MALFORMED
    if number == MessageId.COUNTERS:
        return _counters(core, call)
    if number == MessageId.RESTART:
        return _restart(core)
    if number == MessageId.SUBSCRIBE:
        return _subscribe(core, call)
    if number == MessageId.CREDIT_OFF:
        return hot_credit(core, _CREDIT.unpack_from(call.body)[0])
    if number == MessageId.TRIP_GET:
        return _trip_get(core, call)
    if number in (MessageId.BLACK_BOX, MessageId.TOTALS):
        return _of_axis(core, call, number)
    if number == MessageId.HAND_OVER:
        return local_hand_over(core, call)
    if number in _MOTION_IDS:
        return handle_motion(core, call, number)
    return handle_settings(core, call, number)
