"""Random scenarios for the core alone: settings, commands, a crude machine, and some malice.

A scenario is made while it runs: the native core answers each tick, the machine moves by what it
answered, and the input of every tick is kept, to be given to another build of the same core.
"""

from __future__ import annotations

import random
import struct
import subprocess
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from rodbench_protocol import framing, settings
from rodbench_protocol.messages import pack, parse
from rodbench_protocol.names import Status

from tests.twin.person import Person, settings_for
from tests.twin.tables import table

SESSION = 9
AXIS_KEYS = {key.name: key for key in settings.KEYS["axis"]}
FIXED = 80  # bytes of a tick's answer before those for the line
AXIS = struct.Struct("<hB4BHHIiiihhHI")


class Native:
    """The native build, tick by tick, with what it was told kept in `inputs`."""

    def __init__(self, program: Path, seed: int) -> None:
        self.process = subprocess.Popen([program], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        assert self.process.stdin is not None
        self.inputs = bytearray(struct.pack("<BH", 1, seed))
        self.answers = bytearray()
        self.process.stdin.write(b"\xff" * 1024 + self.inputs)

    def tick(self, readings: bytes, line: bytes) -> tuple[bytes, bytes]:
        """Fixed part of the answer, and the bytes for the line."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        told = readings + bytes([len(line)]) + line
        self.inputs += told
        self.process.stdin.write(told)
        self.process.stdin.flush()
        fixed, sent = self._read(FIXED), bytearray()
        self.answers += fixed
        while True:
            more = self._read(1)
            self.answers += more
            if more == b"\0":
                return fixed, bytes(sent)
            sent += self._read(1)
            self.answers.append(sent[-1])

    def _read(self, size: int) -> bytes:
        assert self.process.stdout is not None
        data = self.process.stdout.read(size)
        if len(data) != size:
            raise RuntimeError(f"the native core ended: {self.process.wait()}")
        return data

    def close(self) -> None:
        """End it."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait()


@dataclass
class Rod:
    """A crude machine: enough to make every part of the core work, not to be true."""

    draw: random.Random
    at_um: float = 0.0
    stroke_um: float = 100_000.0
    ends: tuple[float, float] = (600.0, 7600.0)
    full_um_tick: float = 50.0
    noise: float = 3.0
    fault: str = ""
    speed: float = 0.0

    def step(self, drive: int, bridge: int) -> tuple[int, int]:
        """Pot (sum of 8) and current (sum of 4) after a tick."""
        wanted = drive / 1000 * self.full_um_tick if bridge == 2 and abs(drive) > 80 else 0.0
        self.speed += (wanted - self.speed) * (0.9 if bridge == 1 else 0.25)
        if self.fault == "jam":
            self.speed = 0.0
        before = self.at_um
        self.at_um = min(max(self.at_um + self.speed, -500.0), self.stroke_um + 500.0)
        stalled = abs(self.at_um - before) < 0.5
        current = abs(drive) * (2.2 if stalled and self.fault != "lead" else 0.6)
        if self.fault == "lead":
            current, self.at_um = 0.0, before
        raw = self.ends[0] + (self.ends[1] - self.ends[0]) * self.at_um / self.stroke_um
        raw += self.draw.gauss(0.0, self.noise)
        if self.fault == "open":
            raw = 0.0
        elif self.fault == "wild":
            raw, current = self.draw.uniform(0, 8184), self.draw.uniform(0, 4092)
        return int(min(max(raw, 0), 8184)), int(min(max(current, 0), 4092))


@dataclass
class Scenario:
    """One run. `states` counts the states of both axes, `driven` the ticks with output."""

    program: Path
    seed: int
    ticks: int = 200
    states: dict[int, int] = field(default_factory=dict)
    replies: dict[int, int] = field(default_factory=dict)
    faults: int = 0
    driven: int = 0

    def run(self) -> tuple[bytes, bytes]:
        """All input, and all that the native core answered."""
        self.draw = random.Random(self.seed)
        self.core = Native(self.program, self.draw.getrandbits(16))
        self.rods = [self._rod(), self._rod()]
        self.readings = b"\0" * 17 + b"\1"
        self.persons = [Person(self.draw), Person(self.draw)]
        self.wired = [SimpleNamespace(**settings_for(0, False, 0))] * 2
        self.splitter, self.nonce = framing.Splitter(), 0
        self.seq, self.tick, self.drive = 0, 0, [(0, 0), (0, 0)]
        self._open()
        for axis in (1, 2):
            if self.draw.random() < 0.85:
                self._set_up(axis)
        self._ask("subscribe", axis_period_ms=10, board_period_ms=50)
        for _ in range(self.ticks):
            self._disturb()
            self._step(self._chatter())
        self.core.close()
        return bytes(self.core.inputs), bytes(self.core.answers)

    # ------------------------------------------------------------ the machine

    def _rod(self) -> Rod:
        draw = self.draw
        low, high = draw.uniform(100, 3000), draw.uniform(3600, 8000)
        ends = (low, high) if draw.random() < 0.5 else (high, low)
        stroke = draw.choice([20_000.0, 100_000.0, 600_000.0, 2_000_000.0])
        rod = Rod(draw, stroke * draw.random(), stroke, ends)
        rod.full_um_tick, rod.noise = draw.uniform(20, 1500), draw.choice([0.0, 1.0, 10.0])
        return rod

    def _disturb(self) -> None:
        for rod in self.rods:
            if self.draw.random() < 0.006:
                rod.fault = self.draw.choice(["", "", "", "jam", "lead", "open", "wild"])

    def _step(self, line: bytes) -> bytes:
        fixed, sent = self.core.tick(self.readings, line[:200])
        self.tick += 1
        self._hear(sent)
        pots, currents = [0, 0], [0, 0]
        for index in (0, 1):
            axis = AXIS.unpack_from(fixed, index * AXIS.size)
            self.drive[index] = (axis[0], axis[1])
            self.states[axis[2]] = self.states.get(axis[2], 0) + 1
            self.faults |= axis[8]
            self.driven += axis[0] != 0
            pots[index], currents[index] = self.rods[index].step(axis[0], axis[1])
        supply = 430 + self.draw.randrange(3) if self.draw.random() < 0.98 else 1023
        inputs = [
            hand.step(live, armed=True) for hand, live in zip(self.persons, self.wired, strict=True)
        ]
        buttons = 1 | inputs[0][1] << 1 | inputs[1][1] << 3
        local = (inputs[0][0], inputs[1][0])
        self.readings = struct.pack("<8HBB", *pots, *currents, supply, 225, *local, buttons, 1)
        return sent

    # ------------------------------------------------------------ the host

    def _hear(self, sent: bytes) -> None:
        for frame in self.splitter.feed(sent):
            heard = parse(framing.decode(frame))
            if heard.kind == "reply" and heard.name not in ("hello", "stop"):
                status = heard.fields["status"]
                self.replies[status] = self.replies.get(status, 0) + 1
                if status not in (Status.SEQUENCE, Status.NO_SESSION):
                    self.seq = heard.seq
            elif heard.name == "hello":
                self.nonce = heard.fields["boot_nonce"]

    def _frame(self, name: str, **fields: Any) -> bytes:
        return framing.encode(pack(name, SESSION, (self.seq + 1) % 256, **fields))

    def _ask(self, name: str, **fields: Any) -> None:
        self._step(self._frame(name, **fields))

    def _open(self) -> None:
        self._step(framing.encode(pack("hello", 0, 0)))
        self._ask("open", boot_nonce=self.nonce, protocol_major=1, protocol_minor=0)

    def _settings(self, rod: Rod) -> dict[str, int]:
        draw, stroke = self.draw, int(rod.stroke_um)
        low = draw.randrange(0, stroke // 3)
        full = min(int(rod.full_um_tick * 200), 190_000)
        gain = draw.choice([10, 185, 185, 1000])
        speed = draw.randrange(max(200, full // 3), max(full, 201))
        creep = draw.randrange(100, max(101, min(50_000, full // 4)))
        least_ramp = max(speed, creep) // 5 + 1
        return {
            "feedback": 1,
            "calibrated": int(draw.random() < 0.7),
            "motor_reversed": draw.randrange(2) * (draw.random() < 0.2),
            "raw_retracted": int(rod.ends[0]),
            "raw_extended": int(rod.ends[1]),
            "stroke_um": stroke,
            "soft_stop_min_um": low,
            "soft_stop_max_um": draw.randrange(stroke // 2, stroke),
            "speed_max_um_s": speed,
            "acceleration_um_s2": draw.choice([500, 20_000, 300_000, 2_000_000]),
            "deceleration_um_s2": max(least_ramp, draw.choice([500, 20_000, 300_000, 2_000_000])),
            "creep_speed_um_s": creep,
            "full_speed_extend_um_s": draw.choice([0, full]),
            "full_speed_retract_um_s": draw.choice([0, full]),
            "stop_by": draw.randrange(2),
            "trip_ma": min(draw.choice([1000, 4000, 25_000]), 4_200_000 // gain),
            "current_uv_per_ma": gain,
            "running_ma": draw.choice([0, 200]),
            "noise_x16": draw.choice([0, 48, 3200]),
            "run_on_extend_um": draw.choice([0, 300, 2000]),
            "stall_time_ms": draw.choice([50, 200, 400]),
            "duty_share_permille": draw.choice([20, 500, 1000, 1000]),
            "duty_window_s": draw.choice([60, 1200, 1200, 7200]),
            "pot_margin_raw": draw.choice([4, 40]),
        } | table(draw.choice([0, 0, 1, 3, 8]), (int(rod.ends[0]), int(rod.ends[1])), draw)

    def _set_up(self, axis: int) -> None:
        self._ask("draft_begin", scope=axis)
        values = self._settings(self.rods[axis - 1])
        source = self.draw.choice((0, 0, 0, 1, 2, 3))
        as_place = bool(values["calibrated"]) and self.draw.random() < 0.5
        wired = settings_for(source, as_place, self.draw.randrange(64))
        self.wired[axis - 1] = SimpleNamespace(**wired)
        items = [(AXIS_KEYS[k].id, v) for k, v in (values | wired).items()]
        for start in range(0, len(items), 8):
            part = [{"key": key, "value": value} for key, value in items[start : start + 8]]
            self._ask("draft_set", scope=axis, items=part)
        self._ask("draft_commit", scope=axis)
        self._ask("hand_over", axis=axis, commander=1)

    def _chatter(self) -> bytes:
        draw, line = self.draw, b""
        if self.tick % 8 == 0 and draw.random() < 0.9:
            line += self._frame("alive", tick=self.tick)
        if draw.random() < 0.12:
            line += self._command()
        if draw.random() < 0.01:
            line += draw.randbytes(draw.randrange(1, 80)) + b"\0"
        return line

    def _command(self) -> bytes:
        draw, axis = self.draw, self.draw.randrange(1, 3)
        rod = self.rods[axis - 1]
        target = int(draw.uniform(0.2, 0.6) * rod.stroke_um)
        if draw.random() < 0.2:
            target = int(draw.uniform(-0.1, 1.1) * rod.stroke_um)
        speed = int(rod.full_um_tick * 200 * draw.uniform(-1, 1))
        if self.drive == [(0, 0), (0, 0)] and draw.random() < 0.3:
            return self._frame("clear", axis=0)
        choices: list[tuple[str, dict[str, int]]] = [
            ("move", {"axis": axis, "target_um": target, "speed_um_s": 0}),
            ("move", {"axis": axis, "target_um": target, "speed_um_s": abs(speed)}),
            ("jog", {"axis": axis, "unit": 1, "value": speed}),
            ("jog", {"axis": axis, "unit": 0, "value": draw.randrange(-1000, 1001)}),
            ("run", {"axis": axis, "output_permille": draw.randrange(-1000, 1001)}),
            ("seek", {"axis": axis, "direction": draw.choice([-1, 1])}),
            ("stop", {"axis": draw.randrange(3), "category": draw.randrange(2)}),
            ("outcome", {"axis": axis}),
            ("counters", {}),
            ("hand_over", {"axis": axis, "commander": draw.randrange(2)}),
            ("digests", {}),
            ("store", {}),
            ("settings_get", {"which": 0, "scope": axis, "first_key": draw.randrange(60)}),
        ]
        if draw.random() < 0.5:  # a motion rather than a question
            choices = choices[:6]
        name, fields = draw.choice(choices)
        return self._frame(name, **fields)
