"""An attacker on the native core, and an observer that judges from outside.

    python -m tests.core.attack --runs 500 --seed 1         counts, and what was broken

The attacker sends what a host may send, and what it may not: old frames again, damaged ones,
halves, rubbish, wild fields, resets and power cuts in between, settings at the ends of their
ranges. The rods obey settings that are true (`honest`) or none at all (`wild`). The observer knows
what was sent, the replies, the outputs, and where the rods really are; frames, CRC and COBS are
its own, by SPEC.md.
"""

from __future__ import annotations

import argparse
import binascii
import struct
import sys
from collections import Counter, deque
from dataclasses import dataclass, field
from random import Random
from typing import Any

from rodbench_protocol import settings
from rodbench_protocol.names import EventKind

from tests.core.native import Board, library
from tests.twin import memory
from tests.twin.pair import Pair

TICKS = 1500
DRIVE, TICKS_PER_S = 2, 200
HELLO, OPEN, STOP, CLEAR, JOG, RUN, SEEK, MOVE, RESTART = 1, 2, 16, 17, 18, 19, 20, 21, 23
BEGIN, SET, CHECK, COMMIT, DISCARD, STORE, SUBSCRIBE, ALIVE = 32, 33, 34, 35, 36, 37, 48, 0x60
MOTIONS = (JOG, RUN, SEEK, MOVE)
OK, NO_SESSION, SEQUENCE = 0, 3, 4
TWO_WIRES = 2  # feedback none
HOLD = 50
KEYS = {kind: settings.KEYS[kind] for kind in ("board", "axis")}
Values = dict[str, int]


class Broken(AssertionError):
    """What must hold does not."""


def encode(payload: bytes) -> bytes:
    """Payload, CRC high byte first, COBS, zero."""
    data = payload + struct.pack(">H", binascii.crc_hqx(payload, 0xFFFF))
    return b"".join(bytes([len(run) + 1]) + run for run in data.split(b"\0")) + b"\0"


def decode(frame: bytes) -> bytes:
    """Payload of a frame of the board; anything else is a mistake of the board."""
    data, at = b"", 0
    while at < len(frame):
        code = frame[at]
        data += frame[at + 1 : at + code] + b"\0"
        at += code
    if at != len(frame) or len(data) < 6 or binascii.crc_hqx(data[:-1], 0xFFFF):
        raise Broken(f"the board sent no frame: {frame.hex()}")
    return data[:-3]


# ---------------------------------------------------------------- rods and settings


@dataclass(slots=True)
class Rod:
    """In mm and mm/s, one step a tick: a motor with a time constant, a dead zone, and two ends."""

    full: float
    dead: float
    grip: float
    low_raw: float
    high_raw: float
    stroke: float
    noise: float
    place: float
    sign: int
    speed: float = 0.0
    stuck: int = 0

    def step(self, drive: int, random: Random) -> tuple[int, int]:
        """Pot and current after a tick under `drive` on the lines."""
        push = max(0.0, abs(drive) - self.dead) / (1000 - self.dead)
        wanted = self.sign * (push if drive > 0 else -push) * self.full
        self.speed += (wanted - self.speed) * self.grip
        place = self.place + self.speed / TICKS_PER_S
        self.place = min(self.stroke + 1.0, max(-1.0, place))
        if place != self.place or self.stuck:
            self.speed = 0.0
        self.stuck -= self.stuck > 0
        raw = self.low_raw + (self.high_raw - self.low_raw) * self.place / self.stroke
        raw += random.gauss(0, self.noise)
        return round(min(8184, max(0, raw))), (60 if drive else 0)

    def run_on(self) -> float:
        """From full speed, in mm."""
        return self.full * (1 - self.grip) / self.grip / TICKS_PER_S


def extreme(random: Random, kind: str, name: str, value: int) -> int:
    """A value from its range, often at an end."""
    key = next(k.setting for k in KEYS[kind] if k.name == name)
    any_value = random.randint(key.min, key.max)
    near = min(key.max, max(key.min, int(value * random.choice((0.3, 0.7, 1.5, 3)))))
    return random.choice((key.min, key.max, any_value, near))


