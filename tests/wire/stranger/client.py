"""A client of the board's wire that shares no code with the project, written from SPEC.md alone."""

from __future__ import annotations

import random
import select
import socket
import struct
import time
import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

MAJOR, MINOR = 1, 2
SCHEMA_DIGEST = 0x0B9C169C
DECODED_MIN, DECODED_MAX = 5, 64
REPLY = 0x80
TICK_S = 0.005
ALIVE_PERIOD_S = 0.05
HOLD_S = 0.25
REPLY_WAIT_S = 0.15
TRIES = 3
BOOT_WAIT_S = 3.0
HELLO_PERIOD_S = 0.2


def words(text: str) -> list[str]:
    return text.split()


STATUS = words(
    "ok malformed unknown_message no_session sequence wrong_nonce protocol_major bad_value"
    " unknown_setting setting_range cross_rule no_draft in_motion faulted not_fitted uncalibrated"
    " calibrated outside duty_spent busy not_supported session_in_use stop_standing"
    " ganged local_control nothing_kept"
)
ENDED = words(
    "none running reached end_found stopped silence soft_stop duty fault replaced session"
    " unfinished gang"
)
EVENT = words(
    "0 boot trip motion_ended soft_stop duty_spent end_found stored cleared late_tick"
    " armed source_lost handed_over fold_back warm"
)
STATE = words("not_fitted idle jog run seek probe move stopping fault")
RESET = words("unknown power_on external brown_out watchdog restart assertion")
FAULT = words(
    "0 over_current stall no_current pot_not_following pot_band wrong_way move_silence watchdog"
    " settings assertion no_end pot_open pot_short pot_jump moving_off following thermal"
    " supply_low supply_high stop_input apart late_tick"
)
FLAGS = {
    "calibrated": 1, "proven": 2, "outside": 4, "held_back": 8, "braking": 16,
    "near_retracted": 32, "near_extended": 64, "between": 128,
}  # fmt: skip
OUTPUT, SPEED = 0, 1
LIVE, DRAFT = 0, 1

CODES = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i", "char[10]": "10s"}


class WireError(Exception):
    """Anything that keeps the client from going on."""


class NoReply(WireError):
    """Three tries without a reply: whether the request was carried out is not known."""


class LineClosed(WireError):
    """Nobody is at the other end."""


class MajorDiffers(WireError):
    """The board speaks another major: hello and stop are all that may be sent."""


class Refused(WireError):
    """The board answered, and did not do it."""

    def __init__(self, message: str, reply: Reply) -> None:
        super().__init__(f"{message}: {reply.status_name} {reply.detail}")
        self.status, self.detail, self.reply = reply.status_name, reply.detail, reply


def word(names: list[str], value: int) -> str:
    return names[value] if value < len(names) else f"unknown {value}"


# --- frames -------------------------------------------------------------------------------------


def crc16(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1) ^ (0x1021 if crc & 0x8000 else 0)
        crc &= 0xFFFF
    return crc


def crc32(data: bytes) -> int:
    return zlib.crc32(data)


def cobs_encode(data: bytes) -> bytes:
    out = bytearray()
    for run in data.split(b"\0"):
        while len(run) >= 254:
            out += b"\xff" + run[:254]
            run = run[254:]
        out += bytes([len(run) + 1]) + run
    return bytes(out)


def cobs_decode(data: bytes) -> bytes:
    out, at = bytearray(), 0
    while at < len(data):
        end = at + data[at]
        if data[at] == 0 or end > len(data) or 0 in data[at + 1 : end]:
            raise ValueError("no COBS")
        out += data[at + 1 : end]
        if end < len(data) and data[at] != 0xFF:
            out.append(0)
        at = end
    return bytes(out)


def frame(payload: bytes) -> bytes:
    return cobs_encode(payload + crc16(payload).to_bytes(2, "big")) + b"\0"


