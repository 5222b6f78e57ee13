"""The scripted sessions of protocol/vectors.json against the binary itself."""

from __future__ import annotations

import json
from typing import Any

import pytest
from rodbench_protocol.replay import replay

from tests.board import build
from tests.board.build import ROOT
from tests.board.session_board import ChipSession

SESSIONS = json.loads((ROOT / "protocol" / "vectors.json").read_text("utf-8"))["sessions"]


@pytest.mark.parametrize("session", SESSIONS, ids=lambda session: session["name"])
def test_session(session: dict[str, Any]) -> None:
    board = ChipSession(build.firmware(local=session["feature"] == "local_control"))
    assert replay(session, board) > 0
    # what the core queued in its ring is what came over the line, byte for byte, as far as it got
    assert board.line == board.queued[: len(board.line)]
    assert len(board.queued) - len(board.line) <= 128
