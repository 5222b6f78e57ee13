"""Scripted sessions of a board that guards itself: gang, trip log, black box, totals, guards."""

from __future__ import annotations

from typing import Any

from rodbench_protocol.names import Ended, EventKind, Fault, FaultBits, JogUnit, Status
from rodbench_protocol.script import (
    CALIBRATED,
    EXTERNAL,
    FITTED,
    POWER_ON,
    Json,
    Script,
    answer,
)

_RESTING, _BOTH = {"driving": [False, False]}, {"driving": [True, True]}
_SHORT = CALIBRATED | {"stroke_um": 101500, "soft_stop_min_um": 1500, "soft_stop_max_um": 100000}


def _gang() -> Json:
    s = Script(
        "gang",
        "two rods as one: what is asked of either is asked of both, or of none",
        feature="gang",
    )
    s.begin()
    s.put(0, apart_trip_um=6000)
    s.ask("jog", Status.GANGED, axis=1, unit=int(JogUnit.OUTPUT), value=100)
    s.put(1, **(FITTED | CALIBRATED))
    s.ask("move", Status.GANGED, axis=1, target_um=100000, speed_um_s=0)
    s.put(2, **(FITTED | _SHORT))
    s.ask("jog", Status.GANGED, axis=1, unit=int(JogUnit.OUTPUT), value=100)
    s.ask("run", Status.GANGED, axis=2, output_permille=100)
    s.ask("seek", Status.GANGED, axis=1, direction=1)
    s.ask("move", Status.OUTSIDE, axis=2, target_um=100001, speed_um_s=0)
    jog: Json = {"axis": 1, "unit": int(JogUnit.SPEED)}
    s.ask("jog", **jog, value=5000, reply={"motion": 1}, ticks=20, outputs=_BOTH)
    s.ask("level", Status.IN_MOTION, axis=1, speed_um_s=1000)
    ended: Json = {"kind": int(EventKind.MOTION_ENDED), "value_a": 1}
    stop = s.frame("stop", seq=9, axis=2, category=1)
    both = [ended | {"axis": 1}, ended | {"axis": 2}]
    s.step(stop, expect=(answer(stop),), ticks=300, events=both, outputs=_RESTING)
    s.ask("clear", axis=2, reply={"cleared": 0})
    return s.done()


def _level() -> Json:
    s = Script(
        "level", "rods too far apart do not begin; level moves one alone, at creep", feature="gang"
    )
    s.begin()
    level: Json = {"axis": 2, "speed_um_s": 1000}
    s.ask("level", Status.NOT_SUPPORTED, **level)
    s.put(1, **(FITTED | CALIBRATED))
    s.put(2, **(FITTED | _SHORT))
    s.put(0, apart_trip_um=6000)
    s.step(ticks=50, readings={"pot": [4092, 3800]})  # 8.7 mm of 203
    fault = int(Fault.APART)
    trip = {"kind": int(EventKind.TRIP), "axis": 0, "cause": fault}
    move: Json = {"axis": 1, "target_um": 150000, "speed_um_s": 0}
    s.ask("move", **move, ticks=30, events=[trip], outputs=_RESTING)
    s.step(ticks=300)
    s.ask("level", Status.FAULTED, fault, **level)
    s.ask("clear", axis=0, reply={"cleared": int(FaultBits.APART)}, ticks=30)
    s.ask("level", Status.BAD_VALUE, 2, axis=2, speed_um_s=1501)
    alone = {"driving": [False, True]}
    s.ask("level", **level, reply={"motion": 2}, ticks=30, outputs=alone)
    s.ask("jog", Status.IN_MOTION, axis=1, unit=int(JogUnit.SPEED), value=1000)
    s.ask("level", axis=2, speed_um_s=0, reply={"motion": 2}, ticks=100, outputs=_RESTING)
    s.step(ticks=20, readings={"pot": [4092, 3600]})  # 14.7 mm: more than twice the distance
    s.ask("level", **level, ticks=30, events=[trip], outputs=_RESTING)
    return s.done()


def _over_current(s: Script, axis: int, motion: int) -> None:
    """A jog that trips after 0.3 s at rest; soon its trip is in the log."""
    s.step(ticks=60)
    s.ask("jog", axis=axis, unit=int(JogUnit.OUTPUT), value=100, reply={"motion": motion}, ticks=30)
    high = {"current": [3600, 0] if axis == 1 else [0, 3600]}
    trip = {"kind": int(EventKind.TRIP), "axis": axis, "cause": int(Fault.OVER_CURRENT)}
    s.step(ticks=30, readings=high, events=[trip], outputs=_RESTING)
    s.step(ticks=50, readings={"current": [0, 0]})


