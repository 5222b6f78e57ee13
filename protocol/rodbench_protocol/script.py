"""A scripted session under construction, and what its frames and replies are made of."""

from __future__ import annotations

from typing import Any

from rodbench_protocol import framing, settings
from rodbench_protocol.names import Status

Json = dict[str, Any]
POWER_ON, EXTERNAL, WATCHDOG = 0x01, 0x02, 0x08
"""Reset flags as in the ATmega328P's MCUSR."""
COMMIT = 2
"""Ticks for a commit: it fills one; what a chip hears behind it is too late for the next."""
_KEYS = {kind: {key.name: key.id for key in keys} for kind, keys in settings.KEYS.items()}


READINGS: Json = {
    "pot": [4092, 4092],
    "current": [0, 0],
    "supply": 430,
    "bandgap": 225,
    "inputs": 0,
    "local": [0, 0],
}


class Script:
    """A session under construction; counts seq by itself."""

    def __init__(
        self, name: str, about: str, session: int = 5, seq: int = 0, feature: str = ""
    ) -> None:
        self.name, self.about, self.feature = name, about, feature
        self.session, self.seq = session, seq
        self.axis: dict[str, int] = {}
        self.steps: list[Json] = []

    def step(self, *send: Json, expect: tuple[Json, ...] = (), ticks: int = 1, **more: Any) -> None:
        """Deliver frames, run ticks, compare the replies that came."""
        self.steps.append({"send": list(send), "ticks": ticks, "expect": list(expect), **more})

    def frame(self, message: str, *, seq: int | None = None, **fields: Any) -> Json:
        """A frame of the open session; takes the next seq when none is given."""
        if seq is None:
            self.seq = seq = (self.seq + 1) % 256
        return {"message": message, "session": self.session, "seq": seq, "fields": fields}

    def ask(self, message: str, status: Status = Status.OK, detail: int = 0, **more: Any) -> None:
        """A new request and its reply in the same tick; `reply` and step keys may follow."""
        reply = more.pop("reply", {})
        extra = {k: more.pop(k) for k in ("ticks", "events", "outputs", "restarts") if k in more}
        sent = self.frame(message, **more)
        self.step(sent, expect=(answer(sent, status, detail, **reply),), **extra)

    def begin(self, nonce: str = "$nonce") -> None:
        """Hello and open, as every host does; the nonce by this name."""
        hello = plain_hello()
        self.step(hello, expect=(answer(hello, boot_nonce=nonce),))
        self.open(nonce)

    def open(self, nonce: str = "$nonce") -> None:
        """Open the script's session."""
        self.ask("open", boot_nonce=nonce, protocol_major=1, protocol_minor=0)

    def start_again(self, nonce: str, flags: int) -> None:
        """A reset, or by POWER_ON power away and back; then as at first."""
        power: Json = {"power_lost": True} if flags == POWER_ON else {}
        self.step(reset=flags, **power)
        self.seq = 0
        self.begin(nonce)

    def set_axis(self, **values: int) -> None:
        """Put keys of axis 1 in force."""
        self._draft(1, **values)
        self.axis |= values
        self.ask("draft_commit", scope=1, reply={"digest": axis_digest(**self.axis)}, ticks=COMMIT)

    def put(self, scope: int, **values: int) -> None:
        """Put keys of any scope in force."""
        self._draft(scope, **values)
        self.ask("draft_commit", scope=scope, ticks=COMMIT)

    def _draft(self, scope: int, **values: int) -> None:
        self.ask("draft_begin", scope=scope)
        items = items_of("axis" if scope else "board", **values)
        for first in range(0, len(items), 11):
            self.ask("draft_set", scope=scope, items=items[first : first + 11])

    def done(self) -> Json:
        """The session as it stands in vectors.json."""
        return {
            "name": self.name,
            "about": self.about,
            "feature": self.feature,
            "start": {"reset_flags": POWER_ON, "nonce_seed": 4660},
            "readings": dict(READINGS),
            "steps": self.steps,
        }


def plain_hello(seq: int = 0) -> Json:
    """A hello as a host sends it first."""
    return {"message": "hello", "session": 0, "seq": seq, "fields": {}}


def answer(sent: Json, status: Status = Status.OK, detail: int = 0, **fields: Any) -> Json:
    """The reply expected to a frame."""
    return {
        "message": sent["message"],
        "session": sent["session"],
        "seq": sent["seq"],
        "status": status.name.lower(),
        "detail": detail,
        "fields": fields,
    }


def raw(payload: bytes) -> Json:
    """A frame given by its bytes."""
    return {"frame": framing.encode(payload).hex()}


def items_of(kind: str = "axis", /, **values: int) -> list[Json]:
    """Items of draft_set for keys of a scope."""
    return [{"key": _KEYS[kind][name], "value": value} for name, value in values.items()]


def axis_digest(**values: int) -> int:
    """Digest of an axis scope with these keys, the rest at default."""
    return settings.digest_scope("axis", settings.defaults("axis") | values)


def live_digest(**axis_1: int) -> int:
    """Digest of all scopes with these keys of axis 1, the rest at default."""
    axis = settings.defaults("axis")
    return settings.digest_all(settings.defaults("board"), axis | axis_1, axis)


FITTED = {"feedback": 1, "stall_time_ms": 5000}
CALIBRATED = {
    "feedback": 1,
    "calibrated": 1,
    "raw_retracted": 7410,
    "raw_extended": 612,
    "stroke_um": 203000,
    "soft_stop_min_um": 3000,
    "soft_stop_max_um": 200000,
}
