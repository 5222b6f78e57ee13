"""Runs of 200 ticks: settings, rods, commands and mishaps, made by hypothesis; carried out by Run.

A run has a driver that keeps motions going, so that outputs are on in most ticks, and a list of
acts that get in its way: other requests, damaged bytes, faults of the rod. Where outputs have been
off for long, the driver begins afresh: with a board and rods that nothing is wrong with.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from random import Random
from typing import Any

import hypothesis
from cobs import cobs
from hypothesis import strategies as st
from rodbench.emulator.twin.axis import axis_at_rest
from rodbench.emulator.twin.div import div_up
from rodbench.emulator.twin.duty import duty_room
from rodbench.emulator.twin.local import local_commands
from rodbench_protocol import framing, messages, settings
from rodbench_protocol.names import (
    AxisAlso,
    AxisState,
    Commander,
    Ended,
    Fault,
    LocalAs,
    LocalSource,
)

from tests.twin import memory
from tests.twin.pair import Pair
from tests.twin.person import Person, settings_for
from tests.twin.rod import Rod
from tests.twin.tables import table

TICKS = 200
PATIENCE = 20  # ticks without output, more than there were with it: then the driver begins afresh
TO_ARM = 15  # so many more where an axis's own input has to be seen at rest first
TO_REST = 30  # and where an axis waits for rest
FOLD_BACK = 904  # mA: a reading of the plain sensor lies just on it
WIDE = 9000  # um: rods as one that come no further apart than they should
SESSION = 9
INPUTS = {"stick lost", "pulse lost"} | {
    f"{source} as {means}"
    for source in ("buttons", "stick", "pulse")
    for means in ("speed", "position")
}
NONCE = 0x4321
SUPPLY, BANDGAP = 425, 225  # what the converter reads at 12 V and 5 V
IDLE, FAULT = int(AxisState.IDLE), int(AxisState.FAULT)
KEYS = {kind: {key.name: key for key in keys} for kind, keys in settings.KEYS.items()}


ALONE, PUSH = 420, 330  # ticks without a host, and after which of them the rods are pushed
GUARDED = (  # 12 V lie well between
    ("supply_calibrated", 1), ("supply_low_mv", 10_000), ("supply_high_mv", 14_000),
    ("stop_input", 1),
)  # fmt: skip
WIDE_SUPPLY = (("supply_ratio_x1000", 20000), ("supply_calibrated", 1), ("board_5v_mv", 4900))


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of a run. `style`: 0 none fitted, 1 uncalibrated, 2 calibrated, 3 without a pot."""

    style: int
    span: int
    reversed_pot: bool
    reversed_motor: bool
    start: int
    rate: int
    noise: int
    switch_ends: bool
    slow: bool
    source: int
    as_place: bool
    knob: int
    changes: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Act:
    """Something at a tick: `a` and `b` are for the kind to use."""

    tick: int
    kind: str
    a: int
    b: int


@dataclass(frozen=True, slots=True)
class Plan:
    """All that makes a run. `gang`: how far apart two axes that move as one may come, or 0."""

    seed: int
    axes: tuple[Axis, Axis]
    board: tuple[tuple[str, int], ...]
    alive_every: int
    flags: int
    memory: int
    acts: tuple[Act, ...]
    gang: int = 0

    @property
    def ticks(self) -> int:
        """TICKS, or as many more as a store takes, or rods that are left alone."""
        alone = any(act.kind == "leave" and act.a % 4 == 0 for act in self.acts)
        return TICKS + max(300 * any(act.kind == "store" for act in self.acts), ALONE * alone)


def _value(kind: str, name: str) -> st.SearchStrategy[int]:
    setting = KEYS[kind][name].setting
    return st.integers(setting.min, setting.max)


@st.composite
def _changes(draw: st.DrawFn, kind: str, most: int) -> tuple[tuple[str, int], ...]:
    names = draw(st.lists(st.sampled_from(sorted(KEYS[kind])), max_size=most, unique=True))
    return tuple((name, draw(_value(kind, name))) for name in names)


_axes = st.builds(
    Axis,
    style=st.sampled_from((2, 2, 1) * 8 + (0, 3, 3, 3, 3, 3)),
    span=st.integers(800, 7000),
    reversed_pot=st.booleans(),
    reversed_motor=st.booleans(),
    start=st.integers(0, 100),
    rate=st.integers(2, 60),
    noise=st.sampled_from((0, 0, 1, 3, 12)),
    switch_ends=st.booleans(),
    slow=st.booleans(),
    source=st.sampled_from((0, 0, 0, 0, 0, 1, 2, 3)),
    as_place=st.booleans(),
    knob=st.integers(0, 63),
    changes=st.one_of(st.just(()), st.just(()), st.just(()), _changes("axis", 4)),
)

