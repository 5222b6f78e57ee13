"""An observer of one axis: from what was put out, told and sent, and where the rod truly is.

It reckons by SPEC.md and by nothing of the core: times to stand, ramps, the duty budget.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import NamedTuple

from rodbench_protocol.names import AxisState, Bridge, Fault

from tests.core.attack import HOLD, TICKS_PER_S, TWO_WIRES, Broken, ramp_ticks

NEVER = 2**62
RAMPED = (Fault.MOVE_SILENCE, Fault.FOLLOWING, Fault.THERMAL, Fault.SUPPLY_LOW, Fault.STOP_INPUT)
RAMPED = (*RAMPED, Fault.APART, Fault.LATE_TICK)  # of stop category 1
AT_ONCE = 0xFFFFFFFF & ~sum(1 << (number - 1) for number in RAMPED)
# Ticks that a cause stands before it is a fault, two more for the way there, and the ramp's part.
STANDS = {"pot_open": (8, 0), "pot_short": (8, 0), "supply_high": (6, 0)}
STANDS |= {"supply_low": (42, 1), "stop_open": (6, 1)}
ARMS = 20  # ticks at rest before a local input may ask for anything


class Seen(NamedTuple):
    """One axis after a tick. `local`: its input commands. `idle`: ticks for which that has not
    asked for anything. `causes`: ticks for which each has stood, whether it is watched or not."""

    drive: int
    bridge: int
    state: int
    motion: int
    faults: int  # of the axis and of the board
    local: bool = False
    idle: int = 0
    rested: bool = True  # the input was at rest for ARMS ticks since the start
    causes: dict[str, int] = {}  # noqa: RUF012
    mm: float = 0.0
    moved: bool = False
    true: bool = True  # the pot tells where the rod is, and nothing but the board moves it
    cleared: bool = False  # in this tick: a fault whose cause stands has come back since


NOTHING = Seen(0, 0, 0, 0, 0)


@dataclass
class Watch:
    """What is known of an axis. `allowed_mm`: how far past a soft stop its promise lets it go;
    `lost_ticks`: how long the input that commands it may be lost."""

    values: dict[str, int]
    allowed_mm: float = 0.2
    lost_ticks: int = 0
    tick: int = 0
    time: int = 0  # ticks, those without a board among them
    before: Seen = NOTHING
    hold: int = 0
    allowed_to: int = -1  # by holds and ramps of what the host sent
    handed_by: int = -1  # what the host began comes down, when an input has the axis again
    off_by: int = NEVER
    most: int = 0  # permille, of a ramp down: what was put out before it began
    over: bool = False  # with a fault latched it has come to rest
    started: bool = False
    judged: bool = False  # by its soft stops: it has been at rest inside
    on: deque[int] = field(default_factory=deque)
    worst_mm: float = -1e9

    def __post_init__(self) -> None:
        values = self.values
        self.ramp = ramp_ticks(values)
        self.window = values["duty_window_s"] * TICKS_PER_S
        self.budget = self.window * values["duty_share_permille"] // 1000

    def start(self) -> None:
        """The board has started anew; what was spent stays spent, whatever it remembers."""
        self.tick, self.allowed_to, self.handed_by, self.off_by = 0, -1, -1, NEVER
        self.over = self.started = False
        self.before = NOTHING

    def away(self, moved: bool) -> None:
        """A tick in which the board did nothing: in reset or without power, outputs off."""
        self.time += 1
        self.judged = self.judged and not moved

    def heard(self, echoed_tick: int) -> None:
        """The host has sent so much life, that may or may not have come."""
        self.allowed_to = max(self.allowed_to, echoed_tick + self.hold + self.ramp)

    def see(self, now: Seen) -> None:
        """One more tick."""
        self.tick += 1
        self.time += 1
        self._start(now)
        self._lines(now)
        self._ramp(now)
        self._faults(now)
        if now.drive:
            self._commander(now)
            self._causes(now)
        self._duty(now)
        self._place(now)
        self.before = now

    def _must(self, good: bool, what: str, now: Seen) -> None:
        if not good:
            raise Broken(f"tick {self.tick}: {what} (before {self.before.drive}; {now})")

    def _start(self, now: Seen) -> None:
        if now.local != self.before.local:
            self.allowed_to = self.handed_by = self.tick + self.ramp  # handed over: stopped
        if now.motion == self.before.motion:
            return
        stood = 0 if now.cleared and not now.drive else now.faults & self.before.faults
        self._must(not stood, f"a motion began with faults {stood:#x}", now)
        self.started = True
        is_move = AxisState.MOVE in (now.state, self.before.state)
        self.hold = self.values["move_hold_ms"] // 5 if is_move else HOLD
        self.heard(self.tick)

    def _lines(self, now: Seen) -> None:
        most = self.values["output_max_permille"]
        if not self.values["calibrated"] and self.values["feedback"] != TWO_WIRES:
            most = min(most, self.values["creep_output_permille"] * 6 // 5)
        self._must((now.drive != 0) == (now.bridge == Bridge.DRIVE), "drive without bridge", now)
        self._must(now.drive * self.before.drive >= 0, "reversed without a tick at 0", now)
        self._must(abs(now.drive) <= most, f"output above {most}", now)
        self._must(self.started or not now.drive, "output without a motion since the start", now)

    def _ramp(self, now: Seen) -> None:
        """No stop pushes harder than what it ends, whatever the rod does."""
        if now.state != AxisState.STOPPING:
            return
        if self.before.state != AxisState.STOPPING:
            self.most = abs(self.before.drive)
        self._must(abs(now.drive) <= self.most, f"ramp down above {self.most}", now)

    def _faults(self, now: Seen) -> None:
        """At once, or by a ramp, whose output may touch 0 where the rod runs ahead of it."""
        if not now.faults:
            self.over, self.off_by = False, NEVER
            return
        if self.off_by == NEVER:
            self.off_by = self.tick + self.ramp
        if now.drive:
            self._must(not now.faults & AT_ONCE, "output with a fault of category 0", now)
            self._must(self.tick <= self.off_by, "output with a fault, its ramp is over", now)
            self._must(not self.over, "output again with a fault", now)
            self._must(now.state == AxisState.STOPPING, "output with a fault, no ramp", now)
        self.over |= now.drive == 0 and now.state != AxisState.STOPPING

    def _commander(self, now: Seen) -> None:
        if not now.local:
            self._must(self.tick <= self.allowed_to, "output beyond hold and ramp", now)
            return
        self._must(
            now.idle <= self.lost_ticks + 6 + self.ramp, "output without an input that asks", now
        )
        comes_down = self.tick <= self.handed_by and now.state == AxisState.STOPPING
        self._must(now.rested or comes_down, "output by an input that was not yet at rest", now)

    def _causes(self, now: Seen) -> None:
        for name, ticks in now.causes.items():
            stands, ramps = STANDS[name]
            self._must(ticks <= stands + ramps * self.ramp, f"output {ticks} ticks in {name}", now)

    def _duty(self, now: Seen) -> None:
        if not now.drive:
            return
        self.on.append(self.time)
        while self.on[0] <= self.time - self.window:
            self.on.popleft()
        spent = len(self.on)
        self._must(spent <= self.budget, f"{spent} ticks on, {self.budget} allowed", now)

    def _place(self, now: Seen) -> None:
        values = self.values
        if not values["calibrated"]:
            return
        high = now.mm - values["soft_stop_max_um"] / 1000
        past = max(high, values["soft_stop_min_um"] / 1000 - now.mm)
        free = now.moved and now.bridge == Bridge.OFF  # it coasts: no promise
        if not now.true or free:
            self.judged = False
        elif not self.judged:
            self.judged = not now.moved and past <= 0
        if self.judged:
            self.worst_mm = max(self.worst_mm, past - self.allowed_mm)
            self._must(past <= self.allowed_mm, f"{past:.3f} mm past a soft stop", now)
