"""The scripted sessions of protocol/vectors.json against the binary itself."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import pytest
from rodbench_protocol import framing, messages
from rodbench_protocol.names import Features
from rodbench_protocol.replay import replay
from rodbench_protocol.script import POWER_ON, READINGS

from tests.board.build import ROOT
from tests.board.session_board import ChipSession

SESSIONS = json.loads((ROOT / "protocol" / "vectors.json").read_text("utf-8"))["sessions"]


@cache
def features() -> Features:
    """What the binary says that it has: some is a choice when building."""
    board = ChipSession()
    board.start(POWER_ON, 1, True)
    board.receive(framing.encode(messages.pack("hello", 0, 0)))
    board.tick(dict(READINGS))
    frames = board.transmit().split(b"\0")
    (hello,) = [
        m for m in (messages.parse(framing.decode(f)) for f in frames if f) if m.name == "hello"
    ]
    return Features(hello.fields["features"])


@pytest.mark.parametrize("session", SESSIONS, ids=lambda session: session["name"])
def test_session(session: dict[str, Any]) -> None:
    needs = session["feature"]
    if needs and not features() & Features[needs.upper()]:
        pytest.skip(f"this build of the firmware has no {needs}")
    board = ChipSession()
    assert replay(session, board) > 0
    # what the core queued in its ring is what came over the line, byte for byte, as far as it got
    assert board.line == board.queued[: len(board.line)]
    assert len(board.queued) - len(board.line) <= 128