REQUESTS = (
    "hello", "open_act", "open_act", "open_act", "counters", "stop", "clear", "jog", "run", "seek",
    "move", "outcome", "restart", "draft", "store", "settings_get", "digests", "subscribe",
    "hand_over", "subscribe", "alive", "unknown", "trip_get", "trip_get", "black_box", "black_box",
    "totals", "level", "credit_off",
)  # fmt: skip
MISHAPS = (
    "repeat", "wrong_session", "wrong_seq", "garbage", "damaged", "long", "short", "flood",
    "reset", "late_alive", "jam", "free", "freeze", "pot", "current", "backwards", "mend", "commit",
    "left", "stuck", "stuck", "aged", "torn", "late", "worn", "odd_supply", "asserted",
    "zeros", "other_nonce", "edge", "edge", "rewindow", "longest", "commit", "rested",
    "leave", "leave", "spark", "volts", "volts", "volts", "open_stop", "heavy", "heavy", "power",
    "warm", "spent", "spent", "wears", "power", "drags", "drags",
)  # fmt: skip

_acts = st.builds(
    Act,
    tick=st.integers(2, TICKS - 1),
    kind=st.sampled_from(REQUESTS + MISHAPS),
    a=st.integers(0, 2**32 - 1),
    b=st.integers(-(2**31), 2**31 - 1),
)

plans = st.builds(
    Plan,
    seed=st.integers(0, 2**32 - 1),
    axes=st.tuples(_axes, _axes),
    board=st.one_of(
        st.just(()), st.just(GUARDED), st.just(GUARDED), st.just(WIDE_SUPPLY), _changes("board", 2)
    ),
    alive_every=st.sampled_from((9, 4, 9, 9, 20, 9, 70, 300)),
    flags=st.sampled_from((1, 1, 0, 1, 1, 0, 1, 1, 1, 2, 4, 8)),
    memory=st.sampled_from((0,) * 50 + (1, 2, 3, 4) * 5 + (5, 6, 7, 8, 9, 10)),
    acts=st.lists(_acts, max_size=14).map(tuple),
    gang=st.sampled_from((0, 0, 0, 0, 200, 3000, 9000, 60000)),
)


@dataclass(slots=True)
class Seen:
    """What some runs reached."""

    runs: int = 0
    ticks: int = 0
    driven: int = 0
    states: Counter[int] = field(default_factory=Counter)
    faults: Counter[int] = field(default_factory=Counter)
    ended: Counter[int] = field(default_factory=Counter)
    inputs: Counter[str] = field(default_factory=Counter)

    def complete(self) -> bool:
        """Whether every state and every fault was seen."""
        faults = {number for number, ticks in self.faults.items() if ticks}
        return set(AxisState) <= set(self.states) and set(Fault) <= faults

    def report(self) -> str:
        """As text."""
        states = {AxisState(k).name.lower(): v for k, v in sorted(self.states.items())}
        faults = {Fault(k).name.lower(): v for k, v in sorted(self.faults.items()) if v}
        ended = {Ended(k).name.lower(): v for k, v in sorted(self.ended.items())}
        driven = 100 * self.driven / max(1, self.ticks)
        head = f"{self.runs} runs, {self.ticks} ticks, {driven:.1f} % with output"
        told = f"{head}\nticks in states: {states}\nticks with faults: {faults}\nended: {ended}"
        return f"{told}\nticks driven or lost by local inputs: {dict(sorted(self.inputs.items()))}"