def payload_of(encoded: bytes) -> bytes:
    """The payload of one frame without its closing zero; ValueError names the reason."""
    data = cobs_decode(encoded)
    if not DECODED_MIN <= len(data) <= DECODED_MAX:
        raise ValueError("length")
    if crc16(data) != 0:
        raise ValueError("CRC")
    return data[:-2]


class Deframer:
    """Cuts what arrives into payloads, and counts what is none."""

    def __init__(self) -> None:
        self.bad = 0
        self._run = bytearray()

    def feed(self, data: bytes) -> list[bytes]:
        found: list[bytes] = []
        for byte in data:
            if byte:
                # One byte more than fits is kept: it marks the run as too long.
                if len(self._run) <= DECODED_MAX + 1:
                    self._run.append(byte)
            else:
                self._close(found)
        return found

    def _close(self, found: list[bytes]) -> None:
        run, self._run = bytes(self._run), bytearray()
        if not run:
            return
        try:
            found.append(payload_of(run))
        except ValueError:
            self.bad += 1


# --- messages -----------------------------------------------------------------------------------


class Field(NamedTuple):
    name: str
    type: str


def fields(text: str) -> tuple[Field, ...]:
    return tuple(Field(*part.split(":")) for part in text.split())


HEAD = fields("tick:u32 status:u8 detail:u16")


@dataclass(frozen=True)
class Message:
    name: str
    id: int
    body: tuple[Field, ...] = ()
    reply: tuple[Field, ...] = ()
    body_items: bool = False
    reply_items: bool = False
    item: str = "<Bi"


def _request(
    name: str,
    id_: int,
    body: str = "",
    reply: str = "",
    body_items: bool = False,
    reply_items: bool = False,
    item: str = "<Bi",
) -> Message:
    return Message(name, id_, fields(body), HEAD + fields(reply), body_items, reply_items, item)


