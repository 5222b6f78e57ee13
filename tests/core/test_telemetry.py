"""Telemetry keeps its periods, never crowds a tick, and leaves room for replies."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from rodbench_protocol import framing, messages
from rodbench_protocol.names import Status

from tests.core.host import SESSION, Host

TICK_MS = 5
LINE_BYTES_PER_TICK = 125  # 250 000 baud, ten bits a byte


def frames_of_ticks(host: Host, ticks: int, ask: bool = False) -> list[list[messages.Message]]:
    """What came in each tick; with `ask`, there is a request in each."""
    found = []
    for _ in range(ticks):
        host.tick(host.frame("settings_get", which=0, scope=1, first_key=1) if ask else b"")
        found.append([*host.replies, *host.events])
        host.replies.clear()
        host.events.clear()
    return found


def names(message: messages.Message) -> str:
    """telemetry_axis 1 and 2 apart."""
    return f"{message.name} {message.fields['axis']}" if "axis" in message.fields else message.name


@pytest.mark.parametrize("board_ms", [50, 55, 100, 1000])
@pytest.mark.parametrize("axis_ms", [10, 15, 20, 25, 50, 500])
def test_periods(axis_ms: int, board_ms: int) -> None:
    host = Host()
    host.ask("subscribe", axis_period_ms=axis_ms, board_period_ms=board_ms)
    ticks = 2000
    host.events.clear()
    host.replies.clear()
    came: dict[str, list[int]] = {}
    for number, frames in enumerate(frames_of_ticks(host, ticks)):
        assert len(frames) <= (1 if axis_ms > 10 else 2)
        for frame in frames:
            came.setdefault(names(frame), []).append(number)
    for axis in (1, 2):
        ticks_of = came[f"telemetry_axis {axis}"]
        gaps = Counter(b - a for a, b in pairwise(ticks_of))
        assert gaps == {axis_ms // TICK_MS: len(ticks_of) - 1}
    board = came["telemetry_board"]
    assert abs(len(board) - ticks * TICK_MS / board_ms) <= 1
    assert {b - a for a, b in pairwise(board)} <= {
        board_ms // TICK_MS + late for late in (-2, -1, 0, 1, 2)
    }
    assert host.board.fields().unasked_dropped == 0


def test_the_fastest_telemetry_leaves_room_for_a_long_reply_in_every_tick() -> None:
    host = Host()
    host.ask("subscribe", axis_period_ms=10, board_period_ms=50)
    host.replies.clear()
    sent = 0
    for frames in frames_of_ticks(host, 1000, ask=True):
        replies = [m for m in frames if m.kind == "reply"]
        assert [m.fields["status"] for m in replies] == [Status.OK]
        sent += len(host.board.sent())
    assert sent <= 1000 * LINE_BYTES_PER_TICK
    # One axis frame beside each reply; the board's frame does not fit beside both, and is counted.
    assert host.board.fields().unasked_dropped <= 1000 // 10


def test_counters_show_every_gap() -> None:
    host = Host()
    host.ask("subscribe", axis_period_ms=10, board_period_ms=50)
    dropped = host.board.fields().unasked_dropped
    counters = []
    for number in range(300):
        quiet = number > 295  # so that the last gap has an end
        ask = b"" if quiet else host.frame("settings_get", which=0, scope=1, first_key=1)
        host.tick(ask)
        counters += [m.seq for m in host.events]
        host.events.clear()
    missing = sum((b - a - 1) & 0xFF for a, b in pairwise(counters))
    assert missing == host.board.fields().unasked_dropped - dropped


def test_zero_ends_it_and_so_does_another_session() -> None:
    host = Host()
    host.ask("subscribe", axis_period_ms=10, board_period_ms=50)
    host.ask("subscribe", axis_period_ms=0, board_period_ms=0)
    host.events.clear()
    frames_of_ticks(host, 2)
    assert all(not frames for frames in frames_of_ticks(host, 100))
    host.ask("subscribe", axis_period_ms=10, board_period_ms=50)
    nonce = host.ask("hello")["boot_nonce"]
    opening = messages.pack(
        "open", SESSION + 1, 0, boot_nonce=nonce, protocol_major=1, protocol_minor=0
    )
    host.tick(framing.encode(opening))
    frames_of_ticks(host, 1)
    assert all(not frames for frames in frames_of_ticks(host, 100))


@pytest.mark.parametrize(
    ("axis_ms", "board_ms", "place"), [(5, 0, 1), (12, 0, 1), (0, 45, 2), (0, 52, 2), (1, 1, 1)]
)
def test_periods_that_are_none(axis_ms: int, board_ms: int, place: int) -> None:
    host = Host()
    asked = {"axis_period_ms": axis_ms, "board_period_ms": board_ms}
    assert host.status("subscribe", **asked) == Status.BAD_VALUE
    assert host.replies[0].fields["detail"] == place


@pytest.mark.parametrize("axis_ms", [10, 50])
def test_the_boards_frame_goes_later_where_a_draft_is_checked_but_comes_all_the_same(
    axis_ms: int,
) -> None:
    """Checks in every tick hold it up by a few; its period stays as it is."""
    host = Host()
    host.ask("subscribe", axis_period_ms=axis_ms, board_period_ms=50)
    host.ask("draft_begin", scope=1)
    came: list[int] = []
    for number in range(200):
        host.events.clear()
        host.tick(host.frame("draft_check", scope=1) if number >= 100 else b"")
        came += [number for frame in host.events if frame.name == "telemetry_board"]
    assert came[9] < 100 < came[10]
    gaps = [later - earlier for earlier, later in pairwise(came)]
    assert gaps[:9] + gaps[10:] == [10] * 17
    assert gaps[9] in (13, 14)  # four ticks, less one if the frame before took a tick on the line
