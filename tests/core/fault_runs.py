"""Random rods, commands and faults on the native core, with an observer that counts again.

    python -m tests.core.fault_runs --runs 10000 --jobs 2       figures, and what broke
    python -m tests.core.fault_runs --first 17 --runs 1         one run again

The rods are those of the soft stops' promise, whose settings know run-on and noise within 10 % and
full speeds within 2 %, as a calibration finds them. Each run is one board: two rods or a gang, a
host and hands at local inputs, and some faults in the middle. The core carries the address and the
undefined-behaviour sanitizer; beside each so many runs the twin does the same, compared per tick.
"""

from __future__ import annotations

import argparse
import json
import os
import struct
import subprocess
import sys
import time
from collections import Counter, deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from random import Random

import numpy as np
from rodbench.emulator.faults import KINDS
from rodbench_protocol import messages, settings
from rodbench_protocol.names import AxisState, Bridge, Fault, LocalAs, LocalSource

from tests.core import motion_promise as promise
from tests.core import native
from tests.core.attack import (
    ALIVE,
    CLEAR,
    HELLO,
    NO_SESSION,
    OK,
    OPEN,
    SEQUENCE,
    TWO_WIRES,
    Broken,
    decode,
    encode,
)
from tests.core.fault_rods import LOST, OUT, REST, ROD_FAULTS, FaultyRod, Hand, local_settings
from tests.core.fault_watch import ARMS, Seen, Watch
from tests.twin import memory
from tests.twin.pair import Pair