_MESSAGES = (
    _request(
        "hello",
        0x01,
        reply="protocol_major:u8 protocol_minor:u8 schema_digest:u32 boot_nonce:u16"
        " firmware_major:u8 firmware_minor:u8 firmware_patch:u8 board_kind:u8 axis_count:u8"
        " features:u16 reset_cause:u8 adc_full_scale:u16 adc_reference_mv:u16 board_id:u32"
        " digest_live:u32 digest_stored:u32 name:char[10] current_full_scale:u16",
    ),
    _request("open", 0x02, "boot_nonce:u16 protocol_major:u8 protocol_minor:u8"),
    _request(
        "counters",
        0x03,
        reply="requests_done:u32 frames_good:u32 frames_bad:u16 frames_dropped:u16 repeats:u16"
        " alive_ignored:u16 unasked_dropped:u16 late_ticks:u16 worst_tick_us:u16",
    ),
    _request("stop", 0x10, "axis:u8 category:u8"),
    _request("clear", 0x11, "axis:u8", "cleared:u32"),
    _request("jog", 0x12, "axis:u8 unit:u8 value:i32", "motion:u16"),
    _request("run", 0x13, "axis:u8 output_permille:i16", "motion:u16"),
    _request("seek", 0x14, "axis:u8 direction:i8", "motion:u16"),
    _request("move", 0x15, "axis:u8 target_um:i32 speed_um_s:i32", "motion:u16"),
    _request(
        "outcome",
        0x16,
        "axis:u8",
        "axis:u8 motion:u16 ended:u8 cause:u8 raw:u16 position_um:i32 current_before_ma:i16"
        " current_stop_ma:i16 current_probe_ma:i16 on_ticks:u32",
    ),
    _request("restart", 0x17),
    _request("level", 0x18, "axis:u8 speed_um_s:i32", "motion:u16"),
    _request("hand_over", 0x19, "axis:u8 commander:u8"),
    _request("credit_off", 0x1A, "off_s:u32"),
    _request("draft_begin", 0x20, "scope:u8"),
    _request("draft_set", 0x21, "scope:u8", body_items=True),
    _request("draft_check", 0x22, "scope:u8", "digest:u32"),
    _request("draft_commit", 0x23, "scope:u8", "digest:u32"),
    _request("draft_discard", 0x24, "scope:u8"),
    _request("store", 0x25, reply="generation:u16"),
    _request("settings_get", 0x26, "which:u8 scope:u8 first_key:u8", "scope:u8", reply_items=True),
    _request(
        "digests",
        0x27,
        reply="live:u32 stored:u32 board:u32 axis_1:u32 axis_2:u32 storing:u8",
    ),
    _request(
        "trip_get",
        0x28,
        "age:u8",
        "number:u16 axis:u8 fault:u8 position_um:i32 raw:u16 current_ma:i16 supply_mv:u16"
        " output_percent:i8 uptime_min:u16",
    ),
    _request(
        "black_box",
        0x29,
        "axis:u8 first:u8",
        "trip_axis:u8 trip_fault:u8 count:u8",
        reply_items=True,
        item="<HB",
    ),
    _request("totals", 0x2A, "axis:u8", "on_s:u32 starts:u32 travel_mm:u32"),
    _request("subscribe", 0x30, "axis_period_ms:u16 board_period_ms:u16"),
    Message("alive", 0x60, fields("tick:u32")),
    Message(
        "telemetry_axis",
        0x70,
        fields(
            "tick:u32 axis:u8 state:u8 flags:u8 raw:u16 position_um:i32 speed_um_s:i32"
            " reference_um:i32 current_ma:i16 output_permille:i16 faults:u32"
            " duty_used_permille:u16 motion:u16 also:u8"
        ),
    ),
    Message(
        "telemetry_board",
        0x71,
        fields(
            "tick:u32 supply_mv:u16 board_5v_mv:u16 inputs:u8 faults:u32 on_ticks_1:u32"
            " on_ticks_2:u32 duty_left_1_ms:u32 duty_left_2_ms:u32 frames_bad:u16 late_ticks:u16"
            " duty_ready_1_ms:u32 duty_ready_2_ms:u32 heat_1_permille:u16 heat_2_permille:u16"
            " local_1:u16 local_2:u16"
        ),
    ),
    Message(
        "event",
        0x72,
        fields(
            "tick:u32 number:u16 axis:u8 kind:u8 cause:u8 raw:u16 position_um:i32 current_ma:i16"
            " output_permille:i16 value_a:i32 value_b:i32"
        ),
    ),
)
MESSAGES = {message.name: message for message in _MESSAGES}
BY_ID = {message.id: message for message in _MESSAGES}

Items = tuple[tuple[int, int], ...]


def signed(value: int) -> int:
    """A u32 travels through an i32 as the same 32 bits."""
    return value - (1 << 32) if value >= 1 << 31 else value


def encode_body(
    message: Message, values: Mapping[str, int], items: Iterable[tuple[int, int]] = ()
) -> bytes:
    body = b"".join(struct.pack("<" + CODES[f.type], values[f.name]) for f in message.body)
    return body + b"".join(struct.pack("<Bi", key, signed(value)) for key, value in items)


def encode(
    name: str, session: int, seq: int, items: Iterable[tuple[int, int]] = (), **values: int
) -> bytes:
    message = MESSAGES[name]
    return bytes([message.id, session, seq]) + encode_body(message, values, items)


@dataclass(frozen=True)
class Frame:
    """A frame from the board, its fields in names."""

    name: str
    id: int
    session: int
    seq: int
    values: dict[str, int]
    items: Items
    text: str
    payload: bytes

    def __getitem__(self, name: str) -> int:
        return self.values[name]


class Reply(Frame):
    @property
    def status_name(self) -> str:
        return word(STATUS, self["status"])

    @property
    def detail(self) -> int:
        return self["detail"]


def decode_fields(layout: Iterable[Field], body: bytes) -> tuple[dict[str, int], str, bytes]:
    """Numbers, text and what is left. A body that ends early is an older board's."""
    values: dict[str, int] = {}
    text = ""
    for name, type_ in layout:
        code = "<" + CODES[type_]
        size = struct.calcsize(code)
        if len(body) < size:
            break
        if type_ == "char[10]":
            text = body[:size].rstrip(b"\0").decode("ascii", "replace")
        else:
            values[name] = struct.unpack(code, body[:size])[0]
        body = body[size:]
    return values, text, body