def settings_of(axis: Axis) -> dict[str, int]:
    """Settings that suit the rod, then the changes."""
    values = settings.defaults("axis")
    if axis.style:
        low = 400 + axis.start
        ends = (low + axis.span, low) if axis.reversed_pot else (low, low + axis.span)
        stroke = axis.span * (20 if axis.slow else 60)
        full = axis.rate * 200 * stroke // axis.span
        values |= {
            "feedback": 1,
            "calibrated": int(axis.style == 2),
            "motor_reversed": int(axis.reversed_motor),
            "driver": (0, 1, 3)[axis.start % 3],
            "raw_retracted": ends[0],
            "raw_extended": ends[1],
            "stroke_um": max(5000, stroke),
            "soft_stop_min_um": stroke // 20,
            "soft_stop_max_um": stroke - stroke // 20,
            "speed_max_um_s": min(200000, max(200, full * 3 // 4)),
            "acceleration_um_s2": min(2000000, max(500, full * 3)),
            "deceleration_um_s2": min(2000000, max(500, full * 4)),
            "creep_speed_um_s": min(50000, max(100, full // 4)),
            "full_speed_extend_um_s": min(400000, full),
            "full_speed_retract_um_s": min(400000, full),
            "speed_supply_mv": 12000,
            "run_on_extend_um": min(60000, full // 60),
            "run_on_retract_um": min(60000, full // 60),
            "running_ma": 400,
            "trip_ma": 2500,
            "rated_ma": (0, 300, 700)[axis.span % 3],
            "thermal_time_s": 10 + axis.start,
            "duty_window_s": 60 if axis.slow else 1200,
            "duty_share_permille": 20 if axis.slow and axis.switch_ends else 250,
            "stall_time_ms": 150 if axis.slow else 400,
            "following_um": min(60000, (0, full // 12, full // 40)[axis.start % 3]),
            "fold_back_ma": (0, FOLD_BACK)[axis.start % 2],
            "dead_zone_extend_permille": (0, 250)[axis.start % 2],
            "dead_zone_retract_permille": (0, 250)[axis.start % 2],
            "stop_by": axis.rate % 2,
        }
        values |= table((0, 0, 0, 1, 3, 8)[axis.knob % 6], ends, Random(axis.span))
    if axis.style == 3:
        ticks = axis.span // axis.rate
        values |= {
            "feedback": 2,
            "current_sensor": 0 if axis.noise == 12 else 1 + int(axis.reversed_pot),
            "current_sensor_ratiometric": int(axis.noise == 3),
            "current_zero": 2046 if axis.reversed_pot else 0,
            "stroke_time_extend_cs": (ticks // 2, 40, ticks // 2, 30, 0)[axis.start % 5],
            "stroke_time_retract_cs": ticks // 2 + 2,
            "stall_time_ms": 150,
            "trip_ma": 1500 if axis.reversed_pot else 2500,
        }
    if axis.source:
        place = axis.as_place and axis.style == 2
        values |= settings_for(axis.source, place, axis.knob)
    return values | dict(axis.changes)


def rod_of(axis: Axis, rng: Random, share: float | None = None) -> Rod:
    """The rod that the settings describe, at a share of its stroke."""
    low = 400 + axis.start
    centred = axis.style == 3 and axis.reversed_pot
    sign = (-1 if axis.reversed_pot else 1) * (-1 if axis.reversed_motor else 1)
    if share is None:
        share = rng.choice((0.02, 0.5, 0.5, 0.9, 0.98, rng.random()))
    return Rod(
        place=low + axis.span * share,
        low=low - 5,
        high=low + axis.span + 5,
        rate=axis.rate,
        motor_sign=sign,
        dead_zone=60,
        noise=axis.noise,
        running=60,
        stalled=rng.choice((150, 600)),
        zero=2046 if centred else rng.choice((0, 0, 40)),
        runs_for=rng.choice((85, 85, 110, 0)) if axis.style == 3 else 0,
        centred=centred,
        switch_ends=axis.switch_ends,
    )


def compare(library: Any, count: int, seed: int = 0, seen: Seen | None = None) -> Seen:
    """Runs plans made from a seed; Differs at the first tick in which twin and core differ."""
    seen = seen or Seen()

    @hypothesis.seed(seed)
    @hypothesis.settings(
        max_examples=count,
        deadline=None,
        database=None,
        phases=[hypothesis.Phase.generate],
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    @hypothesis.given(plans)
    def one(plan: Plan) -> None:
        Run(library, plan, seen).go()

    one()
    return seen


class Run:
    """Carries a plan out on a pair."""

    def __init__(self, lib: Any, plan: Plan, seen: Seen) -> None:
        self.plan, self.seen = plan, seen
        self.rng = Random(plan.seed)
        axes = [replace(axis, style=2) for axis in plan.axes] if plan.gang else plan.axes
        board = self._plain_board(plan.gang) | dict(plan.board)
        values = [settings_of(axis) for axis in axes]
        self._new_rods(axes)
        self.persons = [Person(self.rng) for _ in axes]
        self.pair = Pair(lib, memory.image(plan.memory, board, values[0], values[1]))
        self.supply, self.bandgap = SUPPLY, BANDGAP
        self.seq = 0
        self.session = SESSION
        self.last = b""
        self.still = 0
        self.calm_at = self.alone_until = self.worn_at = 0
        self.leans = False
        self.queue: list[bytes | Callable[[], bytes]] = []
        self.acts: dict[int, list[Act]] = {}
        for act in plan.acts:
            self.acts.setdefault(act.tick, []).append(act)

    def _plain_board(self, gang: int) -> dict[str, int]:
        """Nothing bars motion on it; what is guarded once is guarded again."""
        guarded = dict(GUARDED) if self.plan.board == GUARDED else {}
        return settings.defaults("board") | guarded | {"apart_trip_um": gang}

    def _new_rods(self, axes: Sequence[Axis]) -> None:
        """Those of a gang lie level, or nearly so, or somewhere."""
        share = self.rng.choice((0.1, 0.3, 0.5, 0.9)) if self.plan.gang else None
        self.rods = [rod_of(axis, self.rng, share) for axis in axes]
        if self.plan.gang and self.rng.random() < 0.3:
            self.rods[0].place += self.rng.choice((-1, 1)) * self.rng.choice((5, 40, 300))

    def go(self) -> None:
        """All ticks; Differs when twin and core do not agree."""
        self.pair.boot(self.plan.flags, NONCE, True)
        self.nonce = self.pair.twin.noinit.nonce
        self.queue = [self._open_next]
        for tick in range(self.plan.ticks):
            self._tick(tick)
        self.pair.compare_settings()
        self.seen.runs += 1

    def _tick(self, tick: int) -> None:
        data = b""
        for act in self.acts.get(tick, ()):
            data += getattr(self, f"_{act.kind}", self._by_request)(act) or b""
        if tick == self.calm_at:
            self.supply, self.pair.inputs = SUPPLY, 1
        self.pair.worn |= tick == self.worn_at > 0
        data += self._drive(tick) if tick >= self.alone_until else self._leave_alone(tick)
        out = self.pair.out
        read = [rod.step(out.drive[i], out.bridge[i], self.rng) for i, rod in enumerate(self.rods)]
        pots, currents = [r[0] for r in read], [r[1] for r in read]
        supply = min(1023, self.supply + self.rng.randrange(12))
        bandgap = self.bandgap if tick > 8 else 0
        self.pair.tick(data, pots, currents, supply, bandgap, *self._inputs())
        self._note()
        self._grow_impatient()
        if self.pair.out.restart:
            self._reset(Act(tick, "reset", 0, 0))

    def _note(self) -> None:
        seen, state = self.seen, self.pair.native.fields()
        seen.ticks += 1
        seen.driven += bool(state.axis[0].drive or state.axis[1].drive)
        for index, axis in enumerate(state.axis):
            self._note_input(index, axis.also, axis.drive != 0)
            seen.states[axis.state] += 1
            seen.ended[axis.ended] += 1
            if axis.faults:
                for bit in range(32):
                    seen.faults[bit + 1] += axis.faults >> bit & 1
        if state.faults:
            for bit in range(32):
                seen.faults[bit + 1] += state.faults >> bit & 1

    def _note_input(self, index: int, also: int, driven: bool) -> None:
        live = self.pair.twin.live.scope[index + 1]
        source = LocalSource(live.local_source).name.lower()
        if also & AxisAlso.SOURCE_LOST:
            self.seen.inputs[f"{source} lost"] += 1
        elif also & AxisAlso.ARMED and driven:
            self.seen.inputs[f"{source} as {LocalAs(live.local_as).name.lower()}"] += 1

    # ------------------------------------------------------------ the driver

    def _grow_impatient(self) -> None:
        """Counts ticks without output up, those with it down; frames that wait have their time."""
        waits = 1 if self._style(0) or self._style(1) else 3  # with no rod at all: soon
        driven = any(self.pair.out.drive)
        self.still = 0 if self.queue else max(0, self.still + (-1 if driven else waits))

    def _has_own_input(self, index: int) -> bool:
        """Its own input commands this axis, or that of its gang."""
        twin = self.pair.twin
        first = 0 if twin.live.board.apart_trip_um else index
        return bool(twin.live.scope[first + 1].local_source) and local_commands(twin, index)

    def _patience(self) -> int:
        rests = any(axis.resting for axis in self.pair.twin.axis)
        own = self._has_own_input(0) or self._has_own_input(1)
        return PATIENCE + TO_ARM * own + TO_REST * rests

    def _begin_afresh(self) -> bytes:
        """Plain settings in a good memory, other rods, power off and on: nothing bars motion."""
        styles = [2 if self.plan.gang else axis.style or 2 for axis in self.plan.axes]
        axes = [
            replace(axis, style=style, changes=())
            for axis, style in zip(self.plan.axes, styles, strict=True)
        ]
        values = [settings_of(axis) for axis in axes]
        gang = max(self.plan.gang, WIDE) if self.plan.gang else 0
        self.pair.renew(memory.image(0, self._plain_board(gang), *values))
        self._new_rods(axes)
        self.supply, self.bandgap, self.pair.inputs = SUPPLY, BANDGAP, 1
        self.still = 0
        return self._boot(1, self.rng.randrange(65536), True)

    def _inputs(self) -> tuple[tuple[int, int], int]:
        """What the board reads of its local inputs."""
        twin = self.pair.twin
        read = [
            person.step(twin.live.scope[i + 1], bool(twin.axis[i].also & AxisAlso.ARMED))
            for i, person in enumerate(self.persons)
        ]
        return (read[0][0], read[1][0]), read[0][1] | read[1][1] << 2

    def _leave_alone(self, tick: int) -> bytes:
        """No host; late enough for all to have come to rest, something pushes the rods."""
        left = self.alone_until - 1 - tick
        if self.leans:
            return self._lean(left)
        for rod in self.rods:
            rod.push = (3.0, -1.0)[self.plan.seed % 2] if 0 < left < ALONE - PUSH else 0.0
        self.still = 0
        return b""

    def _lean(self, left: int) -> bytes:
        """The host comes back sooner, levels one rod of a gang, and moves the other by it."""
        if left == ALONE - PUSH:
            index = self.rng.choice((0, 1, 1, 1))
            rod = self.rods[index ^ 1]
            rod.push = 3.0 if rod.place + rod.place < rod.low + rod.high else -3.0
            self.alone_until -= left
            self.queue = [lambda: self._ask("clear", axis=0), lambda: self._level_one(index)]
        self.still = 0
        return b""

    def _level_one(self, index: int) -> bytes:
        creep = self.pair.twin.live.scope[1 + index].creep_speed_um_s
        return self._ask("level", axis=1 + index, speed_um_s=creep * self._way(index))

    def _drive(self, tick: int) -> bytes:
        data = b""
        if tick == self.alone_until + 60:
            self.rods[0].push = self.rods[1].push = 0.0
        if self.still > self._patience():
            return self._begin_afresh()
        now = self.pair.twin.ticks
        if tick % self.plan.alive_every == 3:
            data += framing.encode(messages.pack("alive", self.session, 0, tick=now))
        if not self.queue or callable(self.queue[0]):
            self.seq = self.pair.twin.session.seq
            self.session = self.pair.twin.session.number or self.session
        if self.queue:
            following = self.queue.pop(0)
            return data + (following() if callable(following) else following)
        if tick > 1 and self.rng.random() < 0.95:
            data += self._command(self.rng.randrange(2))
        return data

    def _command(self, index: int) -> bytes:
        state = self.pair.native.fields()
        if self.pair.twin.live.scope[index + 1].local_source and self.rng.random() < 0.02:
            return self._ask("hand_over", axis=index + 1, commander=self.rng.randrange(2))
        if self._has_own_input(index) and self.rng.random() < 0.9:
            return self._beside_input()
        style = self._style(index)
        if (state.axis[index].state == FAULT or state.faults) and self.rng.random() < 0.7:
            return self._ask("clear", axis=0)
        moving = state.axis[index].state not in (IDLE, FAULT)
        if style == 0 or (moving and self.rng.random() > 0.05):
            return b""
        return self._motion(index + 1, style, state.axis[index].state)

    def _beside_input(self) -> bytes:
        """Half of the hosts take an axis soon from its own input."""
        if self.rng.random() < (0.3, 0.01)[self.plan.seed % 2]:
            return self._ask("hand_over", axis=0, commander=int(Commander.HOST))
        return b""

    def _style(self, index: int) -> int:
        """As of a plan's axis, by the settings in force."""
        live = self.pair.twin.live.scope[index + 1]
        return (0, 1 + live.calibrated, 3)[live.feedback]

    def _way(self, index: int) -> int:
        """Mostly to where more of the stroke lies: 1 out, -1 in."""
        rod = self.rods[index]
        way = 1 if rod.place + rod.place < rod.low + rod.high else -1
        way = -way if self.plan.axes[index].reversed_pot else way
        return way if self.rng.random() < 0.8 else -way

    def _motion(self, axis: int, style: int, state: int) -> bytes:
        rng, way = self.rng, self._way(axis - 1)
        if style == 3 and (state == 3 or rng.random() < 0.6):
            value = rng.choice((1000, 1000, 1000, 1000, 1000, 0, 999, 1001))
            return self._ask("run", axis=axis, output_permille=value * way)
        if style in (1, 3):
            if rng.random() < 0.5:
                return self._ask("seek", axis=axis, direction=rng.choice((-1, 1)))
            value = rng.choice((0, rng.randint(0, 500), rng.randint(0, 1010)))
            return self._ask("jog", axis=axis, unit=0, value=value * way)
        values = self.pair.twin.live.scope[axis]
        kind = rng.random()
        if self.pair.twin.live.board.apart_trip_um and rng.random() < 0.9:
            kind = 0.3 + kind / 2
            if kind > 0.7:
                creep = values.creep_speed_um_s
                speed = rng.choice((rng.randint(-creep - creep // 16, creep + 9), 0, creep))
                return self._ask("level", axis=axis, speed_um_s=speed)
        if state == 3 or kind < 0.25:
            value = rng.choice((0, *[rng.randint(0, 1010) for _ in range(3)]))
            return self._ask("run", axis=axis, output_permille=value * way)
        speed = values.speed_max_um_s
        if state == 2 or kind < 0.5:
            value = rng.choice((speed, rng.randint(0, speed), rng.randint(0, speed + speed // 16)))
            return self._ask("jog", axis=axis, unit=1, value=value * way)
        low, high = values.soft_stop_min_um, values.soft_stop_max_um
        edges = (low - 400, low - 1, low, high, high + 1, high + 400)
        places = [rng.randint(min(low, high), max(low, high)) for _ in range(2)]
        target = rng.choice((*places, high if way > 0 else low, rng.choice(edges)))
        asked = rng.choice((0, 0, speed // 2, speed, rng.randint(-1, speed + speed // 8)))
        return self._ask("move", axis=axis, target_um=target, speed_um_s=asked)

    # ------------------------------------------------------------ frames

    def _open_next(self) -> bytes:
        """Opens a session of a number not used lately."""
        self.session = self.session % 250 + 1
        fields = {"boot_nonce": self.nonce, "protocol_major": 1, "protocol_minor": 0}
        return framing.encode(messages.pack("open", self.session, self.seq, **fields))

    def _ask(self, name: str, **fields: Any) -> bytes:
        self.seq = (self.seq + 1) & 0xFF
        self.last = framing.encode(messages.pack(name, self.session, self.seq, **fields))
        return self.last

    def _by_request(self, act: Act) -> bytes:
        """Requests whose fields come from the act."""
        a, b = act.a, act.b
        axis = a % 4
        if act.kind == "store" and b % 2:
            self._commit(act)
        if act.kind in ("counters", "restart", "store", "digests"):
            return self._ask(act.kind)
        if act.kind == "hand_over":
            return self._ask("hand_over", axis=axis, commander=b % 3)
        if act.kind in ("clear", "outcome"):
            return self._ask(act.kind, axis=axis)
        if act.kind == "jog":
            return self._ask("jog", axis=axis, unit=a // 4 % 3, value=b >> (a // 16 % 32))
        if act.kind == "run":
            return self._ask("run", axis=axis, output_permille=b >> 16 >> (a // 16 % 16))
        if act.kind == "level":
            return self._ask("level", axis=axis, speed_um_s=b >> (a // 16 % 32))
        if act.kind == "seek":
            return self._ask("seek", axis=axis, direction=a // 4 % 4 - 2)
        shift = a // 16 % 24
        return self._ask("move", axis=axis, target_um=b >> shift, speed_um_s=b // 7 >> shift)

    def _credit_off(self, act: Act) -> bytes:
        off_s = (act.a >> (act.b % 32), act.a % 600)[act.b // 32 % 2]
        return self._ask("credit_off", off_s=off_s)

    def _hello(self, act: Act) -> bytes:
        return framing.encode(messages.pack("hello", act.a % 256, act.b % 256))

    def _open_act(self, act: Act) -> bytes:
        """Another open: of a new session and back, a wrong nonce, a wrong major, no session."""
        last = self.session
        older = max(1, last - act.b % 6)
        session = (last % 250 + 1, last, 0, act.a // 5 % 256, *[older] * 4)[act.a % 8]
        nonce = self.nonce if act.b % 3 else act.b % 65536
        fields = {"boot_nonce": nonce, "protocol_major": 1 + (act.b % 5 == 0), "protocol_minor": 0}
        frame = framing.encode(messages.pack("open", session, self.seq, **fields))
        self.queue.append(self._open_next)
        return frame

    def _stop(self, act: Act) -> bytes:
        body = bytes((act.a % 4, act.a // 4 % 3, 7))[: act.a // 16 % 4]
        frame = framing.encode(bytes((0x10, act.b % 256, act.a // 64 % 256)) + body)
        return frame * (1 + act.a // 1024 % 2)

    def _draft(self, act: Act) -> bytes:
        """A whole change of a scope, spread over the next ticks."""
        scope = act.a % 4
        kind = "board" if scope == 0 else "axis"
        rng = Random(act.b)
        names = rng.sample(sorted(KEYS[kind]), rng.randint(1, 4))
        if rng.random() < 0.4 and kind == "axis":
            names = ["calibrated"]
        items = [{"key": KEYS[kind][n].id, "value": self._setting(kind, n, rng)} for n in names]
        if rng.random() < 0.1:
            items.append({"key": rng.randint(0, 255), "value": 0})
        steps = [("draft_begin", {"scope": scope}), ("draft_set", {"scope": scope, "items": items})]
        steps += [("draft_check", {"scope": scope}), ("settings_get", _get(1, scope, 1))]
        steps.append(
            (rng.choice(("draft_commit", "draft_commit", "draft_discard")), {"scope": scope})
        )
        self.queue += [self._ask(name, **fields) for name, fields in steps]
        return b""

    def _setting(self, kind: str, name: str, rng: Random) -> int:
        setting = KEYS[kind][name].setting
        if rng.random() < 0.05:
            return setting.max + 1 if setting.max < 2**31 - 1 else -1
        return rng.randint(setting.min, setting.max)

    def _commit(self, act: Act) -> bytes:
        """Stop all, wait for rest, then put one key of axis 1 or 2 in force."""
        scope = 1 + act.a % 2
        stroke = settings_of(self.plan.axes[scope - 1])["stroke_um"]
        name, value = (
            ("calibrated", act.b % 2),
            ("duty_window_s", (60, 61, 100, 1200)[act.b % 4]),
            ("stroke_um", min(2000000, stroke + 5 + act.b % 100)),
            ("trip_ma", 50 + act.b % 3000),
        )[act.a // 2 % 4]
        item = {"key": KEYS["axis"][name].id, "value": value}
        self.queue.append(framing.encode(messages.pack("stop", 0, 0, axis=0, category=0)))
        self.queue.append(lambda: self._wait_for_rest(60))
        self.queue.append(lambda: self._ask("draft_begin", scope=scope))
        self.queue.append(lambda: self._ask("draft_set", scope=scope, items=[item]))
        self.queue.append(lambda: self._ask("draft_commit", scope=scope))
        return b""

    def _wait_for_rest(self, most: int) -> bytes:
        if most and not all(axis_at_rest(axis) for axis in self.pair.twin.axis):
            self.queue.insert(0, lambda: self._wait_for_rest(most - 1))
        return b""

    def _settings_get(self, act: Act) -> bytes:
        return self._ask("settings_get", **_get(act.a % 3, act.a // 4 % 4, act.b % 64))

    def _trip_get(self, act: Act) -> bytes:
        return self._ask("trip_get", age=act.a % 10)

    def _black_box(self, act: Act) -> bytes:
        return self._ask("black_box", axis=(1, 2, 1, 2, 0, 3)[act.a % 6], first=act.b % 31)

    def _totals(self, act: Act) -> bytes:
        return self._ask("totals", axis=act.a % 4)

    def _subscribe(self, act: Act) -> bytes:
        axis_ms = (0, 10, 15, 20, 25, 40, 7, 5)[act.a % 8]
        board_ms = (0, 50, 55, 100, 52, 10)[act.a // 8 % 6]
        return self._ask("subscribe", axis_period_ms=axis_ms, board_period_ms=board_ms)

    def _alive(self, act: Act) -> bytes:
        tick = (self.pair.twin.ticks + act.b % 9 - 4) % 2**32
        return framing.encode(messages.pack("alive", self.session + (act.a % 5 == 0), 0, tick=tick))

    def _unknown(self, act: Act) -> bytes:
        self.seq = (self.seq + 1) & 0xFF
        return framing.encode(bytes((act.a % 256, self.session, self.seq)))

    # ------------------------------------------------------------ mishaps of the line

    def _repeat(self, act: Act) -> bytes:
        return self.last

    def _wrong_session(self, act: Act) -> bytes:
        return framing.encode(messages.pack("counters", act.a % 256, self.seq))

    def _wrong_seq(self, act: Act) -> bytes:
        return framing.encode(messages.pack("counters", self.session, act.a % 256))

    def _garbage(self, act: Act) -> bytes:
        return Random(act.a).randbytes(act.b % 90) + b"\0" * (act.a % 2)

    def _damaged(self, act: Act) -> bytes:
        frame = bytearray(self.last or b"\1\0")
        frame[act.a % len(frame)] ^= 1 << act.b % 8
        return bytes(frame)

    def _zeros(self, act: Act) -> bytes:
        return b"\0\0"

    def _long(self, act: Act) -> bytes:
        return bytes(1 + (act.a >> i % 8) % 255 for i in range(60 + act.b % 20)) + b"\0"

    def _short(self, act: Act) -> bytes:
        """A request cut off, or with bytes too many, with a good CRC."""
        payload = framing.decode(self._ask("move", axis=1, target_um=act.b, speed_um_s=0)[:-1])
        name = (0x12, 0x13, 0x14, 0x15, 0x20, 0x21, 0x26, 0x30, 0x60, 0x02)[act.a % 10]
        body = bytes((name, *payload[1:])) + b"\1\2\3"
        self.last = framing.encode(body[: 3 + act.a // 10 % (len(body) - 2)])
        return self.last

    def _longest(self, act: Act) -> bytes:
        """A good frame of the greatest length, or one byte more, with a tail that means nothing."""
        size = 62 + act.a % 2
        self.seq = (self.seq + 1) & 0xFF
        payload = bytes((3, self.session, self.seq)) + b"\7" * (size - 3)
        crc = framing.crc16(payload).to_bytes(2, "big")
        return bytes(cobs.encode(payload + crc)) + b"\0"

    def _flood(self, act: Act) -> bytes:
        """More frames than a tick takes, a stop among them."""
        frames = [self._ask("counters") for _ in range(1 + act.a % 4)]
        stop = framing.encode(messages.pack("stop", 3, 3, axis=act.b % 3, category=1))
        frames.insert(act.a // 4 % (len(frames) + 1), stop)
        return b"".join(frames)

    def _late_alive(self, act: Act) -> bytes:
        return framing.encode(messages.pack("alive", self.session, 0, tick=act.a % TICKS))

    def _reset(self, act: Act) -> bytes:
        """The board starts anew, and the host opens again."""
        flags, lost = ((2, 0), (2, 0), (8, 0), (0, 0), (4, 0), (1, 1), (0, 1), (2, 1))[act.a % 8]
        return self._boot(flags, act.b % 65536, bool(lost))

    def _boot(self, flags: int, nonce: int, lost: bool) -> bytes:
        self.pair.boot(flags, nonce, lost)
        self.nonce = self.pair.twin.noinit.nonce
        self.pair.out = type(self.pair.out)()
        self.queue = [self._open_next]
        for person in self.persons:
            person.rest()
        return b""

    # ------------------------------------------------------------ mishaps of the board

    def _aged(self, act: Act) -> None:
        """Time passes for the duty records alone."""
        index, ticks = act.a % 2, 1 + act.b % (15000 if act.a // 8 % 4 == 0 else 500)
        self.pair.age(index, ticks, bool(act.a // 2 % 2))
        self.pair.age(index, 1 + act.a // 32 % 600, bool(act.a // 4 % 2))

    def _spent(self, act: Act) -> None:
        """Little is left of a budget, or nothing; of a small one, as time is short."""
        index = act.a % 2
        live, duty = self.pair.twin.live.scope[1 + index], self.pair.twin.noinit.duty[index]
        left = duty_room(duty, live) - (0, 1, act.b % 40, act.b % 300)[act.a // 2 % 4]
        if 0 < left < 4000:
            self.pair.age(index, left, True)

    def _rewindow(self, act: Act) -> bytes:
        """On-time that a short window has forgotten, or soon will; then one of another length."""
        self.pair.age(act.a % 2, 300, True)
        self.pair.age(act.a % 2, 12500 - act.b % 800, False)
        return self._commit(Act(act.tick, "commit", act.a % 2 + 2, act.b))

    def _power(self, act: Act) -> bytes:
        """Power off and on; mostly the host tells for how long, or tells it twice."""
        self._boot(1, act.b % 65536, True)
        for _ in range((0, 1, 2, 2)[act.a % 4]):
            self.queue.append(lambda: self._credit_off(act))
        return b""

    def _warm(self, act: Act) -> None:
        """A motor about as warm as its levels, or hotter than can be."""
        live = self.pair.twin.live.scope[1 + act.a % 2]
        level = (live.thermal_warn_percent, live.thermal_trip_percent)[act.a // 2 % 2] * 10
        self.pair.warm(act.a % 2, (level, level - 12, level + 2, 3583, 3300)[act.b % 5])

    def _torn(self, act: Act) -> bytes:
        """A reset in the midst of writing a duty record."""
        self.pair.tear(act.a // 8 % 2, act.b % 3)
        return self._reset(act)

    def _rested(self, act: Act) -> None:
        """Ten minutes are over for the totals."""
        self.pair.end_pause()

    def _late(self, act: Act) -> None:
        self.pair.late(1 + act.a % 3 + 300 * (act.b % 9 == 0))

    def _worn(self, act: Act) -> None:
        """From now on the memory does not take what is written, or is busy now and then."""
        self.pair.worn = act.a % 2 == 0
        self.pair.busy_every = act.b % 4

    def _wears(self, act: Act) -> bytes:
        """Power off and on; the first record is written, or nearly so, and no other."""
        self.worn_at = act.tick + 10 + act.b % 24
        return self._boot(1, act.b % 65536, True)

    def _odd_supply(self, act: Act) -> None:
        self.supply = act.a % 1024
        self.bandgap = (0, 1, 17, act.b % 1024)[act.a // 1024 % 4]

    def _volts(self, act: Act) -> None:
        """The supply is low or high for a while, about the time that its guards take."""
        self.supply = (330, 540)[act.a % 2]
        self.calm_at = act.tick + (39, 41, 60, 80 + act.b % 60)[act.a // 2 % 4] - 36 * (act.a % 2)

    def _open_stop(self, act: Act) -> None:
        """The stop circuit is open for a while; the buttons are as they may be."""
        self.pair.inputs = act.a & 0x1E
        self.calm_at = act.tick + (3, 4, 5, 30)[act.b % 4]

    def _leave(self, act: Act) -> None:
        if act.a % 4 == 0:
            self.alone_until = act.tick + ALONE
            self.leans = self.plan.gang != 0 and self.rng.random() < 0.5

    def _asserted(self, act: Act) -> bytes:
        """A reset that left its mark in the record."""
        self.pair.mark((6, 6, 4, 5, 0, 7, 255)[act.b % 7])
        return self._reset(act)

    def _other_nonce(self, act: Act) -> bytes:
        """A record of which only part survived."""
        self.pair.spoil_nonce()
        return self._reset(act)

    def _left(self, act: Act) -> None:
        """The host is silent for as long as makes an axis its input's again, or just not."""
        self.pair.left(1990 + act.a % 40)

    # ------------------------------------------------------------ mishaps of a rod

    def _jam(self, act: Act) -> None:
        self.rods[act.a % 2].jammed = True

    def _free(self, act: Act) -> None:
        self.rods[act.a % 2].jammed = False

    def _stuck(self, act: Act) -> None:
        """No motion from now on, with hardly any, a usual or a high current."""
        rod = self.rods[act.a % 2]
        rod.jammed = True
        rod.forced_current = rod.zero + (0, 1, 60, 100, 300)[act.a // 2 % 5]

    def _heavy(self, act: Act) -> None:
        """The rod draws just fold_back_ma, or more, less than the trip; it may stand."""
        rod = self.rods[act.a % 2]
        rod.forced_current = rod.zero + 150 + act.b % 150
        rod.jammed = act.a // 2 % 2 == 0
        if act.a // 4 % 2:
            rod.forced_current = self._at_fold_back(act.a % 2)

    def _at_fold_back(self, index: int) -> int:
        """The reading at which the board reckons just that current."""
        live, axis = self.pair.twin.live.scope[1 + index], self.pair.twin.axis[index]
        counts = div_up(live.fold_back_ma << 11, max(1, axis.current_scale))
        return min(4092, live.current_zero + counts)

    def _drags(self, act: Act) -> None:
        """A load that leaves a third of the speed or less: the rod falls behind, and moves."""
        rod = self.rods[act.a % 2]
        rod.rate = max(1, rod.rate // (3, 5)[act.b % 2])

    def _freeze(self, act: Act) -> None:
        rod = self.rods[act.a % 2]
        rod.frozen_at = round(rod.place)

    def _pot(self, act: Act) -> None:
        """The pot reads 0, full scale, or anything."""
        self.rods[act.a % 2].forced_pot = (0, 8184, act.b % 8185)[act.a // 2 % 3]

    def _edge(self, act: Act) -> None:
        """The pot reads just within or just beyond what its endpoints allow."""
        axis, rod = self.plan.axes[act.a % 2], self.rods[act.a % 2]
        low, margin = 400 + axis.start, 40
        edges = (low - margin, low + axis.span + margin, margin // 2, 8184 - margin // 2)
        rod.forced_pot = edges[act.b % 4] + (0, 0, -1, 1)[act.b // 4 % 4]

    def _spark(self, act: Act) -> None:
        """The pot reads aside for one tick, or slips for good."""
        rod = self.rods[act.a % 2]
        rod.spark = (0, 2)[act.a // 2 % 2]
        rod.aside = (256, 257, 300, act.b % 4000)[act.b % 4] * (-1) ** (act.a // 4)

    def _current(self, act: Act) -> None:
        self.rods[act.a % 2].forced_current = (0, 4092, 900, act.b % 4093)[act.a // 2 % 4]

    def _backwards(self, act: Act) -> None:
        self.rods[act.a % 2].backwards = True

    def _mend(self, act: Act) -> None:
        rod = self.rods[act.a % 2]
        rod.frozen_at = rod.forced_pot = rod.forced_current = -1
        rod.aside = rod.spark = 0
        rod.jammed = rod.backwards = False


def _some(rng: Random, top: int) -> int:
    """Mostly within +-top, now and then beyond it or 0."""
    if rng.random() < 0.06:
        return 0
    return rng.randint(-top, top) if rng.random() < 0.9 else rng.randint(-2 * top, 2 * top)


def _get(which: int, scope: int, first_key: int) -> dict[str, int]:
    return {"which": which, "scope": scope, "first_key": first_key}
