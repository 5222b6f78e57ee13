"""The replay of sessions notices everything that a session states."""

import copy

import pytest
from rodbench_protocol import framing
from rodbench_protocol.messages import pack_reply, pack_unasked, parse
from rodbench_protocol.replay import SessionFailed, replay, replay_all

EVENT = {"number": 1, "axis": 1, "raw": 0, "position_um": 0, "current_ma": 0, "value_a": 0}
EVENT |= {"output_permille": 0, "value_b": 0, "kind": 2, "cause": 1, "tick": 3}


class Answering:
    """Answers clear with the tick; sends an event in the first tick; drives axis 1."""

    def __init__(self):
        self.waiting, self.sent, self.now = [], b"", 0
        self.starts = []

    def start(self, reset_flags, nonce_seed, power_lost):
        self.starts.append((reset_flags, nonce_seed, power_lost))
        self.now = 0

    def receive(self, data):
        self.waiting += framing.Splitter().feed(data)

    def tick(self, readings):
        self.now += 1
        if self.now == 1:
            self.sent += framing.encode(pack_unasked("event", 5, 0, **EVENT))
        for frame in self.waiting:
            m = parse(framing.decode(frame))
            reply = {"tick": self.now, "status": 0, "cleared": readings["pot"][0]}
            self.sent += framing.encode(pack_reply(m.name, m.session, m.seq, **reply))
        self.waiting = []
        return {"drive": [7, 0], "restart": int(self.now == 50)}

    def transmit(self):
        sent, self.sent = self.sent, b""
        return sent


def session():
    clear = {"message": "clear", "session": 5, "seq": 1, "fields": {"axis": 1}}
    reply = {"message": "clear", "session": 5, "seq": 1, "status": "ok", "detail": 0}
    return {
        "name": "own",
        "start": {"reset_flags": 1, "nonce_seed": 9},
        "readings": {"pot": [11, 0]},
        "steps": [
            {"send": [clear], "ticks": 2, "events": [{"kind": 2, "cause": 1}],
             "expect": [{**reply, "fields": {"cleared": "$a", "tick": 1}, "frame": "$f"}],
             "never": ["telemetry_axis"], "at_least": {"event": 1},
             "outputs": {"driving": [True, False]}},
            {"send": [clear], "ticks": 1, "readings": {"pot": [16, 0]},
             "expect": [{**reply, "fields": {"cleared": "$a+5", "tick": "$a-8"}}]},
            {"send": [], "ticks": 100, "expect": [], "restarts": True},
            {"send": [clear], "ticks": 1, "reset": 2, "readings": {"pot": [11, 0]},
             "expect": [{**reply, "fields": {"cleared": "$a"}, "frame": "$f"}]},
        ],
    }  # fmt: skip


def test_good_board_passes():
    board = Answering()
    assert replay(session(), board) == 3
    assert board.starts == [(1, 9, True), (2, 9, False)]
    assert replay_all([session(), session()], Answering) == 6


CHANGES = {
    "status": lambda s: s[0]["expect"][0].update(status="busy"),
    "detail": lambda s: s[0]["expect"][0].update(detail=1),
    "seq": lambda s: s[0]["expect"][0].update(seq=2),
    "session": lambda s: s[0]["expect"][0].update(session=6),
    "message": lambda s: s[0]["expect"][0].update(message="0x12"),
    "field": lambda s: s[0]["expect"][0]["fields"].update(cleared=12),
    "reckoned": lambda s: s[1]["expect"][0]["fields"].update(cleared="$a+4"),
    "bound": lambda s: s[1]["expect"][0]["fields"].update(cleared="$a"),
    "whole": lambda s: s[1]["expect"][0].update(frame="$f"),
    "reply missing": lambda s: s[2]["expect"].append(s[0]["expect"][0]),
    "reply too many": lambda s: s[0]["expect"].clear(),
    "event": lambda s: s[0]["events"].append({"kind": 2, "cause": 1}),
    "event cause": lambda s: s[0]["events"][0].update(cause=2),
    "never": lambda s: s[0]["never"].append("event"),
    "at least": lambda s: s[0]["at_least"].update(event=2),
    "driving": lambda s: s[0]["outputs"].update(driving=[False, False]),
    "no restart": lambda s: s[1].update(restarts=True),
    "restart": lambda s: s[2].pop("restarts"),
}


@pytest.mark.parametrize("name", CHANGES)
def test_each_difference_is_noticed(name):
    changed = copy.deepcopy(session())
    CHANGES[name](changed["steps"])
    with pytest.raises(SessionFailed) as caught:
        replay(changed, Answering())
    assert "session own, step" in str(caught.value)
