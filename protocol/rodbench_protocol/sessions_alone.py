"""Scripted sessions of a board that guards itself: gang, trip log, black box, totals, guards."""

from __future__ import annotations

from rodbench_protocol.names import EventKind, Fault, FaultBits, JogUnit, Status
from rodbench_protocol.script import (
    CALIBRATED,
    EXTERNAL,
    FITTED,
    POWER_ON,
    Json,
    Script,
    answer,
    plain_hello,
)

_RESTING, _BOTH = {"driving": [False, False]}, {"driving": [True, True]}
_SHORT = CALIBRATED | {"stroke_um": 101500, "soft_stop_min_um": 1500, "soft_stop_max_um": 100000}


def _again(s: Script, name: str) -> None:
    """Hello and open after a start; the nonce goes by this name."""
    hello = plain_hello()
    s.step(hello, expect=(answer(hello, boot_nonce=name),))
    s.seq = 0
    s.open(name)


def _gang() -> Json:
    s = Script("gang", "two rods as one: what is asked of either is asked of both, or of none")
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
    s.ask("jog", **jog, value=5000, reply={"motion": 1}, ticks=10, outputs=_BOTH)
    s.ask("level", Status.IN_MOTION, axis=1, speed_um_s=1000)
    ended: Json = {"kind": int(EventKind.MOTION_ENDED), "value_a": 1}
    stop = s.frame("stop", seq=9, axis=2, category=1)
    both = [ended | {"axis": 1}, ended | {"axis": 2}]
    s.step(stop, expect=(answer(stop),), ticks=300, events=both, outputs=_RESTING)
    s.ask("clear", axis=2, reply={"cleared": 0})
    return s.done()


def _level() -> Json:
    s = Script("level", "rods too far apart do not begin; level moves one alone, at creep")
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
    s.ask("level", **level, reply={"motion": 2}, ticks=20, outputs=alone)
    s.ask("jog", Status.IN_MOTION, axis=1, unit=int(JogUnit.SPEED), value=1000)
    s.ask("level", axis=2, speed_um_s=0, reply={"motion": 2}, ticks=300, outputs=_RESTING)
    s.step(ticks=50, readings={"pot": [4092, 3600]})  # 14.7 mm: more than twice the distance
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
    s = Script("trip_log", "trips are kept through a power loss, the newest first")
    s.begin()
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
    s.step(reset=POWER_ON, power_lost=True)
    _again(s, "$again")
    s.ask("trip_get", age=0, reply=second)
    s.ask("trip_get", age=1, reply=first)
    return s.done()


def _black_box() -> Json:
    s = Script("black_box", "the last 0.3 s before a trip, through a reset and not a power loss")
    s.begin()
    s.ask("black_box", Status.NOTHING_KEPT, axis=1, first=0)
    s.set_axis(**FITTED)
    s.ask("black_box", Status.BAD_VALUE, 1, axis=0, first=0)
    _over_current(s, 1, 1)
    driven = (4092 // 8 << 6) + 32 + 100 // 32
    last = {"place_output": driven, "current": 255}
    head: Json = {"trip_axis": 1, "trip_fault": int(Fault.OVER_CURRENT), "count": 30}
    earlier = {"place_output": driven, "current": 0}
    s.ask("black_box", axis=1, first=20, reply=head | {"items": [earlier] * 6 + [last] * 4})
    s.ask("black_box", axis=1, first=29, reply=head | {"items": [last]})
    s.ask("black_box", axis=1, first=30, reply=head | {"items": []})
    other = {"place_output": (4092 // 8 << 6) + 32, "current": 0}
    s.ask("black_box", axis=2, first=28, reply=head | {"items": [other] * 2})
    s.step(reset=EXTERNAL)
    _again(s, "$second")
    s.ask("black_box", axis=1, first=29, reply=head | {"items": [last]})
    s.ask("draft_begin", scope=1)
    s.ask("black_box", Status.NOTHING_KEPT, axis=1, first=0)
    s.ask("draft_discard", scope=1)
    s.set_axis(**FITTED)
    _over_current(s, 1, 1)
    s.ask("black_box", axis=1, first=29, reply=head | {"items": [last]})
    s.step(reset=POWER_ON, power_lost=True)
    _again(s, "$third")
    s.ask("black_box", Status.NOTHING_KEPT, axis=1, first=0)
    return s.done()


def _totals() -> Json:
    s = Script("totals", "on-time and starts are counted, and kept through a power loss")
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
    s.step(reset=EXTERNAL)
    _again(s, "$second")
    s.ask("totals", axis=1, reply=counted)
    return s.done()


MAKERS = (_gang, _level, _kept_trips, _black_box, _totals)
