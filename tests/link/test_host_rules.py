"""What SPEC.md, sections 4, 5 and 11, asks of every host, against a board of a few lines."""

from __future__ import annotations

from itertools import pairwise

import pytest
from rodbench.clock import VirtualClock
from rodbench.errors import OutcomeUnknown, Refused
from rodbench.link.client import Client
from rodbench_protocol import framing, messages
from rodbench_protocol.names import Status

from tests.link.fake_board import FakeBoard, FakeTransport


class Refusing(FakeBoard):
    """Answers the first messages of a name with a status; `asked` lists them all."""

    def __init__(self, name: str, status: Status, times: int):
        super().__init__()
        self.refused = (name, status)
        self.times = times
        self.asked: list[messages.Message] = []

    def _answer(self, payload: bytes) -> bytes:
        message = messages.parse(payload)
        name, status = self.refused
        if message.name != name:
            return super()._answer(payload)
        self.asked.append(message)
        if len(self.asked) > self.times:
            return super()._answer(payload)
        if name != "open":
            self.last = (message.seq, payload)
        return self._reply(message, status)


def connect(board: FakeBoard | None = None) -> tuple[Client, FakeTransport]:
    clock = VirtualClock()
    transport = FakeTransport(board or FakeBoard(), clock)
    return Client(transport, clock), transport


def sent(transport: FakeTransport, name: str) -> list[messages.Message]:
    cut = framing.Splitter()
    frames = [f for _, data in transport.sent for f in cut.feed(data)]
    found = [messages.parse(framing.decode(f)) for f in frames]
    return [m for m in found if m.name == name]


def hear(client: Client, transport: FakeTransport, name: str, tick: int) -> int:
    """Lets the client hear a message of this tick; returns what it then echoes."""
    transport.waiting.append((0.0, transport.board.unasked(name, tick=tick)))
    client.poll(0.05)
    client.alive()
    return transport.board.renewals[-1]


def test_session_and_seq_of_an_open_are_by_chance():
    opens = [sent(connect()[1], "open")[0] for _ in range(60)]
    assert all(1 <= m.session <= 255 for m in opens)
    assert len({m.session for m in opens}) > 20
    assert len({m.seq for m in opens}) > 20
    assert len({(m.session, m.seq) for m in opens}) > 50


def test_the_seq_after_an_open_follows_that_of_the_open():
    for _ in range(20):
        client, transport = connect()
        client.request("counters")
        opened, asked = sent(transport, "open")[0], sent(transport, "counters")[0]
        assert asked.seq == (opened.seq + 1) % 256


def test_a_session_in_use_is_answered_by_another_number():
    for _ in range(100):
        board = Refusing("open", Status.SESSION_IN_USE, 3)
        connect(board)
        numbers = [m.session for m in board.asked]
        assert len(numbers) == 4
        assert all(a != b for a, b in pairwise(numbers))


def test_a_new_session_never_has_the_number_of_the_last():
    client, transport = connect()
    for _ in range(300):
        client.open_session()
    numbers = [m.session for m in sent(transport, "open")]
    assert all(a != b for a, b in pairwise(numbers))


def test_the_greatest_tick_is_echoed_not_the_last():
    client, transport = connect()
    assert hear(client, transport, "telemetry_axis", 5000) == 5000
    assert hear(client, transport, "telemetry_board", 4990) == 5000
    transport.board.tick = 100  # as in a reply from memory
    client.request("counters")
    client.alive()
    assert transport.board.renewals[-1] == 5000


def test_the_tick_of_an_event_is_not_echoed():
    client, transport = connect()
    assert hear(client, transport, "telemetry_axis", 5000) == 5000
    assert hear(client, transport, "event", 6000) == 5000


def test_ticks_go_on_past_their_end():
    client, transport = connect()
    transport.board.tick = 2**32 - 10
    client.open_session()
    assert hear(client, transport, "telemetry_axis", 2**32 - 2) == 2**32 - 2
    assert hear(client, transport, "telemetry_axis", 3) == 3
    assert hear(client, transport, "telemetry_axis", 2**32 - 1) == 3


def test_the_newest_tick_of_a_session_is_not_that_of_the_one_before():
    client, transport = connect()
    hear(client, transport, "telemetry_axis", 500_000)
    transport.board.restart()
    client.open_session()
    client.alive()
    assert transport.board.renewals[-1] < 100


def test_a_refused_subscription_is_not_asked_for_again():
    board = Refusing("subscribe", Status.BAD_VALUE, 1)
    client, _ = connect(board)
    with pytest.raises(Refused):
        client.subscribe(7, 100)
    client.open_session()
    assert len(board.asked) == 1
    client.subscribe(10, 100)
    client.open_session()
    assert [m.fields["axis_period_ms"] for m in board.asked] == [7, 10, 10]


def test_a_stop_is_sent_three_times_byte_for_byte():
    client, transport = connect()
    before = len(transport.sent)
    transport.drop = lambda way, number: True
    with pytest.raises(OutcomeUnknown):
        client.stop(0, 1)
    frames = [data for _, data in transport.sent[before:]]
    assert len(frames) == 3
    assert len(set(frames)) == 1
