"""Recorded streams to numpy arrays, by dtypes made from the schema."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from rodbench_protocol.errors import FrameError
from rodbench_protocol.framing import decode
from rodbench_protocol.schema import load_schema


def dtype(name: str) -> np.dtype[np.void]:
    """Packed little-endian dtype of an unasked message, its header included."""
    fields = load_schema().messages[name].body.fields
    head = [("id", "u1"), ("session", "u1"), ("counter", "u1")]
    return np.dtype(head + [(f.name, f"<{f.type[0]}{f.size}") for f in fields])


AXIS_DTYPE = dtype("telemetry_axis")
BOARD_DTYPE = dtype("telemetry_board")
EVENT_DTYPE = dtype("event")


def to_array(payloads: Iterable[bytes], kind: np.dtype[np.void]) -> npt.NDArray[np.void]:
    """Payloads of one message as a structured array; tails that the dtype lacks are cut."""
    size = kind.itemsize
    return np.frombuffer(b"".join(p[:size] for p in payloads if len(p) >= size), kind)


def split_good(data: bytes) -> dict[int, list[bytes]]:
    """Payloads of a recorded stream's good frames, by message id."""
    found: dict[int, list[bytes]] = {}
    for frame in data.split(b"\0"):
        try:
            payload = decode(frame)
        except FrameError:
            continue
        found.setdefault(payload[0], []).append(payload)
    return found