def repaired(kind: str, values: Values, live: Values | None = None) -> Values:
    """With defaults in place of keys that break a rule, one after the other."""
    plain = settings.defaults(kind)
    for _ in range(60):
        problems = settings.check(kind, values, live)
        if not problems:
            return values
        rule = problems[0]
        if rule.key == "calibrated" or values[rule.key] == plain[rule.key]:
            return dict(live) if live else plain | {"feedback": values.get("feedback", 0)}
        values[rule.key] = plain[rule.key]
    return plain


def wild_axis(random: Random) -> Values:
    """Any settings that the board accepts."""
    for _ in range(200):
        values = settings.defaults("axis")
        for key in random.sample(sorted(values), random.randint(1, len(values))):
            values[key] = extreme(random, "axis", key, values[key])
        values["feedback"] = random.choice((1,) * 14 + (2,) * 5 + (0,))
        values["calibrated"] = int(values["feedback"] == 1 and random.random() < 0.7)
        values["driver"] = random.choice((0, 1, 3))  # 2 would forbid a rod on the other axis
        for way in ("extend", "retract"):
            values[f"stroke_time_{way}_cs"] = random.choice((0, 20, 60, 200, 1000))
        if values["calibrated"]:
            values["soft_stop_min_um"] = random.choice((0, values["stroke_um"] // 10))
            values["soft_stop_max_um"] = random.choice(
                (values["stroke_um"], values["stroke_um"] // 2)
            )
        if not settings.check("axis", values):
            return values
    return settings.defaults("axis") | {"feedback": 1}


def honest_rod(random: Random) -> Rod:
    """A rod as builders have them, its pot either way."""
    ends = [random.uniform(300, 1500), random.uniform(4000, 7800)]
    random.shuffle(ends)
    stroke = random.uniform(60, 500)
    full = random.uniform(5, 60)
    grip = random.uniform(0.08, 0.5)
    start = random.choice((0.02, 0.98, random.uniform(0, 1)))
    noise = random.choice((0.0, 1.0, 3.0, 8.0))
    return Rod(full, random.uniform(0, 150), grip, *ends, stroke, noise, stroke * start, 1)


def honest_axis(random: Random, rod: Rod) -> Values:
    """What a calibration would find, with limits at the builder's whim."""
    creep = random.randint(250, 600)
    um = round(rod.full * 1000)
    values = settings.defaults("axis") | {
        "feedback": 1,
        "calibrated": 1,
        "raw_retracted": round(rod.low_raw),
        "raw_extended": round(rod.high_raw),
        "stroke_um": round(rod.stroke * 1000),
        "soft_stop_min_um": round(rod.stroke * 40),
        "soft_stop_max_um": round(rod.stroke * 960),
        "speed_max_um_s": max(200, round(um * random.choice((0.05, 0.5, 1.0, 2.0)))),
        "acceleration_um_s2": random.choice((500, 20000, 2000000, random.randint(500, 2000000))),
        "deceleration_um_s2": random.choice((20000, 2000000, random.randint(5000, 2000000))),
        "creep_output_permille": creep,
        "creep_speed_um_s": max(100, round(um * (creep - rod.dead) / (1000 - rod.dead))),
        "full_speed_extend_um_s": um,
        "full_speed_retract_um_s": um,
        "dead_zone_extend_permille": round(rod.dead),
        "dead_zone_retract_permille": round(rod.dead),
        "run_on_extend_um": min(60000, round(rod.run_on() * 1000) + 1),
        "run_on_retract_um": min(60000, round(rod.run_on() * 1000) + 1),
        "noise_x16": round(rod.noise * 16) + 5,
        "pot_margin_raw": 200,
        "duty_window_s": random.choice((60, 61, 7200)),
        "duty_share_permille": random.choice((10, 30, 1000)),
        "move_hold_ms": random.choice((100, 500, 2000)),
        "motor_reversed": int(rod.sign < 0),
    }
    values["speed_max_um_s"] = max(values["speed_max_um_s"], values["creep_speed_um_s"] // 2 + 1)
    values["running_ma"] = 0
    return values


# ---------------------------------------------------------------- what must hold


def ramp_ticks(axis: Values) -> int:
    """No ramp down takes longer, by SPEC.md section 7."""
    if axis["feedback"] == TWO_WIRES:
        return 36
    if not axis["calibrated"]:
        return 26
    down = axis["deceleration_um_s2"]
    spread = max(axis["creep_output_permille"] - axis["dead_zone_extend_permille"], 20)
    spread = min(
        spread, max(axis["creep_output_permille"] - axis["dead_zone_retract_permille"], 20)
    )
    guessed = axis["creep_speed_um_s"] * 1000 // spread
    ways = (axis["full_speed_extend_um_s"], axis["full_speed_retract_um_s"])
    full = max(100, *(way or guessed for way in ways))
    by_output = 1000 // (5 * min(down, 400000) // full + 1) + 2
    return max(axis["speed_max_um_s"] * TICKS_PER_S // down * 1002 // 1000 + 4, by_output)


def run_most(axis: Values, output: int) -> int:
    """Ticks of a run without a pot, by SPEC.md: 6/5 of its time, and the time in which another
    current than a running motor's is judged."""
    if axis["feedback"] != TWO_WIRES:
        return 0
    time_cs = axis["stroke_time_extend_cs" if output > 0 else "stroke_time_retract_cs"]
    return time_cs * 12 // 5 + 1 + max(40, axis["stall_time_ms"] // 5) + 32


@dataclass
class AxisWatch:
    """What the observer knows of an axis."""

    values: Values
    rod: Rod
    honest: bool
    before: int = 0
    allowed_to: int = -1  # last tick in which output may still come, by holds and ramps
    hold_ticks: int = 0
    started: bool = False  # a motion was accepted in this start
    off_by: int = 2**62  # output must be 0 from then on, until a motion is accepted
    run_most: int = 0  # ticks with output that a run without a pot may last; 0: it is no run
    run_ticks: int = 0
    motion: int = 0
    motions: int = 0  # that the board began in this start
    asked: int = 0  # motions that were sent for the first time in this start
    outside: bool = True  # not judged by soft stops until it has been inside
    history: deque[int] = field(default_factory=deque)  # ticks with output, since power came
    worst_past: float = 0.0


@dataclass
class Attack:
    """One run. `random` decides everything."""

    seed: int
    twin: bool
    counts: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.random = random = Random(self.seed)
        self.time = 0  # ticks since power came, resets included
        self.axes = [self._axis() for _ in range(2)]
        self.board_values = settings.defaults("board")
        if random.random() < 0.3:
            name = random.choice(sorted(self.board_values))
            self.board_values[name] = extreme(random, "board", name, self.board_values[name])
            self.board_values = repaired("board", self.board_values)
        self.stored = self._settings()
        self.storing: list[Values] | None = None
        kind = random.choice((0, 0, 1, 2, 3))
        image = memory.image(kind, self.board_values, *(a.values for a in self.axes))
        self.pair = Pair(library(), bytes(image)) if self.twin else None
        self.board = self.pair.native if self.pair else Board(library())
        self.board.eeprom[:] = image
        self.asks = 0.3  # requests a tick
        self.sessions = list(range(1, 256))
        random.shuffle(self.sessions)
        self.old: deque[bytes] = deque(maxlen=150)
        self.pots, self.currents = [4000, 4000], [0, 0]
        for n, axis in enumerate(self.axes):
            self.pots[n] = axis.rod.step(0, random)[0]
        self.boot(1)

    def _axis(self) -> AxisWatch:
        random = self.random
        rod = honest_rod(random)
        honest = random.random() < 0.6
        if honest:
            rod.sign = random.choice((1, -1))
            values = honest_axis(random, rod)
            if random.random() < 0.2:
                values["calibrated"] = 0
        if not honest or settings.check("axis", values):
            honest, values = False, wild_axis(random)
        return AxisWatch(values, rod, honest)

    def _settings(self) -> list[Values]:
        return [dict(v) for v in (self.board_values, *(axis.values for axis in self.axes))]

    # ---- starts

    def boot(self, flags: int) -> None:
        """A start of the board; the rods are where they are."""
        seed = self.random.randrange(65536)
        if self.pair:
            self.pair.boot(flags, seed, power_lost=bool(flags & 1))
        else:
            if flags & 1:
                self.board.noinit[:] = b"\x5a" * len(self.board.noinit)
            self.board.boot(flags, seed)
        self.counts["starts"] += 1
        self.tick_now = 0
        self.session, self.seq, self.nonce = 0, 0, -1
        self.waiting: bytes | None = None
        self.waited, self.tries = 0, 0
        self.newest = 0
        self.draft: tuple[int, Values] | None = None
        for axis in self.axes:
            axis.before, axis.allowed_to, axis.started = 0, -1, False
            axis.off_by, axis.motion, axis.motions, axis.asked = 2**62, 0, 0, 0
            if flags & 1:
                axis.history.clear()

    def reset(self) -> None:
        """A reset, or power away, perhaps in the middle of a byte."""
        random = self.random
        power = random.random() < 0.4
        if power and self.storing is not None and random.random() < 0.7 and self.last_write:
            at, before, after = self.last_write
            torn = random.choice((before, after, 0xFF, before & after, random.randrange(256)))
            self._put(at, torn)
            self.counts["torn bytes"] += 1
        self.boot(1 if power else random.choice((0, 2, 4, 8)))
        self._settings_after_start()

    def _settings_after_start(self) -> None:
        """Those stored before, or those that were just being stored; nothing else."""
        possible = [self.stored] + ([self.storing] if self.storing else [])
        digest = self.board.digest_live()
        for board, *pair in possible:
            scopes = settings.pack_scope("board", board)
            scopes += b"".join(settings.pack_scope("axis", values) for values in pair)
            if binascii.crc32(scopes) == digest:
                self.board_values = dict(board)
                for axis, values in zip(self.axes, pair, strict=True):
                    axis.values, axis.outside = dict(values), True
                self.stored, self.storing = self._settings(), None
                return
        raise Broken("after a start neither the old nor the new settings are in force")

    def _put(self, at: int, value: int) -> None:
        self.board.eeprom[at] = value
        if self.pair:
            self.pair.eeprom[at] = value

    # ---- one tick

    last_write: tuple[int, int, int] | None = None

    def tick(self, data: bytes) -> None:
        """Bytes in, a tick, and everything looked at."""
        before = bytes(self.board.eeprom) if self.storing else b""
        if self.pair:
            self.pair.tick(data, self.pots, self.currents, 430, 225)
        else:
            self.board.set_readings(tuple(self.pots), tuple(self.currents))
            self.board.tick(data)
        out = self.board.outputs()
        if out.ee_write:
            if not self.pair:
                self._put(out.ee_address, out.ee_value)
            old = before[out.ee_address] if before else 0xFF
            self.last_write = (out.ee_address, old, out.ee_value)
        self.time += 1
        self.tick_now += 1
        self.counts["ticks"] += 1
        for frame in self.board.sent().split(b"\0")[:-1]:
            self._heard(decode(frame))
        for n, axis in enumerate(self.axes):
            self._judge(n, axis, out.drive[n], out.bridge[n])
            self.pots[n], self.currents[n] = axis.rod.step(out.drive[n], self.random)
            self._judge_place(axis)
        if out.restart:
            self.boot(8)
            self._settings_after_start()

    def _judge(self, n: int, axis: AxisWatch, drive: int, bridge: int) -> None:
        now, values = self.tick_now, axis.values

        def must(good: bool, what: str) -> None:
            if not good:
                raise Broken(
                    f"axis {n + 1}, tick {now}: {what} (drive {drive}, before {axis.before})"
                )

        must((drive != 0) == (bridge == DRIVE), "drive and bridge contradict each other")
        must(drive * axis.before >= 0, "reversed without a tick at 0")
        motion = self.board.fields().axis[n].motion
        axis.motions += motion != axis.motion
        axis.motion = motion
        must(axis.motions <= axis.asked, "more motions than were asked for")
        axis.before = drive
        if not drive:
            return
        self.counts["axis ticks with output"] += 1
        must(axis.started, "output without a motion since the start")
        must(values["feedback"] != 0, "output without a rod")
        most = values["output_max_permille"]
        if not values["calibrated"] and not axis.run_most:
            most = min(most, values["creep_output_permille"] * 6 // 5)
        axis.run_ticks += 1
        must(not axis.run_most or axis.run_ticks <= axis.run_most, "a run beyond its time")
        must(abs(drive) <= most, f"output above {most}")
        must(
            now <= axis.allowed_to, f"output after hold and ramp, which ended at {axis.allowed_to}"
        )
        must(now < axis.off_by, f"output after a stop, to be over at {axis.off_by}")
        faults = self.board.fields().axis[n].faults
        must(not faults & ~0x40, f"output with faults {faults:#x}")
        self._judge_duty(axis, must)

    def _judge_duty(self, axis: AxisWatch, must: Any) -> None:
        window = axis.values["duty_window_s"] * TICKS_PER_S
        axis.history.append(self.time)
        while axis.history[0] <= self.time - 7200 * TICKS_PER_S:
            axis.history.popleft()
        spent = sum(1 for t in axis.history if t > self.time - window)
        budget = window * axis.values["duty_share_permille"] // 1000
        must(spent <= budget, f"{spent} ticks with output in the window, {budget} allowed")

    def _judge_place(self, axis: AxisWatch) -> None:
        if not (axis.honest and axis.values["calibrated"]):
            axis.outside = True
            return
        low, high = axis.values["soft_stop_min_um"] / 1000, axis.values["soft_stop_max_um"] / 1000
        past = max(axis.rod.place - high, low - axis.rod.place)
        allowed = max(0.2, axis.rod.stroke / 1000) + axis.rod.noise * axis.rod.stroke / 2000
        if axis.outside:
            axis.outside = past > 0
            return
        axis.worst_past = max(axis.worst_past, past)
        if past > allowed:
            raise Broken(
                f"tick {self.tick_now}: {past:.3f} mm past a soft stop, {allowed:.3f} allowed"
            )

    # ---- replies

    def _heard(self, payload: bytes) -> None:
        ident, session, seq = payload[:3]
        if ident < 0x80:
            self.counts["unasked"] += 1
            if ident == 0x72:
                kind, cause = payload[10], payload[11]
                self.counts[f"event {EventKind(kind).name.lower()} {cause}"] += 1
                if kind == EventKind.STORED:
                    self._stored(cause)
            return
        status = payload[7]
        self.counts["replies"] += 1
        self.counts[f"status {status}"] += 1
        if ident == HELLO | 0x80:
            self.nonce = struct.unpack_from("<H", payload, 3 + 13)[0]
        if self.waiting is None or (session, seq) != (self.waiting[1], self.waiting[2]):
            return
        if ident != self.waiting[0] | 0x80:
            return
        asked, self.waiting = self.waiting, None
        if asked[0] == OPEN and status == OK:
            self.session, self.seq, self.newest = session, seq, self.tick_now
            self.draft = None
            self._all_stop(0, 1)
        elif status in (NO_SESSION, SEQUENCE):
            self.session = 0
        elif status == OK:
            self._done(asked)

    def _stored(self, cause: int) -> None:
        if cause == 0 and self.storing:
            self.stored = self.storing
        self.storing = None

    def _done(self, asked: bytes) -> None:
        ident, body = asked[0], asked[3:]
        if ident in MOTIONS:
            self._started(ident, self.axes[body[0] - 1], body)
        elif ident == BEGIN:
            scope = body[0]
            live = self.board_values if scope == 0 else self.axes[scope - 1].values
            self.draft = (scope, dict(live))
        elif ident == SET and self.draft:
            keys = KEYS["axis" if self.draft[0] else "board"]
            for at in range(1, len(body) - 4, 5):
                key, value = struct.unpack_from("<Bi", body, at)
                self.draft[1][next(k.name for k in keys if k.id == key)] = value
        elif ident == COMMIT and self.draft:
            self._committed(*self.draft)
        elif ident == STORE:
            self.storing, self.last_write = self._settings(), None
        elif ident == DISCARD:
            self.draft = None

    def _committed(self, scope: int, values: Values) -> None:
        self.draft = None
        self.counts["commits"] += 1
        if scope == 0:
            self.board_values = values
            return
        axis = self.axes[scope - 1]
        axis.values = values
        axis.outside = True  # judged again once it has been inside

    def _started(self, ident: int, axis: AxisWatch, body: bytes) -> None:
        value = struct.unpack_from("<i", body, 2)[0] if ident == JOG else 1
        value = struct.unpack_from("<h", body, 1)[0] if ident == RUN else value
        if value == 0:
            return
        self.counts[f"motions {ident}"] += 1
        axis.started, axis.off_by = True, 2**62
        axis.hold_ticks = axis.values["move_hold_ms"] // 5 if ident == MOVE else HOLD
        fresh = self.board.fields().axis[self.axes.index(axis)].motion != axis.motion
        if fresh:
            axis.allowed_to = 0
            axis.run_ticks = 0
            axis.run_most = run_most(axis.values, value) if ident == RUN else 0
        self._renew(axis, self.tick_now)

    def _renew(self, axis: AxisWatch, tick: int) -> None:
        until = tick + axis.hold_ticks + ramp_ticks(axis.values)
        axis.allowed_to = max(axis.allowed_to, until)

    def _all_stop(self, which: int, category: int) -> None:
        for n, axis in enumerate(self.axes, 1):
            if which not in (1, 2) or which == n:
                ramp = ramp_ticks(axis.values) if category == 1 else 0
                axis.off_by = min(axis.off_by, self.tick_now + ramp + (category == 1))

    # ---- what is sent

    def ask(self, ident: int, body: bytes) -> bytes:
        """A new request, remembered for being repeated."""
        self.seq = (self.seq + 1) & 0xFF
        self.waiting = bytes((ident, self.session, self.seq)) + body
        self.waited, self.tries = 0, 1
        if ident in MOTIONS and len(body) > 0 and body[0] in (1, 2):
            self.axes[body[0] - 1].asked += 1
        return self._send(self.waiting)

    def _send(self, payload: bytes) -> bytes:
        """Kept to be sent again, but for opens of other sessions: on a line that keeps its order
        none can come late, and on another it would take the board for an older session."""
        frame = encode(payload)
        if payload[0] == OPEN:
            self.old = deque((f for f in self.old if f[1] != OPEN), maxlen=self.old.maxlen)
        self.old.append(frame)
        return frame

    def host(self) -> bytes:
        """What the host does in this tick, by the book."""
        if self.waiting is not None:
            self.waited += 1
            if self.waited < 3 + self.random.randrange(4):
                return b""
            self.tries += 1
            self.waited = 0
            if self.tries <= 3:
                return self._send(self.waiting)
            self.waiting, self.session = None, 0
        if self.session == 0:
            if self.nonce < 0 or self.random.random() < 0.2:
                return b"\0" + encode(bytes((HELLO, 0, 0)))
            number = self.sessions.pop() if self.sessions else 0
            if not number:
                return b""
            self.seq = self.random.randrange(256)
            self.waiting = struct.pack("<BBBHBB", OPEN, number, self.seq, self.nonce, 1, 0)
            self.nonce, self.waited, self.tries = -1, 0, 1
            return self._send(self.waiting)
        if self.random.random() < self.asks:
            return self.ask(*self.request())
        return b""

    def request(self) -> tuple[int, bytes]:
        """Some request: mostly motion, sometimes anything."""
        random = self.random
        axis = random.choice((1, 2))
        watch = self.axes[axis - 1]
        if self.draft and random.random() < 0.8:
            return self._draft_request()
        if self.board.fields().axis[axis - 1].faults and random.random() < 0.5:
            return CLEAR, bytes([random.choice((0, axis))])
        if random.random() < 0.75:
            return self._motion(axis, watch)
        roll = random.random()
        if roll < 0.15:
            return BEGIN, bytes([random.choice((axis, axis, 0))])
        if roll < 0.3:
            return STORE, b""
        if roll < 0.4:
            return SUBSCRIBE, struct.pack("<HH", 10, 50)
        if roll < 0.43:
            return RESTART, b""
        if roll < 0.6:
            return random.randrange(1, 0x60) if random.random() < 0.3 else CLEAR, bytes([axis])
        body = bytes(random.choice((0, 1, 2, 255, random.randrange(256))) for _ in range(9))
        return random.choice(MOTIONS), body

    def _draft_request(self) -> tuple[int, bytes]:
        assert self.draft
        random = self.random
        scope, values = self.draft
        kind = "axis" if scope else "board"
        if random.random() < 0.4:
            return random.choice((CHECK, COMMIT, COMMIT, COMMIT, DISCARD)), bytes([scope])
        honest = scope and self.axes[scope - 1].honest
        names = [k.name for k in KEYS[kind]]
        if honest:
            names = ["duty_window_s", "duty_share_permille", "move_hold_ms", "calibrated"]
            names += ["acceleration_um_s2", "soft_stop_min_um", "soft_stop_max_um", "stop_by"]
        body = bytes([scope])
        for name in random.sample(names, min(len(names), random.randint(1, 3))):
            key = next(k for k in KEYS[kind] if k.name == name)
            value = extreme(random, kind, name, values[name])
            if name == "stop_by":
                value = 0  # coasting has no promise
            if honest and name == "soft_stop_max_um":
                value = round(values["stroke_um"] * random.uniform(0.5, 0.96))
            if honest and name == "soft_stop_min_um":
                value = round(values["stroke_um"] * random.uniform(0.04, 0.4))
            body += struct.pack("<Bi", key.id, value)
        return SET, body

    def _motion(self, axis: int, watch: AxisWatch) -> tuple[int, bytes]:
        random, values = self.random, watch.values
        if values["feedback"] == TWO_WIRES and random.random() < 0.4:
            value = random.choice((1000, -1000, 1000, -1000, 0, 300, 1001))
            return RUN, struct.pack("<Bh", axis, value)
        if not values["calibrated"]:
            if random.random() < 0.5:
                return SEEK, struct.pack("<Bb", axis, random.choice((1, -1)))
            value = random.choice((1000, -1000, 300, -300, 0, 40))
            return JOG, struct.pack("<BBi", axis, 0, value)
        kind = random.choice((JOG, JOG, MOVE, MOVE, RUN))
        fast = values["speed_max_um_s"]
        if kind == RUN:
            value = random.choice((1000, -1000, 600, -600, 0, 10, random.randint(-1000, 1000)))
            return RUN, struct.pack("<Bh", axis, value)
        if kind == JOG:
            value = random.choice((fast, -fast, fast // 3, -fast // 3, 0, 1, -1))
            return JOG, struct.pack("<BBi", axis, 1, value)
        low, high = values["soft_stop_min_um"], values["soft_stop_max_um"]
        target = random.choice((low, high, random.randint(low, high), high + 1))
        return MOVE, struct.pack("<Bii", axis, target, random.choice((0, fast, fast // 2, 1)))

    def _alive(self) -> bytes:
        tick = self.tick_now - self.random.choice((0, 1, 2, 8))
        if not self.session or tick < 0:
            return b""
        self.newest = max(self.newest, tick)
        for axis in self.axes:
            self._renew(axis, tick)
        return self._send(struct.pack("<BBBI", ALIVE, self.session, 7, tick))

    def _stop(self) -> bytes:
        which, category = self.random.choice((0, 1, 2, 9)), self.random.choice((0, 1, 1, 7))
        self.counts["stops"] += 1
        self.stop_now = (which, category)
        return b"\0" + encode(bytes((STOP, self.random.randrange(256), 3, which, category)))

    def _mischief(self) -> bytes:
        """What no host should send, and nothing may come of. Ends as a frame ends."""
        random = self.random
        roll = random.random()
        if roll < 0.5 and self.old:
            frame = random.choice(self.old)  # late, double
            return frame * random.choice((1, 1, 2))
        if roll < 0.7 and self.old:
            frame = bytearray(random.choice(self.old))
            frame[random.randrange(len(frame))] ^= 1 << random.randrange(8)
            return bytes(frame) + b"\0"
        if roll < 0.8 and self.old:
            frame = random.choice(self.old)
            return frame[: random.randrange(len(frame))] + b"\0"
        if roll < 0.9:  # alive that may count for nothing: of the future, of another session
            tick = (self.tick_now + random.choice((40, 1000, 2**31))) & 0xFFFFFFFF
            session = random.choice((self.session, self.session ^ 1))
            if session != self.session:
                tick = self.tick_now
            elif tick <= self.tick_now:
                return b"\0"
            return encode(struct.pack("<BBBI", ALIVE, session, 0, tick))
        noise = bytes(random.randrange(256) for _ in range(random.randrange(100)))
        return noise + b"\0"

    def run(self) -> None:
        """TICKS ticks."""
        random = self.random
        eager = random.choice((0.02, 0.1, 0.4))
        stops = random.choice((0.0005, 0.003, 0.02))
        silent = 0  # ticks in which the host says nothing, and only mischief comes
        self.asks = random.choice((0.01, 0.05, 0.3))
        while self.counts["ticks"] < TICKS:
            self.stop_now: tuple[int, int] | None = None
            silent -= silent > 0
            if not silent and random.random() < 0.002:
                silent = random.randrange(60, 500)
            parts = [b"" if silent else self.host()]
            if not silent and self.tick_now % 10 == 0 and random.random() < 0.95:
                parts.append(self._alive())
            if random.random() < (0.3 if silent else eager * 0.5):
                parts.append(self._mischief())
            if random.random() < stops:
                parts.append(self._stop())
            random.shuffle(parts)
            if random.random() < 0.005:
                self.axes[random.randrange(2)].rod.stuck = random.randrange(1, 300)
            self.stop_due(b"".join(parts))
            if random.random() < 0.002:
                self.reset()

    def stop_due(self, data: bytes) -> None:
        """A tick in which a stop, if any, must be carried out, whatever came beside it."""
        if self.stop_now:
            which, category = self.stop_now
            self.tick_now += 1  # it is carried out in the tick to come
            self._all_stop(which, category)
            self.tick_now -= 1
        self.tick(data)


def attack(seed: int, twin: bool) -> Counter[str]:
    """One run, judged."""
    run = Attack(seed, twin)
    try:
        run.run()
    except BaseException as error:
        error.add_note(f"seed {seed}{', with twin' if twin else ''}; axes:")
        for axis in run.axes:
            error.add_note(f"  {'honest' if axis.honest else 'wild'} {axis.values}")
        raise
    for axis in run.axes:
        run.counts["worst past, um"] = max(
            run.counts["worst past, um"], round(axis.worst_past * 1000)
        )
    return run.counts


def main() -> int:
    """Many runs; what broke is printed, and the runs go on."""
    parser = argparse.ArgumentParser(prog="python -m tests.core.attack")
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--twin", action="store_true", help="the twin beside the core, slower")
    options = parser.parse_args()
    total: Counter[str] = Counter()
    broken = 0
    for seed in range(options.seed, options.seed + options.runs):
        try:
            counts = attack(seed, options.twin)
        except AssertionError as error:
            broken += 1
            print(f"BROKEN {error}", *getattr(error, "__notes__", ()), sep="\n", flush=True)
            continue
        worst = max(total["worst past, um"], counts["worst past, um"])
        total += counts
        total["worst past, um"] = worst
    print(f"{options.runs} runs, {broken} broken")
    for name, count in sorted(total.items()):
        print(f"  {count:>9}  {name}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