SANITIZED = ("-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
OWN = ("late_ticks", "reset", "watchdog", "power_cut", "host_silent")
PATIENCE = 300  # ticks for which a fault waits for a motion to come into
CHUNK = 20  # runs of one process: a sanitizer ends it
SUPPLY_CODE = 430  # 12 V by the default divider
LOW_MV, HIGH_MV = 10_500, 15_000
RATED = 12.0
POWER_ON, EXTERNAL, WATCHDOG_RESET = 1, 2, 8


def supply_mv(code: int) -> float:
    """What the reading means, by the default ratio."""
    return code * 5000 / 1023 * 5.71


def axis_values(random: Random, values: dict[str, int], plain: bool) -> dict[str, int]:
    """With what a builder may choose beside the calibration; else as before."""
    tight = ((60, 10), (60, 30), (60, 100), (61, 250))
    duty = random.choice((*tight, (1200, 250), (1200, 250), (60, 1000), (7200, 100)))
    more = {"duty_window_s": duty[0], "duty_share_permille": duty[1]}
    more["move_hold_ms"] = random.choice((100, 500, 2000))
    more["following_um"] = random.choice((0, 500, 3000, 20_000))
    more["fold_back_ma"] = random.choice((0, 0, (values["running_ma"] + values["trip_ma"]) // 2))
    more["motor_reversed"] = random.choice((0, 1))
    if random.random() < 0.3:
        more |= {"rated_ma": max(100, values["running_ma"]), "thermal_time_s": 10}
    if random.random() < 0.45:
        more |= local_settings(random, random.choice((1, 2, 3)))
    if not plain and random.random() < 0.12:
        more["calibrated"] = 0
    elif not plain and random.random() < 0.08:
        more |= {"calibrated": 0, "feedback": TWO_WIRES, "local_source": 0}
        for way in ("extend", "retract"):
            time_cs = values["stroke_um"] * 100 // max(1, values[f"full_speed_{way}_um_s"])
            more[f"stroke_time_{way}_cs"] = max(1, min(6000, time_cs))
    return values | more if not settings.check("axis", values | more) else values


class Run:
    """One board, its rods, its host and its faults; `number` decides everything."""

    def __init__(self, number: int, twin: bool, library: object, rods: object) -> None:
        self.random = random = Random(f"fault run {number}")
        self.counts: Counter[str] = Counter(runs=1)
        self.gang = number % 3 == 0
        self._rods(number, rods)
        self.board_values = settings.defaults("board") | {"stop_input": random.choice((0, 1))}
        if self.gang:
            longer = max(rod.plant.stroke_mm for rod in self.rods)
            self.board_values["apart_trip_um"] = int(max(3.0, longer * 0.03) * 1000)
        if random.random() < 0.7:
            guards = {"supply_low_mv": LOW_MV, "supply_high_mv": HIGH_MV}
            self.board_values |= {"supply_calibrated": 1, **guards}
        image = memory.image(0, self.board_values, *self.values)
        self.pair = Pair(library, bytes(image)) if twin else None
        self.board = self.pair.native if self.pair else native.Board(library)
        self.board.eeprom[:] = image
        self.busy = random.random() < 0.5  # a byte takes longer than a tick
        self.wrote = False
        if self.pair and self.busy:
            self.pair.busy_every = 2
        self.supply: dict[str, float] = {}
        self.line: dict[str, float] = {}
        self.stop_open, self.stood = False, Counter[str]()
        self.under_way: tuple[int, int] | None = None  # a byte that a power cut would tear
        self.session, self.sessions, self.seq, self.nonce = 0, 0, 0, -1
        self.waiting: bytes | None = None
        self.late: deque[tuple[int, bytes]] = deque()
        self.silent = 0
        self.host_is_there = random.random() < 0.8 or not all(h for h in self.hands)
        self.boot(POWER_ON)

    def _rods(self, number: int, library: object) -> None:
        random, chance = self.random, np.random.default_rng([57, number])
        share = random.choice((0.1, 0.9, random.uniform(0.1, 0.9)))
        self.rods, self.values, self.watches = [], [], []
        for _ in range(2):
            plant = promise.random_plant(chance, 0.0, brakes=random.random() < 0.9)
            plant.supply_v = RATED
            values = promise.calibrated(library, plant, chance)
            values = axis_values(random, values, self.gang)
            self.rods.append(FaultyRod(library, plant, share, random))
            self.rods[-1].reversed = bool(values["motor_reversed"])
            share = share if self.gang else random.choice((0.1, 0.9, random.uniform(0.1, 0.9)))
            span = abs(values["raw_extended"] - values["raw_retracted"])
            noise = 2 * promise.tick_noise(plant) / span * plant.stroke_mm
            self.values.append(values)
            lost = self.values[0 if self.gang else -1]["local_loss_ms"] // 5
            self.watches.append(Watch(values, max(0.2, plant.stroke_mm / 1000, noise), lost))
        sources = [values["local_source"] for values in self.values]
        made = [Hand(random, values) for values in self.values]
        self.hands = [hand if source else None for hand, source in zip(made, sources, strict=True)]
        self.idle, self.rest, self.rested = [0, 0], [0, 0], [False, False]
        self.read = [rod.step(0, Bridge.OFF) for rod in self.rods]

    # ---- starts

    def boot(self, flags: int) -> None:
        """A start, with RAM as it was or, after a power cut, rubbish."""
        power, seed = bool(flags & POWER_ON), self.random.randrange(65536)
        if self.pair:
            self.pair.boot(flags, seed, power_lost=power)
        else:
            if power:
                self.board.noinit[:] = b"\x5a" * len(self.board.noinit)
            self.board.boot(flags, seed)
        self.session, self.nonce, self.waiting = 0, -1, None
        self.stood.clear()  # filters begin anew
        self.idle, self.rest, self.rested = [0, 0], [0, 0], [False, False]
        self.local = [False, False]
        for watch in self.watches:
            watch.start()

    def reset(self, kind: str) -> None:
        """Outputs off for a while, the rods run on; then a start."""
        if kind == "power_cut" and self.under_way and self.random.random() < 0.7:
            at, value = self.under_way
            self._put(at, self.random.choice((0xFF, value, self.random.randrange(256))))
        for _ in range(self.random.choice((1, 4, 60))):
            for rod, watch in zip(self.rods, self.watches, strict=True):
                rod.step(0, Bridge.OFF)
                watch.away(rod.moved)
        self.boot({"power_cut": POWER_ON, "watchdog": WATCHDOG_RESET}.get(kind, EXTERNAL))

    def _put(self, at: int, value: int) -> None:
        self.board.eeprom[at] = value
        if self.pair:
            self.pair.eeprom[at] = value

    # ---- faults

    def begin(self, kind: str, axis: int) -> None:
        """A fault of any kind, on a rod or on the board."""
        random = self.random
        self.counts[f"caused {kind}"] += 1
        if kind in ROD_FAULTS:
            self.rods[axis].begin(kind)
        elif kind in ("reset", "watchdog", "power_cut"):
            self.reset(kind)
        elif kind == "late_ticks":
            self._late_ticks(random.randrange(1, 6))
        elif kind == "stop_open":
            self.stop_open = True
        elif kind == "host_silent":
            self.silent = random.randrange(50, 600)
        elif kind in ("supply_sag", "supply_high"):
            volts = (6.0, 11.0) if kind == "supply_sag" else (13.0, 18.0)
            self.supply[kind] = random.uniform(*volts) / RATED
        else:
            self.line[kind] = random.choice((0.02, 0.2))

    def end(self, kind: str, axis: int) -> None:
        """It is over."""
        self.rods[axis].end(kind)
        self.supply.pop(kind, None)
        self.line.pop(kind, None)
        self.stop_open = self.stop_open and kind != "stop_open"

    def _late_ticks(self, count: int) -> None:
        if self.pair:
            self.pair.late(count)
            return
        for _ in range(count):
            self.board.lib.core_late_tick(self.board.core_address)

    # ---- one tick

    def tick(self) -> None:
        """Hands, host, board, rods; and everything looked at."""
        factor = max(0.3, next(iter(self.supply.values()), 1.0))
        code = round(SUPPLY_CODE * factor) + self.random.choice((-1, 0, 0, 1))
        local, buttons = [0, 0], 0
        for n, hand in enumerate(self.hands):
            if hand:
                local[n], pressed = hand.step()
                buttons |= pressed << 2 * n
        self._board_tick(self._bytes(), code, (local[0], local[1]), buttons)
        self.counts["ticks"] += 1
        self.cleared = False
        for frame in self.board.sent().split(b"\0")[:-1]:
            self._heard(decode(frame))
        self._count_causes(code)
        out, state = self.board.outputs(), self.board.fields()
        if out.alarm != bool(state.faults | state.axis[0].faults | state.axis[1].faults):
            raise Broken("the alarm does not tell the faults")
        drives, bridges = list(out.drive), list(out.bridge)
        for n, rod in enumerate(self.rods):
            rod.supply = factor
            self.read[n] = rod.step(drives[n], bridges[n])
            self._look(n, drives[n], bridges[n])

    def _board_tick(self, data: bytes, code: int, local: tuple[int, int], buttons: int) -> None:
        (pot_1, current_1), (pot_2, current_2) = self.read
        if self.pair:
            self.pair.inputs = 0 if self.stop_open else 1
            pots, currents = [pot_1, pot_2], [current_1, current_2]
            self.pair.tick(data, pots, currents, code, 225, local, buttons)
        else:
            inputs = (not self.stop_open) | buttons << 1
            currents_read = (current_1, current_2)
            ready = not (self.busy and self.wrote)
            self.board.set_readings((pot_1, pot_2), currents_read, code, 225, ready, inputs, local)
            self.board.tick(data)
        out = self.board.outputs()
        if not (self.busy and self.wrote):
            self.under_way = None  # a byte takes 3.4 ms, or longer than a tick where it is busy
        self.wrote = bool(out.ee_write)
        if self.wrote:
            self.under_way = (out.ee_address, out.ee_value)
            self.board.eeprom[out.ee_address] = out.ee_value

    def _count_causes(self, code: int) -> None:
        board, stood = self.board_values, self.stood
        watched = board["supply_calibrated"]
        now = {
            "stop_open": self.stop_open and board["stop_input"],
            "supply_low": watched and supply_mv(code) < LOW_MV * 0.99,
            "supply_high": watched and supply_mv(code) > HIGH_MV * 1.01,
        }
        for n, rod in enumerate(self.rods):
            for kind in ("pot_open", "pot_short"):
                now[f"{kind} {n}"] = kind in rod.faults and self.values[n]["calibrated"]
        for name, stands in now.items():
            stood[name] = stood[name] + 1 if stands else 0

    def _look(self, n: int, drive: int, bridge: int) -> None:
        state, rod, watch = self.board.fields(), self.rods[n], self.watches[n]
        axis, leader = state.axis[n], 0 if self.gang else n
        was, self.local[n] = self.local[n], bool(state.axis[leader].also & 1)
        self._follow_hand(leader, n, fresh=was != self.local[n])
        causes = {name: self.stood[name] for name in ("stop_open", "supply_low", "supply_high")}
        causes |= {kind: self.stood[f"{kind} {n}"] for kind in ("pot_open", "pot_short")}
        faults = axis.faults | state.faults
        self._tally(axis.motion, axis.state, faults, watch.before, drive, leader)
        who = (self.local[n], self.idle[n], self.rested[n], causes)
        where = (rod.mm, rod.moved, not (rod.lies or rod.loose))
        now = Seen(drive, bridge, axis.state, axis.motion, faults, *who, *where)
        watch.see(now._replace(cleared=self.cleared))

    def _follow_hand(self, leader: int, n: int, fresh: bool) -> None:
        hand = self.hands[leader]
        if not hand:
            return
        asks = hand.state == OUT or (
            hand.state == REST and hand.values["local_as"] == LocalAs.POSITION
        )
        self.idle[n] = 0 if asks or fresh else self.idle[n] + 1
        self.rest[n] = self.rest[n] + 1 if hand.state == REST else 0
        self.rested[n] |= self.rest[n] >= ARMS
        self.counts["ticks of a lost input"] += hand.state == LOST

    def _tally(
        self, motion: int, state: int, faults: int, before: Seen, drive: int, leader: int
    ) -> None:
        self.counts["axis ticks with output"] += drive != 0
        self.counts["axis ticks with a fault"] += faults != 0
        if motion != before.motion:
            source = self.values[leader]["local_source"] if self.local[leader] else 0
            by = LocalSource(source).name.lower() if source else "host"
            by += ", two rods as one" if self.gang else ""
            self.counts[f"motion by {by}: {AxisState(state).name.lower()}"] += 1
        for number in range(1, 23):
            if faults & ~before.faults & 1 << (number - 1):
                self.counts[f"fault {Fault(number).name.lower()}"] += 1

    # ---- the host

    def _bytes(self) -> bytes:
        """What arrives in this tick: what the host sends, as the line leaves it."""
        self.silent -= self.silent > 0
        now = self.watches[0].tick
        frames = [] if self.silent or not self.host_is_there else list(self._frames(now))
        frames = [frame for sent in frames for frame in self._through_line(now, sent)]
        while self.late and self.late[0][0] <= self.counts["ticks"]:
            frames.append(self.late.popleft()[1])
        return b"".join(frames)

    def _frames(self, now: int) -> Iterator[bytes]:
        if self.session and now % 10 == 0:
            tick = max(0, now - self.random.choice((0, 1, 4)))
            for watch in self.watches:
                watch.heard(tick)
            yield encode(struct.pack("<BBBI", ALIVE, self.session, 7, tick))
        if self.waiting:
            self.waited += 1
            if self.waited % 15 == 0:
                yield encode(self.waiting)
            if self.waited > 60:
                self.waiting, self.session = None, 0
        elif not self.session and self.nonce < 0:
            if self.random.random() < 0.3:
                yield b"\0" + encode(bytes((HELLO, 0, 0)))
        elif not self.session:
            self.sessions = self.sessions % 255 + 1
            yield self._ask(struct.pack("<BBBHBB", OPEN, self.sessions, 0, self.nonce, 1, 0))
            self.nonce = -1
        elif self.random.random() < 0.03:
            self.seq = (self.seq + 1) & 0xFF
            name, fields = self._request()
            yield self._ask(messages.pack(name, self.session, self.seq, **fields))

    def _ask(self, payload: bytes) -> bytes:
        self.waiting, self.waited = payload, 0
        return encode(payload)

    def _through_line(self, now: int, sent: bytes) -> Iterator[bytes]:
        """Whole, or as its faults leave it."""
        random = self.random
        hit = {kind for kind, share in self.line.items() if random.random() < share}
        data = bytearray(sent)
        at = random.randrange(len(data))
        if "frames_damaged" in hit or "bytes_damaged" in hit:
            data[at] ^= 1 << random.randrange(8)
        if "bytes_lost" in hit:
            del data[at]
        if "bytes_doubled" in hit:
            data[at:at] = data[at : at + 1]  # none, where its last byte was lost
        if "frames_late" in hit:
            self.late.append((self.counts["ticks"] + random.randrange(1, 200), bytes(data)))
        elif "frames_lost" not in hit:
            yield bytes(data) * (2 if "frames_doubled" in hit else 1)

    def _request(self) -> tuple[str, dict[str, int]]:
        random = self.random
        n, state = random.randrange(2), self.board.fields()
        fields = {"axis": n + 1}
        roll = random.random()
        if (state.faults | state.axis[n].faults) and roll < 0.6:
            return "clear", {"axis": 0}
        if roll < 0.06:
            return "stop", {"axis": random.choice((0, 1, 2)), "category": random.choice((0, 1))}
        if roll < 0.12:
            return "hand_over", fields | {"commander": random.choice((0, 1))}
        if roll < 0.14:
            return "subscribe", {"axis_period_ms": 10, "board_period_ms": 50}
        return self._motion(self.values[n], fields)

    def _motion(self, values: dict[str, int], fields: dict[str, int]) -> tuple[str, dict[str, int]]:
        random = self.random
        way = random.choice((1, -1))
        if values["feedback"] == TWO_WIRES and random.random() < 0.6:
            return "run", fields | {"output_permille": way * 1000}
        if not values["calibrated"]:
            if random.random() < 0.4:
                return "seek", fields | {"direction": way}
            return "jog", fields | {"unit": 0, "value": way * random.choice((0, 300, 1000, 1000))}
        kind = random.choice(("jog", "jog", "move", "move", "level" if self.gang else "run"))
        speed = values["speed_max_um_s"]
        if kind == "move":
            low, high = values["soft_stop_min_um"], values["soft_stop_max_um"]
            target = random.choice((low, high, random.randint(low, high)))
            return kind, fields | {"target_um": target, "speed_um_s": random.choice((0, speed))}
        if kind == "run":
            return kind, fields | {"output_permille": way * random.choice((1000, 600, 0))}
        value = way * random.choice((speed, speed, speed // 3, 0))
        return kind, fields | ({"speed_um_s": value} if kind == "level" else jog(value))

    def _heard(self, payload: bytes) -> None:
        ident, session, seq = payload[:3]
        if ident == HELLO | 0x80:
            self.nonce = struct.unpack_from("<H", payload, 16)[0]
        self.cleared |= ident == CLEAR | 0x80 and payload[7] == OK
        asked = self.waiting
        if not asked or ident != asked[0] | 0x80 or (session, seq) != (asked[1], asked[2]):
            return
        status, self.waiting = payload[7], None
        self.counts["replies"] += 1
        if asked[0] == OPEN:
            self.session, self.seq = (session, seq) if status == OK else (0, 0)
        elif status in (NO_SESSION, SEQUENCE):
            self.session = 0

    # ---- all of it

    def _is_due(self, entry: tuple[int, str, int], tick: int) -> bool:
        """It waits for a motion to come into."""
        return entry[0] <= tick and self.watches[entry[2]].before.drive != 0

    def run(self, ticks: int) -> Counter[str]:
        """`ticks` with one to four faults among them."""
        random, agenda = self.random, []
        self.end_of: list[tuple[int, str, int]] = []
        for _ in range(random.randint(1, 4) * (1 + ticks // 4000)):
            kind = random.choice((*KINDS, *OWN))
            agenda.append((random.randrange(ticks // 20, ticks), kind, random.randrange(2)))
        agenda.sort(reverse=True)
        for tick in range(ticks):
            while agenda and (agenda[-1][0] <= tick - PATIENCE or self._is_due(agenda[-1], tick)):
                _, kind, axis = agenda.pop()
                self.begin(kind, axis)
                lasts = random.choice((3, 20, 100, 500, 2000))
                self.end_of.append((tick + lasts, kind, axis))
            for over in [entry for entry in self.end_of if entry[0] <= tick]:
                self.end_of.remove(over)
                self.end(*over[1:])
            self.tick()
        worst = [watch.worst_mm for watch in self.watches if watch.worst_mm > -1e8]
        self.counts["axes judged by their soft stops"] = len(worst)
        return self.counts


def jog(value: int) -> dict[str, int]:
    """The fields of a jog by speed."""
    return {"unit": 1, "value": value}


def length(number: int) -> int:
    """Ticks of a run: some let a window of the duty budget pass."""
    if number % 100 == 99:
        return 14_000
    return Random(f"length {number}").choice((300, 600, 1000, 2000))


def one(number: int, twin: bool, library: object, rods: object) -> Counter[str]:
    """One run; what it broke names it."""
    run = Run(number, twin, library, rods)
    try:
        return run.run(length(number))
    except AssertionError as error:
        causes = [name for name in run.counts if name.startswith("caused")]
        error.add_note(f"run {number}{', with twin' if twin else ''}; {causes}; {run.values}")
        raise


def chunk(first: int, runs: int, twin_every: int) -> None:
    """In a process of its own, under both sanitizers: a line for each run."""
    library = native.load(native.build_library("core_asan.so", SANITIZED))
    rods = promise.build()
    for number in range(first, first + runs):
        twin, broken = number % twin_every == 0, ""
        counts: Counter[str] = Counter(runs=1)
        try:
            counts = one(number, twin, library, rods)
        except AssertionError as error:
            broken = "\n".join((f"{error}", *getattr(error, "__notes__", ())))
        counts["runs with the twin beside"] += twin
        print(json.dumps([number, broken, counts]), flush=True)


def chunk_apart(first: int, runs: int, twin_every: int) -> tuple[Counter[str], list[str]]:
    """The same from outside; a process that dies has told what a sanitizer found."""
    asan = subprocess.check_output(("gcc", "-print-file-name=libasan.so"), text=True).strip()
    command = [sys.executable, "-m", "tests.core.fault_runs", "--chunk"]
    command += ["--first", str(first), "--runs", str(runs), "--twin-every", str(twin_every)]
    env = os.environ | {"LD_PRELOAD": asan, "ASAN_OPTIONS": "detect_leaks=0"}
    done = subprocess.run(
        command, env=env, cwd=native.ROOT, capture_output=True, text=True, check=False
    )
    total, broken = Counter[str](), []
    for line in done.stdout.splitlines():
        number, what, counts = json.loads(line)
        total += Counter(counts)
        broken += [what] if what else []
        first = number + 1
    if done.returncode:
        total["runs"] += 1
        broken.append(f"run {first}, sanitizer: {done.stderr[-3000:]}")
    return total, broken


def many(
    first: int, runs: int, jobs: int, twin_every: int, minutes: float = 1e6
) -> tuple[Counter[str], list[str]]:
    """All runs in processes side by side, none begun after `minutes`: counts, and what broke."""
    until = time.monotonic() + minutes * 60
    native.build_library("core_asan.so", SANITIZED)
    promise.build()
    starts = range(first, first + runs, CHUNK)
    total, broken = Counter[str](), []

    def part(at: int) -> tuple[Counter[str], list[str]]:
        if time.monotonic() > until:
            return Counter(), []
        return chunk_apart(at, min(CHUNK, first + runs - at), twin_every)

    with ThreadPoolExecutor(jobs) as pool:
        for counts, found in pool.map(part, starts):
            total += counts
            broken += found
            for what in found:
                print(f"BROKEN {what}", flush=True)
    return total, broken


def main() -> int:
    """Runs, and a summary."""
    parser = argparse.ArgumentParser(prog="python -m tests.core.fault_runs")
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--twin-every", type=int, default=10)
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no more runs after these")
    parser.add_argument("--chunk", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.chunk:
        chunk(options.first, options.runs, options.twin_every)
        return 0
    total, broken = many(
        options.first, options.runs, options.jobs, options.twin_every, options.minutes
    )
    for name, count in sorted(total.items()):
        print(f"  {count:>10}  {name}")
    print(f"{total['runs']} runs, {total['ticks']} ticks, broken {len(broken)}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
