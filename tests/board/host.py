"""A small host for board tests: frames out, messages in, no library of the host between."""

from __future__ import annotations

from typing import Any, Protocol

from rodbench_protocol import framing, settings
from rodbench_protocol.messages import Message, pack, parse
from rodbench_protocol.names import Status

AXIS_KEYS = {key.name: key.id for key in settings.KEYS["axis"]}
KEYS = ({key.name: key.id for key in settings.KEYS["board"]}, AXIS_KEYS)
SESSION = 5
ALIVE_TICKS = 8
WAIT_TICKS = 40
BOOT_TICKS = 4  # nothing hears before the program has started its line


class Board(Protocol):
    """What it needs of a board: the emulator's, or a simulated chip's."""

    ticks: int

    def write(self, data: bytes) -> None:
        """Bytes to the board."""

    def read(self) -> bytes:
        """Bytes from the board."""

    def step(self, ticks: int = 1) -> None:
        """Let time pass."""


class Host:
    """Speaks to a board in virtual time. `heard` has everything, `newest` the board's tick."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.heard: list[Message] = []
        self.newest = self.seq = 0
        self.alive = False
        self._splitter = framing.Splitter()

    def step(self, ticks: int = 1) -> None:
        """Let time pass, renewing what moves if `alive`."""
        for _ in range(ticks):
            if self.alive and self.board.ticks % ALIVE_TICKS == 0:
                self.send("alive", tick=self.newest)
            self.board.step()
            self._listen()

    def _listen(self) -> None:
        for frame in self._splitter.feed(self.board.read()):
            message = parse(framing.decode(frame))
            self.heard.append(message)
            self.newest = max(self.newest, message.fields.get("tick", 0))

    def send(self, name: str, seq: int = 0, session: int = SESSION, **fields: Any) -> None:
        """A frame, without waiting."""
        self.board.write(framing.encode(pack(name, session, seq, **fields)))

    def ask(self, name: str, **fields: Any) -> Message:
        """A request and its reply, whatever its status."""
        if name not in ("hello", "stop"):
            self.seq = (self.seq + 1) % 256
        session = 0 if name == "hello" else SESSION
        since = len(self.heard)
        self.send(name, self.seq, session, **fields)
        for _ in range(WAIT_TICKS):
            self.step()
            for message in self.heard[since:]:
                if message.kind == "reply" and message.name == name:
                    return message
        raise AssertionError(f"no reply to {name} in {WAIT_TICKS} ticks")

    def do(self, name: str, **fields: Any) -> dict[str, Any]:
        """A request that must be carried out; its fields."""
        reply = self.ask(name, **fields)
        status = Status(reply.fields["status"])
        assert status is Status.OK, f"{name}: {status.name} {reply.fields['detail']}"
        return reply.fields

    def open(self) -> dict[str, Any]:
        """hello and open; what hello said."""
        self.newest = 0
        self.heard.clear()
        self.step(BOOT_TICKS)
        hello = self.do("hello")
        self.seq = 0
        self.do("open", boot_nonce=hello["boot_nonce"], protocol_major=1, protocol_minor=0)
        return hello

    def settle(self, scope: int, keys: dict[str, int]) -> None:
        """Draft and commit settings of the board (0) or an axis, by name."""
        self.do("draft_begin", scope=scope)
        items = [{"key": KEYS[scope > 0][name], "value": value} for name, value in keys.items()]
        for start in range(0, len(items), 8):
            self.do("draft_set", scope=scope, items=items[start : start + 8])
        self.do("draft_commit", scope=scope)

    def store(self) -> None:
        """Store, and wait for its end."""
        self.do("store")
        for _ in range(600):
            self.step()
            heard = self.heard[-20:]
            if any(m.name == "event" and m.fields["kind"] == 7 for m in heard):
                return
        raise AssertionError("the store did not end")

    def axis(self, axis: int = 1) -> dict[str, Any]:
        """The newest telemetry of an axis."""
        for message in reversed(self.heard):
            if message.name == "telemetry_axis" and message.fields["axis"] == axis:
                return message.fields
        raise AssertionError("no telemetry of this axis")

    def until(self, state: int, axis: int = 1, ticks: int = 4000) -> None:
        """Wait until telemetry shows a state."""
        for _ in range(ticks):
            self.step()
            if self.axis(axis)["state"] == state:
                return
        raise AssertionError(f"never came to state {state}: {self.axis(axis)}")


def rod_settings(rod: Any, reference_v: float = 5.0) -> dict[str, int]:
    """Settings that are true for an emulated rod, read off its figures."""
    stroke = round(rod.stroke_mm * 1000)
    full = round(rod.stroke_mm * 1000 / 10)
    return {
        "feedback": 1,
        "calibrated": 1,
        "motor_reversed": int(rod.motor.reversed),
        "raw_retracted": round(rod.pot.retracted * 8184),
        "raw_extended": round(rod.pot.extended * 8184),
        "stroke_um": stroke,
        "soft_stop_min_um": stroke // 20,
        "soft_stop_max_um": stroke - stroke // 20,
        "speed_max_um_s": min(8000, full),
        "current_uv_per_ma": round(rod.sensor.v_per_a * 1000),
        "current_zero": round(rod.sensor.zero_v / reference_v * 4092),
        "trip_ma": 6000,
        "pot_margin_raw": 200,
        "full_speed_extend_um_s": 8000,
        "full_speed_retract_um_s": 8000,
        "duty_share_permille": 1000,
    }
