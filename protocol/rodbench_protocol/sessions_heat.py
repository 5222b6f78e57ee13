"""Scripted sessions of what an axis has spent: duty and heat, and time without power."""

from __future__ import annotations

from rodbench_protocol.names import EventKind, Fault, FaultBits, JogUnit, Status
from rodbench_protocol.script import (
    CALIBRATED,
    EXTERNAL,
    FITTED,
    POWER_ON,
    Json,
    Script,
)

_JOG: Json = {"axis": 1, "unit": int(JogUnit.OUTPUT), "value": 100}


def _credit_off() -> Json:
    s = Script("credit_off", "off-time is told once after power came on, before anything moves")
    s.begin()
    s.start_again("$second", EXTERNAL)
    s.ask("credit_off", off_s=5400)
    s.ask("credit_off", Status.NOTHING_KEPT, off_s=5400)
    s.start_again("$third", EXTERNAL)
    s.ask("credit_off", Status.NOTHING_KEPT, off_s=5400)
    s.start_again("$fourth", POWER_ON)
    s.set_axis(**FITTED)
    s.ask("jog", **_JOG, ticks=20)
    s.ask("credit_off", Status.NOTHING_KEPT, off_s=5400)
    return s.done()


def _duty() -> Json:
    s = Script("duty", "what does not fit the budget is refused, with the time until it would")
    s.begin()
    small = {"duty_share_permille": 10, "duty_window_s": 60}  # 0.6 s: 120 ticks
    s.set_axis(**(FITTED | CALIBRATED | small))
    never = 65535
    s.ask("move", Status.DUTY_SPENT, never, axis=1, target_um=190000, speed_um_s=0)
    jog: Json = {"axis": 1, "unit": int(JogUnit.SPEED), "value": 1000}
    s.ask("jog", **jog, ticks=300, outputs={"driving": [False, False]})
    s.ask("jog", Status.DUTY_SPENT, 61, **jog)  # 20 ticks and a ramp of 50 are not left
    return s.done()


def _heat() -> Json:
    s = Script("heat", "a motor that is too warm trips, and again until it has cooled")
    s.begin()
    s.set_axis(**(FITTED | {"rated_ma": 100, "thermal_time_s": 10}))
    warm: Json = {"kind": int(EventKind.WARM), "axis": 1}
    trip: Json = {"kind": int(EventKind.TRIP), "axis": 1, "cause": int(Fault.THERMAL)}
    hot = {"current": [121, 0]}  # 799 mA: 64 times the heat of 100 mA, 800 permille in 25 ticks
    s.step(ticks=24, readings=hot, never=["event"])
    s.step(ticks=4, events=[warm])
    s.step(ticks=20, events=[trip])
    s.step(ticks=2, readings={"current": [0, 0]})
    s.ask("jog", Status.FAULTED, int(Fault.THERMAL), **_JOG)
    s.ask("clear", axis=1, reply={"cleared": int(FaultBits.THERMAL)}, ticks=2, events=[trip])
    s.step(ticks=1600)  # 8 s of 10: to 0.45 of it
    s.ask("clear", axis=1, reply={"cleared": int(FaultBits.THERMAL)})
    s.ask("jog", **_JOG, ticks=20, outputs={"driving": [True, False]})
    return s.done()


MAKERS = (_credit_off, _duty, _heat)