def _kept_trips() -> Json:
    s = Script(
        "trip_log", "trips are kept through a power loss, the newest first", feature="trip_log"
    )
    s.begin()
    s.step(ticks=60)
    s.ask("trip_get", Status.NOTHING_KEPT, age=0)
    s.set_axis(**FITTED)
    _over_current(s, 1, 1)
    first: Json = {"number": 1, "axis": 1, "fault": int(Fault.OVER_CURRENT), "raw": 4092}
    first |= {"position_um": 0, "output_percent": 10, "uptime_min": 0}
    s.ask("trip_get", age=0, reply=first)
    s.ask("trip_get", Status.NOTHING_KEPT, age=1)
    s.put(2, **FITTED)
    _over_current(s, 2, 1)
    second = first | {"number": 2, "axis": 2}
    s.ask("trip_get", age=0, reply=second)
    s.ask("trip_get", age=1, reply=first)
    for age in (2, 7, 8, 255):
        s.ask("trip_get", Status.NOTHING_KEPT, age=age)
    s.start_again("$again", POWER_ON)
    s.step(ticks=60)
    s.ask("trip_get", age=0, reply=second)
    s.ask("trip_get", age=1, reply=first)
    return s.done()


def _black_box() -> Json:
    s = Script(
        "black_box",
        "the last 0.3 s before a trip, through a reset and not a power loss",
        feature="black_box",
    )
    s.begin()
    s.ask("black_box", Status.NOTHING_KEPT, axis=1, first=0)
    s.set_axis(**FITTED)
    s.ask("black_box", Status.BAD_VALUE, 1, axis=0, first=0)
    _over_current(s, 1, 1)
    driven = (4092 // 8 << 6) + 32 + 100 // 32
    last = {"place_output": driven, "current": 255}
    head: Json = {"trip_axis": 1, "trip_fault": int(Fault.OVER_CURRENT), "count": 30}
    earlier = {"place_output": driven, "current": 0}
    s.ask("black_box", axis=1, first=20, reply=head | {"items": [earlier] * 5 + [last] * 5})
    s.ask("black_box", axis=1, first=29, reply=head | {"items": [last]})
    s.ask("black_box", axis=1, first=30, reply=head | {"items": []})
    other = {"place_output": (4092 // 8 << 6) + 32, "current": 0}
    s.ask("black_box", axis=2, first=28, reply=head | {"items": [other] * 2})
    s.start_again("$second", EXTERNAL)
    s.ask("black_box", axis=1, first=29, reply=head | {"items": [last]})
    s.ask("draft_begin", scope=1)
    s.ask("black_box", Status.NOTHING_KEPT, axis=1, first=0)
    s.ask("draft_discard", scope=1)
    s.set_axis(**FITTED)
    _over_current(s, 1, 1)
    s.ask("black_box", axis=1, first=29, reply=head | {"items": [last]})
    s.start_again("$third", POWER_ON)
    s.ask("black_box", Status.NOTHING_KEPT, axis=1, first=0)
    return s.done()


def _totals() -> Json:
    s = Script(
        "totals",
        "on-time and starts are counted, and kept through a power loss",
        feature="trip_log",
    )
    s.begin()
    s.ask("totals", Status.BAD_VALUE, 1, axis=3)
    s.ask("totals", axis=1, reply={"on_s": 0, "starts": 0, "travel_mm": 0})
    s.set_axis(**FITTED)
    for motion in range(1, 6):
        s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=100, reply={"motion": motion})
        s.step(ticks=200, outputs=_RESTING)
    counted = {"on_s": 1, "starts": 5, "travel_mm": 0}
    s.ask("totals", axis=1, reply=counted)
    s.ask("totals", axis=2, reply={"on_s": 0, "starts": 0, "travel_mm": 0})
    s.start_again("$second", EXTERNAL)
    s.ask("totals", axis=1, reply=counted)
    return s.done()


def _tripped(s: Script, axis: int, fault: Fault, within: int, **more: Any) -> None:
    """These readings trip within so many ticks."""
    s.step(ticks=within, events=[_trip(axis, fault)], **more)


def _trip(axis: int, fault: Fault) -> Json:
    return {"kind": int(EventKind.TRIP), "axis": axis, "cause": int(fault)}


def _pot_guards() -> Json:
    s = Script("pot_guards", "an open and a jumping pot trip at rest, a single spark does not")
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED))
    s.step(ticks=50)
    s.step(ticks=1, readings={"pot": [0, 4092]}, never=["event"])
    s.step(ticks=50, readings={"pot": [4092, 4092]}, never=["event"])
    s.step(ticks=1, readings={"pot": [0, 4092]}, never=["event"])
    _tripped(s, 1, Fault.POT_JUMP, 1)
    s.step(ticks=2, never=["event"])
    _tripped(s, 1, Fault.POT_OPEN, 1)
    both = int(FaultBits.POT_JUMP | FaultBits.POT_OPEN)
    again = [{"kind": int(EventKind.CLEARED), "axis": 1}, _trip(1, Fault.POT_OPEN)]
    s.ask("clear", axis=1, reply={"cleared": both}, ticks=2, events=again)
    s.step(ticks=10, readings={"pot": [8184, 4092]}, events=[_trip(1, Fault.POT_SHORT)])
    s.step(ticks=80, readings={"pot": [4092, 4092]})
    jog: Json = {"axis": 1, "unit": int(JogUnit.SPEED), "value": 1000}
    s.ask("jog", Status.FAULTED, int(Fault.POT_OPEN), **jog)
    s.ask("clear", axis=1, ticks=2)
    s.ask("jog", **jog, reply={"motion": 1}, ticks=20, outputs={"driving": [True, False]})
    return s.done()


