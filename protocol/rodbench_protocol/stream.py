"""Fast path for what the board sends unasked: one precompiled struct per message.

Takes payloads as `framing.decode` returns them; a longer body is taken, its tail ignored.
Appended fields need the body to have them: older boards' frames go through `messages.parse`.
"""

from __future__ import annotations

from struct import Struct

from rodbench_protocol.errors import MessageError
from rodbench_protocol.names import AxisTelemetry, BoardTelemetry, Event, MessageId
from rodbench_protocol.schema import load_schema


def _layout(name: str) -> Struct:
    """Header (only its counter) and body."""
    fields = load_schema().messages[name].body.fields
    return Struct("<2xB" + "".join(f.struct_code for f in fields))


_AXIS = _layout("telemetry_axis")
_BOARD = _layout("telemetry_board")
_EVENT = _layout("event")
_unpack_axis, _axis_size = _AXIS.unpack_from, _AXIS.size
_unpack_board, _board_size = _BOARD.unpack_from, _BOARD.size
_unpack_event, _event_size = _EVENT.unpack_from, _EVENT.size
_make_axis, _make_board, _make_event = AxisTelemetry._make, BoardTelemetry._make, Event._make


def decode_axis(payload: bytes) -> AxisTelemetry:
    """telemetry_axis of a payload; MessageError when it is another message or too short."""
    if len(payload) < _axis_size or payload[0] != MessageId.TELEMETRY_AXIS:
        raise MessageError("no telemetry_axis")
    return _make_axis(_unpack_axis(payload))


def decode_board(payload: bytes) -> BoardTelemetry:
    """telemetry_board of a payload; MessageError when it is another message or too short."""
    if len(payload) < _board_size or payload[0] != MessageId.TELEMETRY_BOARD:
        raise MessageError("no telemetry_board")
    return _make_board(_unpack_board(payload))


def decode_event(payload: bytes) -> Event:
    """event of a payload; MessageError when it is another message or too short."""
    if len(payload) < _event_size or payload[0] != MessageId.EVENT:
        raise MessageError("no event")
    return _make_event(_unpack_event(payload))
