"""The contract's vectors and scripted sessions, run by the C core and by the twin."""

from __future__ import annotations

import ctypes as ct
import json
from typing import Any

import pytest
from rodbench.emulator.twin.store import Settings, scope_to_bytes, settings_defaults
from rodbench_protocol.replay import SessionBoard, replay

from tests.core.native import ROOT, Board, library
from tests.core.session_boards import NativeSessionBoard, TwinSessionBoard

VECTORS: dict[str, Any] = json.loads((ROOT / "protocol" / "vectors.json").read_text())
BOARDS = {"core": NativeSessionBoard, "twin": TwinSessionBoard}


@pytest.mark.parametrize("kind", BOARDS)
@pytest.mark.parametrize("session", VECTORS["sessions"], ids=lambda s: s["name"])
def test_session(session: dict[str, Any], kind: str) -> None:
    board: SessionBoard = BOARDS[kind]()
    assert replay(session, board) > 0


def c_decode(frame: bytes) -> bytes | None:
    """frame_decode of C: the payload, or None for a bad frame."""
    lib = library()
    lib.frame_decode.restype = ct.c_uint8
    buffer = ct.create_string_buffer(frame, max(1, len(frame)))
    size = lib.frame_decode(buffer, len(frame))
    return buffer.raw[:size] if size else None


def test_c_decodes_every_good_frame() -> None:
    frames = [f for f in VECTORS["frames"] if len(f["frame"]) <= 2 * 66]
    for vector in frames:
        frame = bytes.fromhex(vector["frame"])
        assert frame.endswith(b"\0")
        assert c_decode(frame[:-1]) == bytes.fromhex(vector["payload"]), vector["name"]
    assert len(frames) >= 20


def test_c_refuses_every_bad_frame() -> None:
    for vector in VECTORS["bad_frames"]:
        frame = bytes.fromhex(vector["frame"])
        if len(frame) <= 65:  # longer ones never reach the decoder: test_parser
            assert c_decode(frame) is None, vector["name"]


def test_board_drops_every_bad_frame() -> None:
    """Through the receiver: nothing is answered, and all but the empty one are counted."""
    for vector in VECTORS["bad_frames"]:
        board = Board(library())
        board.boot()
        board.set_readings((4000, 4000), (0, 0))
        board.tick()
        frame = bytes.fromhex(vector["frame"])
        if b"\0" in frame:
            continue
        board.tick(frame + b"\0")
        assert board.sent() == b"", vector["name"]
        assert board.fields().frames_bad == (1 if frame else 0), vector["name"]


def test_c_defaults() -> None:
    board = Board(library())
    board.boot()
    board.set_readings((0, 0), (0, 0))
    board.tick()
    twin = Settings()
    settings_defaults(twin)
    for number, kind in ((0, "board"), (1, "axis"), (2, "axis")):
        vector = VECTORS["settings"][kind]
        assert scope_to_bytes(kind, twin.scope[number]).hex() == vector["bytes"]
    assert board.digest_live() == twin.digest()