def _moving_off() -> Json:
    s = Script("moving_off", "a rod that leaves its place with the output off is told")
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED))
    s.step(ticks=300, never=["event"])
    s.step(ticks=64, readings={"pot": [4072, 4092]}, never=["event"])  # 0.6 mm
    _tripped(s, 1, Fault.MOVING_OFF, 48, readings={"pot": [3992, 4092]}, outputs=_RESTING)  # 3 mm
    return s.done()


def _following() -> Json:
    s = Script("following", "a rod that falls behind its reference stops, category 1")
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED | {"following_um": 1000, "move_hold_ms": 2000}))
    s.ask("move", axis=1, target_um=150000, speed_um_s=0, reply={"motion": 1}, ticks=120)
    fault = Fault.FOLLOWING
    ended = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "cause": int(Ended.FAULT)}
    s.step(ticks=270, events=[_trip(1, fault), ended], outputs=_RESTING)
    s.ask("outcome", axis=1, reply={"ended": int(Ended.FAULT), "cause": int(fault)})
    return s.done()


def _supply() -> Json:
    s = Script("supply", "a low supply stops both axes by a ramp, a high one at once")
    s.begin()
    s.set_axis(**FITTED)
    s.put(0, supply_low_mv=10000, supply_high_mv=14000)
    low, high, good = ({"supply": n} for n in (350, 520, 430))  # 9.8, 14.5 and 12.0 V
    s.step(ticks=100, readings=low, never=["event"])  # no meter was held to it
    s.step(readings=good)
    s.put(0, supply_calibrated=1)
    jog: Json = {"axis": 1, "unit": int(JogUnit.OUTPUT), "value": 100}
    driving = {"driving": [True, False]}
    s.ask("jog", **jog, ticks=10)
    s.step(ticks=39, readings=low, never=["event"], outputs=driving)
    _tripped(s, 0, Fault.SUPPLY_LOW, 1, outputs=driving)
    s.step(ticks=50, outputs=_RESTING)
    s.ask("outcome", axis=1, reply={"ended": int(Ended.FAULT), "cause": int(Fault.SUPPLY_LOW)})
    again = [{"kind": int(EventKind.CLEARED), "axis": 0}, _trip(0, Fault.SUPPLY_LOW)]
    s.ask("clear", axis=0, ticks=2, events=again)
    s.ask("jog", Status.FAULTED, int(Fault.SUPPLY_LOW), **jog)
    s.step(ticks=2, readings=good)
    s.ask("clear", axis=0, reply={"cleared": int(FaultBits.SUPPLY_LOW)})
    s.ask("jog", **jog, ticks=5)
    s.step(ticks=3, readings=high, never=["event"], outputs=driving)
    _tripped(s, 0, Fault.SUPPLY_HIGH, 1, outputs=_RESTING)
    return s.done()


def _stop_input() -> Json:
    s = Script("stop_input", "an open stop input stops both axes, and bars them while it is open")
    s.begin()
    s.set_axis(**FITTED)
    s.put(2, **FITTED)
    s.step(readings={"inputs": 1})
    s.put(0, stop_input=1)
    for axis in (1, 2):
        s.ask("jog", axis=axis, unit=int(JogUnit.OUTPUT), value=100, ticks=15)
    s.step(ticks=3, readings={"inputs": 0}, never=["event"], outputs=_BOTH)
    s.step(ticks=8, readings={"inputs": 1}, never=["event"], outputs=_BOTH)  # a bounce
    s.step(ticks=3, readings={"inputs": 0}, never=["event"], outputs=_BOTH)
    _tripped(s, 0, Fault.STOP_INPUT, 1, outputs=_BOTH)
    s.step(ticks=10, outputs=_RESTING)
    s.step(ticks=100)
    fault = int(Fault.STOP_INPUT)
    s.ask("jog", Status.FAULTED, fault, axis=1, unit=int(JogUnit.OUTPUT), value=100)
    s.ask("clear", axis=0, ticks=2, events=[_trip(0, Fault.STOP_INPUT)])
    s.step(ticks=2, readings={"inputs": 1})
    s.ask("clear", axis=0, reply={"cleared": int(FaultBits.STOP_INPUT)})
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=100, ticks=5)
    s.step(outputs={"driving": [True, False]})
    return s.done()


def _fold_back() -> Json:
    s = Script("fold_back", "a current above fold_back_ma takes the output back, and is no fault")
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED | {"fold_back_ma": 600}))
    s.ask("run", axis=1, output_permille=300, ticks=20)
    told = {"kind": int(EventKind.FOLD_BACK), "axis": 1}
    more = {"current": [121, 0]}  # 800 mA
    s.step(ticks=5, readings=more, events=[told], outputs={"driving": [True, False]})
    s.step(ticks=15, never=["event"], outputs={"driving": [True, False]})
    return s.done()


MAKERS = (
    _gang, _level, _kept_trips, _black_box, _totals, _pot_guards, _moving_off, _following,
    _supply, _stop_input, _fold_back,
)  # fmt: skip