def decode(payload: bytes) -> Frame:
    id_, session, seq = payload[:3]
    is_reply = 0x80 <= id_ < 0xE0
    unknown = Message("unknown", id_, reply=HEAD)
    message = BY_ID.get(id_ - REPLY if is_reply else id_, unknown)
    layout = message.reply if is_reply else message.body
    values, text, rest = decode_fields(layout, payload[3:])
    listed = message.reply_items if is_reply else message.body_items
    size = struct.calcsize(message.item)
    whole = rest[: len(rest) // size * size] if listed else b""
    items = tuple((int(a), int(b)) for a, b in struct.iter_unpack(message.item, whole))
    kind = Reply if is_reply else Frame
    return kind(message.name, id_, session, seq, values, items, text, payload)


# --- settings -----------------------------------------------------------------------------------


class Setting(NamedTuple):
    key: int
    name: str
    type: str


def _settings(text: str) -> tuple[Setting, ...]:
    """Keys count from 1; `name:type*n` is n keys in a row."""
    found: list[Setting] = []
    for part in text.split():
        name, type_ = part.split(":")
        type_, _, count = type_.partition("*")
        names = [f"{name}_{n}" for n in range(int(count))] if count else [name]
        found += [Setting(0, each, type_) for each in names]
    return tuple(s._replace(key=n) for n, s in enumerate(found, 1))


BOARD_SETTINGS = _settings(
    "board_id:u32 supply_nominal_mv:u16 supply_ratio_x1000:u16 supply_calibrated:u8 board_5v_mv:u16"
    " supply_low_mv:u16 supply_high_mv:u16 stop_input:u8 apart_trip_um:u16"
)
AXIS_SETTINGS = _settings(
    "feedback:u8 calibrated:u8 motor_reversed:u8 raw_retracted:u16 raw_extended:u16 stroke_um:i32"
    " soft_stop_min_um:i32 soft_stop_max_um:i32 speed_max_um_s:i32 acceleration_um_s2:i32"
    " deceleration_um_s2:i32 creep_output_permille:u16 creep_speed_um_s:i32"
    " output_max_permille:u16 stop_by:u8 driver:u8 current_sensor:u8 current_uv_per_ma:u16"
    " current_zero:u16 trip_ma:u16 trip_ms:u16 stall_time_ms:u16 running_ma:u16"
    " full_speed_extend_um_s:i32 full_speed_retract_um_s:i32 speed_supply_mv:u16"
    " dead_zone_extend_permille:u16 dead_zone_retract_permille:u16 run_on_extend_um:u16"
    " run_on_retract_um:u16 noise_x16:u16 duty_share_permille:u16 duty_window_s:u16"
    " pot_margin_raw:u16 move_hold_ms:u16 stall_ma:u16 table_points:u8 table_raw:u16*8"
    " table_place:u16*8 current_sensor_ratiometric:u8 stroke_time_extend_cs:u16"
    " stroke_time_retract_cs:u16 following_um:u16 fold_back_ma:u16 rated_ma:u16 thermal_time_s:u16"
    " thermal_warn_percent:u8 thermal_trip_percent:u8 local_source:u8 local_as:u8 local_low_end:u16"
    " local_rest:u16 local_rest_band:u16 local_high_end:u16 local_place_retract:u16"
    " local_place_extend:u16 local_loss_ms:u16"
)
SCOPES = (BOARD_SETTINGS, AXIS_SETTINGS, AXIS_SETTINGS)
ITEMS_PER_SET = 11


def settings_bytes(scope: int, values: Mapping[str, int]) -> bytes:
    return b"".join(struct.pack("<" + CODES[s.type], values[s.name]) for s in SCOPES[scope])


# --- the line and the client --------------------------------------------------------------------


class Line:
    """Bytes to and from a board behind a TCP port."""

    def __init__(self, host: str, port: int) -> None:
        self._address = (host, port)
        self._socket: socket.socket | None = None
        self.deframer = Deframer()

    def connect(self) -> None:
        self.close()
        self.deframer = Deframer()
        self._socket = socket.create_connection(self._address, timeout=2.0)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def write(self, data: bytes) -> None:
        try:
            self._open_socket().sendall(data)
        except OSError as error:
            raise LineClosed(str(error)) from error

    def _open_socket(self) -> socket.socket:
        if self._socket is None:
            raise LineClosed("the line is closed")
        return self._socket

    def read(self, wait_s: float) -> list[bytes]:
        """The payloads that came within the wait, returned as soon as there is any byte."""
        link = self._open_socket()
        if not select.select([link], [], [], max(wait_s, 0.0))[0]:
            return []
        try:
            data = link.recv(4096)
        except OSError as error:
            raise LineClosed(str(error)) from error
        if not data:
            raise LineClosed("the other side closed the line")
        return self.deframer.feed(data)


@dataclass
class Heard:
    """What came unasked, and what was counted on this side."""

    axis: dict[int, Frame] = field(default_factory=dict)
    board: Frame | None = None
    events: list[Frame] = field(default_factory=list)
    axis_frames: int = 0
    board_frames: int = 0
    late: int = 0
    gaps: int = 0
    counter: int | None = None


class Client:
    def __init__(self, host: str, port: int) -> None:
        self.line = Line(host, port)
        self.heard = Heard()
        self.session = 0
        self.seq = 0
        self.tick = 0
        self.nonce: int | None = None
        self.board: Reply | None = None
        self.notes: list[str] = []
        self.echoed = 0
        self.subscribed = False

    # Opening

    def connect(self, wait_s: float = BOOT_WAIT_S) -> Reply:
        """Open the port and say hello until the board answers."""
        end = time.monotonic() + wait_s
        while True:
            try:
                self.line.connect()
                return self.find(end - time.monotonic())
            except (LineClosed, OSError):
                # The port is for one host alone: the one before may not be gone yet.
                if time.monotonic() > end:
                    raise
                time.sleep(HELLO_PERIOD_S / 4)

    def find(self, wait_s: float = BOOT_WAIT_S) -> Reply:
        end = time.monotonic() + wait_s
        data = encode("hello", 0, 0)
        while time.monotonic() < end:
            self.line.write(b"\0" + frame(data))
            reply = self._await(data, HELLO_PERIOD_S)
            if reply is not None:
                return self._take_hello(reply)
        raise NoReply("no good frame since the port was opened")

    def hello(self) -> Reply:
        return self._take_hello(self.exchange(encode("hello", self.session, self.seq)))

    def _take_hello(self, reply: Reply) -> Reply:
        if reply["boot_nonce"] != self.nonce:
            # Another start: what was known of session, tick and counters is void.
            self.nonce, self.session = reply["boot_nonce"], 0
            self.tick = reply["tick"]
            self.heard.counter = None
            self.subscribed = False
            self._compare(reply)
        self.board = reply
        return reply

    def _compare(self, reply: Reply) -> None:
        same = (reply["protocol_minor"], reply["schema_digest"]) == (MINOR, SCHEMA_DIGEST)
        note = "minor or schema differ: what both have in common is used"
        if reply["protocol_major"] == MAJOR and not same and note not in self.notes:
            self.notes.append(note)

    def open(self, session: int | None = None) -> Reply:
        """Take the board; without a number choose one, and another while it is in use."""
        board = self.board or self.hello()
        if board["protocol_major"] != MAJOR:
            theirs = board["protocol_major"]
            raise MajorDiffers(f"this host speaks major {MAJOR}, the board {theirs}")
        while True:
            number = session or random.choice([n for n in range(1, 256) if n != self.session])
            # A seq by chance: two hosts that pick one number would else send the same bytes, and
            # the second would be answered from the first one's memory.
            seq = random.randrange(256)
            reply = self.try_open(number, board["boot_nonce"], seq=seq)
            if reply.status_name == "ok":
                return reply
            if session or reply.status_name != "session_in_use":
                raise Refused("open", reply)

    def try_open(self, session: int, nonce: int, major: int = MAJOR, seq: int = 0) -> Reply:
        data = encode(
            "open", session, seq, boot_nonce=nonce, protocol_major=major, protocol_minor=MINOR
        )
        reply = self.exchange(data)
        if reply.status_name == "ok":
            self.session, self.seq, self.subscribed = session, seq, False
        return reply

    def recover(self) -> bool:
        """After an unknown outcome: hello and a new session; whether the board started anew."""
        before = self.nonce
        self.find()
        self.open()
        return self.nonce != before

    # Requests

    def ask(self, name: str, items: Iterable[tuple[int, int]] = (), **values: int) -> Reply:
        """A request in sequence, and its reply, whatever the status."""
        return self.ask_raw(encode(name, self.session, self.next_seq, items, **values))

    def do(self, name: str, items: Iterable[tuple[int, int]] = (), **values: int) -> Reply:
        reply = self.ask(name, items, **values)
        if reply.status_name != "ok":
            raise Refused(name, reply)
        return reply

    @property
    def next_seq(self) -> int:
        return (self.seq + 1) % 256

    def ask_raw(self, payload: bytes) -> Reply:
        reply = self.exchange(payload)
        if reply.status_name not in ("no_session", "sequence"):
            self.seq = payload[2]
        return reply

    def exchange(self, payload: bytes) -> Reply:
        """The same bytes up to three times, until their reply comes."""
        for _ in range(TRIES):
            self.line.write(frame(payload))
            reply = self._await(payload, REPLY_WAIT_S)
            if reply is not None:
                return reply
        raise NoReply(f"no reply to 0x{payload[0]:02x}: its outcome is unknown")

    def _await(self, request: bytes, wait_s: float) -> Reply | None:
        end = time.monotonic() + wait_s
        found: Reply | None = None
        while found is None and (left := end - time.monotonic()) > 0:
            for heard in self.listen(left):
                if self._answers(request, heard) and found is None:
                    found = heard
                else:
                    self.heard.late += 1
        return found

    @staticmethod
    def _answers(request: bytes, reply: Reply) -> bool:
        return reply.payload[:3] == bytes([request[0] + REPLY, request[1], request[2]])

    def listen(self, wait_s: float) -> list[Reply]:
        """Take in what comes; give back the replies."""
        replies: list[Reply] = []
        for payload in self.line.read(wait_s):
            heard = decode(payload)
            if isinstance(heard, Reply):
                self.tick = max(self.tick, heard.values.get("tick", 0))
                replies.append(heard)
            elif heard.name in ("telemetry_axis", "telemetry_board", "event"):
                self._unasked(heard)
        return replies

    def _unasked(self, heard: Frame) -> None:
        mine = self.heard
        if mine.counter is not None:
            mine.gaps += (heard.seq - mine.counter - 1) % 256
        mine.counter = heard.seq
        if heard.name == "event":
            # An event says when something happened, which may be older than now.
            mine.events.append(heard)
            return
        self.tick = max(self.tick, heard["tick"])
        if heard.name == "telemetry_axis":
            mine.axis[heard["axis"]] = heard
            mine.axis_frames += 1
        else:
            mine.board = heard
            mine.board_frames += 1

    def wait(self, until: Callable[[], bool], wait_s: float) -> bool:
        """Listen, commanding nothing, until it holds or the time is over."""
        end = time.monotonic() + wait_s
        while not until():
            left = end - time.monotonic()
            if left <= 0:
                return False
            self.heard.late += len(self.listen(left))
        return True

    def event(self, kind: str, **values: int) -> Frame | None:
        """The newest event of a kind that has these values."""
        for heard in reversed(self.heard.events):
            wanted = all(heard[name] == value for name, value in values.items())
            if word(EVENT, heard["kind"]) == kind and wanted:
                return heard
        return None

    # Motion

    def stop(self, axis: int = 0, category: int = 1, session: int | None = None) -> Reply:
        number = self.session if session is None else session
        return self.exchange(encode("stop", number, self.seq, axis=axis, category=category))

    def subscribe(self, axis_ms: int, board_ms: int = 0) -> None:
        self.do("subscribe", axis_period_ms=axis_ms, board_period_ms=board_ms)
        self.subscribed = axis_ms > 0 or board_ms > 0

    def alive(self, tick: int | None = None, session: int | None = None) -> None:
        number = self.session if session is None else session
        self.echoed = self.tick if tick is None else tick
        self.line.write(frame(encode("alive", number, 0, tick=self.echoed)))

    def keep_alive(self, until: Callable[[], bool], wait_s: float) -> bool:
        """Renew the motion every 50 ms until it holds or the time is over."""
        if not self.subscribed:
            # Without telemetry the newest tick grows old, and echoing it prolongs nothing.
            raise WireError("subscribe first: alive needs fresh ticks")
        end = time.monotonic() + wait_s
        while not until():
            if time.monotonic() >= end:
                return False
            self.alive()
            self.wait(until, ALIVE_PERIOD_S)
        return True

    def finish(self, axis: int, motion: int, wait_s: float, alive: bool = True) -> str:
        """How a motion ended, kept alive or left to itself meanwhile."""

        def ended() -> bool:
            return self.event("motion_ended", axis=axis, value_a=motion) is not None

        (self.keep_alive if alive else self.wait)(ended, wait_s)
        outcome = self.do("outcome", axis=axis)
        if outcome["motion"] != motion:
            raise WireError(f"motion {outcome['motion']} took the place of {motion}")
        return word(ENDED, outcome["ended"])

    # Settings

    def settings(self, scope: int, which: int = LIVE) -> dict[str, int]:
        """All values of a scope, by name; keys unknown here are left out."""
        names = {s.key: s.name for s in SCOPES[scope]}
        found: dict[str, int] = {}
        first = 0
        while items := self.do("settings_get", which=which, scope=scope, first_key=first).items:
            found |= {names[key]: value for key, value in items if key in names}
            first = items[-1][0] + 1
            if first > 255:
                break
        return found

    def draft(self, scope: int, values: Mapping[str, int]) -> None:
        """Open a draft and set these in it."""
        keys = {s.name: s.key for s in SCOPES[scope]}
        items = [(keys[name], value) for name, value in values.items()]
        self.do("draft_begin", scope=scope)
        for at in range(0, len(items), ITEMS_PER_SET):
            self.do("draft_set", items[at : at + ITEMS_PER_SET], scope=scope)

    def commit(self, scope: int, values: Mapping[str, int]) -> int:
        """Put these in force; the digest of the scope, checked before and after."""
        self.draft(scope, values)
        checked = self.do("draft_check", scope=scope)["digest"]
        committed = self.do("draft_commit", scope=scope)["digest"]
        if checked != committed:
            raise WireError("the board committed something else than it checked")
        return committed

    def digest(self, scope: int) -> int:
        return crc32(settings_bytes(scope, self.settings(scope)))

    def digest_of_all(self) -> int:
        return crc32(b"".join(settings_bytes(s, self.settings(s)) for s in range(len(SCOPES))))

    def restart(self) -> Reply:
        """Start the board anew, and find it again: the line stays, or is opened again."""
        self.do("restart")
        try:
            return self.find()
        except LineClosed:
            return self.connect()

    def store(self, wait_s: float = 5.0) -> Frame:
        """Store, and wait for the event that ends it."""
        generation = self.do("store")["generation"]

        def stored() -> bool:
            return self.event("stored", value_a=generation) is not None

        self.wait(stored, wait_s)
        event = self.event("stored", value_a=generation)
        if event is None or event["cause"] != 0:
            raise WireError(f"generation {generation} was not stored")
        return event

    def close(self) -> None:
        self.line.close()
