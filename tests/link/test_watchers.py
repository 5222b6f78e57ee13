"""Several programs on one board at once: each sees who commands it, and what it was not given."""

from __future__ import annotations

import socket
import threading
import time
from itertools import pairwise

import pytest
from rodbench.board import AxisSample, Board
from rodbench.errors import Interrupted
from rodbench.link.api import Who
from rodbench.owner import connection as owner_connection
from rodbench.owner import lines
from rodbench.owner.connection import Connection

from tests.link.conftest import wait_for
from tests.link.rig import PLANT, SETTINGS


@pytest.fixture
def port(tmp_path, runtime):
    file = tmp_path / "plant.toml"
    file.write_text(PLANT)
    return f"emulator:{file}", str(tmp_path)


def open_as(port, who):
    return Board.open(port[0], folder=port[1], who=who)


def seen(board):
    board.poll(0.01)
    return board.commander


def test_command_and_two_watchers_see_who_commands_from_its_begin_to_its_end(port):
    with open_as(port, "move 1") as mover, open_as(port, "watch") as one:
        mover.write_scope(1, SETTINGS)
        wait_for(lambda: not seen(one), what="end of the push")
        motion = mover.axis(1).move(45.0)
        with open_as(port, "page") as late:  # which came while it moved
            everybody = (mover, one, late)
            assert late.commander
            for board in everybody:
                commander = wait_for(lambda board=board: seen(board), what="a commander")
                assert (commander.name, str(commander)[:9]) == ("move 1", "'move 1' ")
            one.stop()
            with pytest.raises(Interrupted, match="'watch'"):
                motion.finish(5.0)
            for board in everybody:
                wait_for(lambda board=board: seen(board) is None, what="end of the command")


def test_who_dies_commands_no_longer(port):
    with open_as(port, "watch") as one:
        mover = open_as(port, "jog 1")
        mover.write_scope(1, SETTINGS)
        mover.axis(1).jog(5.0)
        commander = wait_for(lambda: seen(one), what="a commander")
        assert isinstance(commander, Who)
        mover.link.close()  # as when its process dies
        wait_for(lambda: seen(one) is None, what="end of the command")


def test_at_full_rate_four_watchers_get_every_frame(port):
    """By the counter of the frames and by the ticks of each axis, two by two."""
    with open_as(port, "a") as a, open_as(port, "b") as b, open_as(port, "c") as c:
        boards = (a, b, c, open_as(port, "d"))
        a.write_scope(1, SETTINGS)
        for board in boards:
            board.subscribe(0.01, 0.1)
        found = {board: [] for board in boards}
        until = time.monotonic() + 2.0
        while time.monotonic() < until:
            for board in boards:
                found[board] += [s for s in board.poll(0.02) if isinstance(s, AxisSample)]
        for board in boards:
            ticks = [s.tick for s in found[board] if s.axis == 1][4:]  # after the last subscriber
            assert len(ticks) > 100
            assert {later - tick for tick, later in pairwise(ticks)} == {2}
            assert board.dropped == 0
            assert board.statistics().unasked_missed == 0
        boards[3].close()


def test_who_does_not_read_is_told_how_many_frames_it_was_not_given(monkeypatch):
    """Of 6 lines of 3 frames, with room for 2: told in the place of the missing ones."""
    monkeypatch.setattr(owner_connection, "UNASKED_WAITING", 2)
    ours, theirs = socket.socketpair()
    connection = Connection(ours, lambda c, m: {}, lambda c, m: {})
    for number in range(6):
        connection.send_unasked(lines.encode({"u": [f"{number:02x}"] * 3}), 3)
    connection.send({"warn": "first"})
    got = [connection._next() for _ in range(5)]
    assert [lines.decode(line) for line in got[:2]] == [{"warn": "first"}, {"dropped": 12}]
    assert [lines.decode(line)["u"][0] for line in got[2:4]] == ["04", "05"]
    assert got[4] == b""
    theirs.close()
    ours.close()


def test_every_frame_of_a_client_that_does_not_read_is_given_or_told_in_its_place(monkeypatch):
    """Numbered frames through the real sender into a full socket: nobody waits, none is unsaid."""
    monkeypatch.setattr(owner_connection, "UNASKED_WAITING", 50)
    ours, theirs = socket.socketpair()
    connection = Connection(ours, lambda c, m: {}, lambda c, m: {})
    serving = threading.Thread(target=connection.serve, args=(lambda c: None,), daemon=True)
    serving.start()
    begun = time.monotonic()
    for first in range(0, 60_000, 3):
        connection.send_unasked(lines.encode({"u": [f"{first + n:08x}" for n in range(3)]}), 3)
    assert time.monotonic() - begun < 5.0  # a sender that waited for the reader would never end
    expected, dropped, splitter = 0, 0, lines.Splitter()
    theirs.settimeout(5.0)
    while expected < 60_000:
        for message in map(lines.decode, splitter.feed(theirs.recv(65536))):
            dropped += message.get("dropped", 0)
            expected += message.get("dropped", 0)
            for frame in message.get("u", []):
                assert int(frame, 16) == expected
                expected += 1
    assert expected == 60_000
    assert 0 < dropped < 60_000
    theirs.close()
    serving.join(5.0)
    assert not serving.is_alive()


def test_the_client_counts_what_was_dropped(port):
    with open_as(port, "watch") as board:
        board.link._take({"dropped": 12})
        board.link._take({"dropped": 3})
        assert board.dropped == 15
