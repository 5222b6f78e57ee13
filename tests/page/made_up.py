"""Made-up feeds: every state that a page must be able to show, without a board behind it.

The figures are invented. A feed here has the same attributes as the live one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
from rodbench.board import AxisSample, BoardSample, Event
from rodbench.link.api import LinkStatistics
from rodbench.page.feed import Feed, Stroke, Trace
from rodbench.page.replay import ReplayFeed
from rodbench.record.recording import Gap
from rodbench.settings.units import Units
from rodbench_protocol.names import AxisState, EventKind, Fault, Feedback, Inputs
from rodbench_protocol.settings import defaults

TICK_S = 0.005
MACHINE = """machine_file = 1
name = "ridge vent"
[rods.north]
stroke_mm = 203.0
retracted_pin_to_pin_mm = 305.0
pot_retracted = 0.905425
pot_extended = 0.074780
[rods.south]
stroke_mm = 152.0
retracted_pin_to_pin_mm = 254.0
pot_retracted = 0.905425
pot_extended = 0.074780
[axes.1]
rod = "north"
[axes.2]
rod = "south"
[positions]
closed = "3 mm"
half = "50 %"
open = "150 mm"
"""


def axis_settings(**other: int) -> dict[str, int]:
    """A calibrated rod of 203 mm with soft stops at 3 and 188 mm."""
    return {
        **defaults("axis"), "feedback": Feedback.POT, "calibrated": 1, "stroke_um": 203_000,
        "soft_stop_min_um": 3_000, "soft_stop_max_um": 188_000, "speed_max_um_s": 8_000,
        "acceleration_um_s2": 20_000, "deceleration_um_s2": 30_000, "trip_ma": 2_900,
        "raw_retracted": 7_410, "raw_extended": 612, "creep_speed_um_s": 2_400,
        "following_um": 4_000, "rated_ma": 2_000, **other,
    }  # fmt: skip


def axis_sample(axis: int = 1, **other: Any) -> AxisSample:
    """At rest at 101.5 mm."""
    at = AxisSample(
        tick=60_000, axis=axis, state=AxisState.IDLE, raw=4_000, position_mm=101.5, speed_mm_s=0.0,
        speed_raw_s=None, reference_mm=101.5, current_a=0.0, output=0.0, faults=0, duty_used=0.15,
        motion=0, calibrated=True, proven=True, outside=False, held_back=False, braking=True,
    )  # fmt: skip
    return replace(at, **other)


def board_sample(**other: Any) -> BoardSample:
    """A board in order."""
    at = BoardSample(
        tick=60_000, supply_v=12.41, board_5v=4.98, inputs=int(Inputs.STOP), faults=0,
        on_ticks=(9_000, 4_000), duty_left_s=(255.0, 280.0), frames_bad=0, late_ticks=0,
        duty_ready_s=(420.0, 260.0), heat=(0.31, 0.22), local=(0, 0),
    )  # fmt: skip
    return replace(at, **other)


def event(kind: EventKind, axis: int = 1, cause: int = 0, **other: Any) -> Event:
    at = Event(
        tick=59_000, number=7, axis=axis, kind=int(kind), cause=int(cause), raw=4_000,
        position_mm=140.0, current_a=2.93, output=0.8, value_a=0, value_b=0,
    )  # fmt: skip
    return replace(at, **other)


def current_at(mm: np.ndarray, bump_a: float = 0.0) -> np.ndarray:
    """A running current with ripple, and a bump at 140 mm."""
    ripple = 0.06 * np.sin(mm / 3.0)
    return 1.3 + 0.002 * mm + ripple + bump_a * np.exp(-(((mm - 140.0) / 6.0) ** 2))


@cache
def trace(calibrated: bool = True) -> Trace:
    """The last 60 s: out and back, at rest between."""
    t = np.arange(240.0, 300.0, 0.01)
    reference = 101.5 + 80.0 * np.clip(2.2 * np.sin((t - 240.0) / 9.0), -1.0, 1.0)
    position = reference - np.gradient(reference, t) * 0.06
    moving = np.abs(np.gradient(reference, t)) > 0.5
    current = np.where(moving, current_at(position, 0.5), 0.0)
    made = Trace()
    for n, at_s in enumerate(t):
        places = (position[n], reference[n]) if calibrated else (None, None)
        made.add(axis_sample(tick=round(at_s / TICK_S), position_mm=places[0],
                             reference_mm=places[1], current_a=current[n]))  # fmt: skip
    return made


WHOLE = np.arange(4.0, 187.0, 0.5)


def stroke(mm: np.ndarray, current_a: np.ndarray, begun_s: float, over: bool = True) -> Stroke:
    return Stroke(1, begun_s, mm.tolist(), current_a.tolist(), over)


def strokes(bump_a: float = 0.9) -> list[Stroke]:
    """Three earlier strokes, and this one, as far as it has come."""
    so_far = WHOLE[WHOLE < 142.0]
    earlier = [stroke(WHOLE, current_at(WHOLE, 0.1 * n) + 0.05 * n, 10.0 * n) for n in range(3)]
    return [*earlier, stroke(so_far, current_at(so_far, bump_a), 290.0, over=False)]


class MadeUpFeed(Feed):
    """A rod called north, at rest, all in order."""

    def __init__(self) -> None:
        super().__init__()
        self.name = "ridge vent"
        self.rods = {1: "north"}
        board = {"supply_calibrated": 1, "supply_low_mv": 10_500, "stop_input": 1}
        self.scopes = {
            0: {**defaults("board"), **board}, 1: axis_settings(), 2: dict(defaults("axis"))
        }  # fmt: skip
        self.last_axis = {1: axis_sample()}
        self.last_board = board_sample()
        self.traces = {1: trace()}
        self.strokes = {1: strokes(0.2)}
        self.baseline = {1: [stroke(WHOLE, current_at(WHOLE) - 0.15, 0.0)]}
        self.digest, self.stored = 0x81D2F03B, True
        self.link = LinkStatistics(round_trip_ms_median=6.0)
        self.version = 1


def two(feed: MadeUpFeed, **south: Any) -> MadeUpFeed:
    """The same with a second rod."""
    feed.rods[2] = "south"
    feed.scopes[2] = axis_settings(stroke_um=152_000, soft_stop_max_um=146_000)
    feed.last_axis[2] = axis_sample(2, position_mm=76.0, reference_mm=76.0, **south)
    feed.traces[2] = trace()
    feed.strokes[2] = []
    return feed


def _only(feed: MadeUpFeed | None = None, **sample: Any) -> MadeUpFeed:
    feed = feed or MadeUpFeed()
    feed.last_axis[1] = replace(feed.last_axis[1], **sample)
    return feed


def _uncalibrated() -> MadeUpFeed:
    feed = _only(calibrated=False, proven=False, position_mm=None, speed_mm_s=None,
                 speed_raw_s=0.0, reference_mm=None)  # fmt: skip
    feed.scopes[1] |= {"calibrated": 0}
    feed.traces[1], feed.strokes[1] = trace(False), []
    return feed


def _moving() -> MadeUpFeed:
    feed = _only(state=AxisState.MOVE, position_mm=141.0, reference_mm=141.6, speed_mm_s=7.9,
                 output=0.82, current_a=1.62, motion=4)  # fmt: skip
    feed.targets = {1: 150.0}
    return feed


def _held_back() -> MadeUpFeed:
    feed = _only(state=AxisState.JOG, position_mm=188.0, reference_mm=188.0, held_back=True)
    feed.events.append((299.0, event(EventKind.SOFT_STOP, position_mm=188.0)))
    return feed


def _tripped() -> MadeUpFeed:
    feed = _only(state=AxisState.FAULT, faults=1 << (Fault.OVER_CURRENT - 1), position_mm=140.4)
    feed.events.append((290.0, event(EventKind.MOTION_ENDED, cause=2)))
    feed.events.append((295.0, event(EventKind.TRIP, cause=Fault.OVER_CURRENT)))
    feed.strokes[1] = strokes(0.9)
    return feed


def _duty_spent() -> MadeUpFeed:
    feed = _only(duty_used=1.0)
    feed.last_board = board_sample(duty_left_s=(0.0, 280.0), duty_ready_s=(960.0, 260.0))
    return feed


def _warm() -> MadeUpFeed:
    feed = _only(warm=True, state=AxisState.MOVE, speed_mm_s=-8.0, output=-0.8, current_a=1.9)
    feed.last_board = board_sample(heat=(0.86, 0.2))
    return feed


def _supply_low() -> MadeUpFeed:
    feed = _only(state=AxisState.FAULT)
    bits = 1 << (Fault.SUPPLY_LOW - 1)
    feed.last_axis[1] = replace(feed.last_axis[1], faults=bits)
    feed.last_board = board_sample(supply_v=9.87, faults=bits)
    feed.events.append((297.0, event(EventKind.TRIP, axis=0, cause=Fault.SUPPLY_LOW)))
    return feed


def _apart() -> MadeUpFeed:
    feed = two(MadeUpFeed(), ganged=True, state=AxisState.FAULT)
    bits = 1 << (Fault.APART - 1)
    feed.scopes[0]["apart_trip_um"] = 6_000
    feed.last_axis[1] = axis_sample(1, ganged=True, state=AxisState.FAULT, faults=bits)
    feed.last_axis[2] = replace(feed.last_axis[2], faults=bits)
    feed.last_board = board_sample(faults=bits)
    feed.events.append((297.0, event(EventKind.TRIP, axis=0, cause=Fault.APART)))
    return feed


def _pot_open() -> MadeUpFeed:
    feed = _only(state=AxisState.FAULT, faults=1 << (Fault.POT_OPEN - 1), raw=12, position_mm=-1.2)
    feed.events.append((299.0, event(EventKind.TRIP, cause=Fault.POT_OPEN, position_mm=-1.2)))
    return feed


def _no_axis() -> MadeUpFeed:
    feed = MadeUpFeed()
    feed.rods = {}
    feed.scopes[1] = dict(defaults("axis"))
    feed.last_axis = {n: axis_sample(n, state=AxisState.NOT_FITTED) for n in (1, 2)}
    return feed


def _no_pot() -> MadeUpFeed:
    feed = _only(calibrated=False, position_mm=None, reference_mm=None, speed_mm_s=None,
                 speed_raw_s=0.0, place="extended")  # fmt: skip
    feed.scopes[1] |= {"feedback": Feedback.NONE, "calibrated": 0, "stroke_time_extend_cs": 2_510,
                       "stroke_time_retract_cs": 2_360}  # fmt: skip
    feed.traces[1], feed.strokes[1] = trace(False), []
    return feed


def _local() -> MadeUpFeed:
    feed = _only(local=True, armed=True, state=AxisState.JOG, speed_mm_s=3.0, output=0.3,
                 current_a=0.8)  # fmt: skip
    feed.scopes[1] |= {"local_source": 1}
    return feed


def _inches() -> MadeUpFeed:
    feed = _moving()
    feed.units = Units("in")
    return feed


def _lost() -> MadeUpFeed:
    feed = _only()
    feed.lost = "the port went away 12 s ago"
    return feed


def _another() -> MadeUpFeed:
    feed = _moving()
    feed.targets = {}
    feed.commander = "'move 1' (process 4711)"
    return feed


class MadeUpReplay(ReplayFeed):
    """A recording of the tripped rod, without a file."""

    def __init__(self) -> None:
        self.__dict__.update(_tripped().__dict__)
        self.recording = "2031-05-04T10-12-00.rec"
        self.gaps = [Gap(312.0, 327.5, "the port went away", None)]
        self.playing, self.at_s, self.duration_s = False, 295.0, 1260.0

    def seek(self, at_s: float) -> None:
        self.at_s = min(max(0.0, at_s), self.duration_s)
        self.version += 1


STATES: dict[str, Callable[[], Feed]] = {
    "idle": MadeUpFeed,
    "uncalibrated": _uncalibrated,
    "moving": _moving,
    "held_back": _held_back,
    "tripped": _tripped,
    "duty_spent": _duty_spent,
    "warm": _warm,
    "supply_low": _supply_low,
    "ganged": lambda: _ganged(),
    "apart": _apart,
    "two": lambda: two(MadeUpFeed()),
    "pot_open": _pot_open,
    "no_axis": _no_axis,
    "no_pot": _no_pot,
    "local": _local,
    "lost": _lost,
    "another": _another,
    "inches": _inches,
    "read_only": MadeUpFeed,
    "other_page": MadeUpFeed,
    "replay": MadeUpReplay,
}


def _ganged() -> MadeUpFeed:
    feed = two(_moving(), ganged=True, state=AxisState.MOVE, speed_mm_s=5.9, output=0.6)
    feed.scopes[0]["apart_trip_um"] = 6_000
    feed.last_axis[1] = replace(feed.last_axis[1], ganged=True)
    feed.targets = {1: 150.0, 2: 150.0 * 152 / 203}
    return feed
