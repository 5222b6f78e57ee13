"""Scripted sessions of a board that is commanded by its own inputs."""

from __future__ import annotations

from rodbench_protocol.names import (
    Commander,
    Ended,
    EventKind,
    Inputs,
    JogUnit,
    LocalAs,
    LocalSource,
    Status,
)
from rodbench_protocol.script import CALIBRATED, FITTED, Json, Script, answer

_FEATURE = "local_control"
_RESTING, _DRIVING = {"driving": [False, False]}, {"driving": [True, False]}
_OPEN, _EXTEND, _RETRACT = (
    {"inputs": 0},
    {"inputs": int(Inputs.EXTEND_1)},
    {"inputs": int(Inputs.RETRACT_1)},
)
_ARMED: Json = {"kind": int(EventKind.ARMED), "axis": 1}
_JOG: Json = {"axis": 1, "unit": int(JogUnit.SPEED), "value": 1000}


def _ended(cause: Ended, motion: int) -> Json:
    kind = int(EventKind.MOTION_ENDED)
    return {"kind": kind, "axis": 1, "cause": int(cause), "value_a": motion}


def _handed(commander: Commander) -> Json:
    return {"kind": int(EventKind.HANDED_OVER), "axis": 1, "cause": int(commander)}


def _buttons() -> Json:
    s = Script(
        "buttons",
        "buttons move an axis once they were seen open, and the host does not",
        feature=_FEATURE,
    )
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED | {"local_source": int(LocalSource.BUTTONS)}))
    s.ask("hand_over", axis=1, commander=int(Commander.LOCAL))
    s.ask("jog", Status.LOCAL_CONTROL, **_JOG)
    s.ask("level", Status.LOCAL_CONTROL, axis=1, speed_um_s=100)
    s.step(ticks=100, readings=_EXTEND, never=["event"], outputs=_RESTING)  # never seen open
    s.step(ticks=19, readings=_OPEN, never=["event"], outputs=_RESTING)
    s.step(ticks=1, events=[_ARMED])
    s.step(ticks=150, readings=_EXTEND, never=["event"], outputs=_DRIVING)  # and nobody is alive
    s.step(ticks=150, readings=_OPEN, events=[_ended(Ended.STOPPED, 1)], outputs=_RESTING)
    s.step(ticks=30, readings=_RETRACT, outputs=_DRIVING)
    stop = s.frame("stop", seq=9, axis=0, category=0)
    s.step(stop, expect=(answer(stop),), ticks=100, outputs=_RESTING)  # though still pressed
    s.step(ticks=30, readings=_OPEN, events=[_ARMED])
    s.step(ticks=30, readings=_EXTEND, outputs=_DRIVING)
    both = {"inputs": int(Inputs.EXTEND_1 | Inputs.RETRACT_1)}
    s.step(ticks=100, readings=both, outputs=_RESTING)
    s.step(ticks=100, readings=_EXTEND, never=["event"], outputs=_RESTING)
    return s.done()


def _hand_over() -> Json:
    s = Script(
        "hand_over", "the host takes an axis from its input, and gives it back", feature=_FEATURE
    )
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED | {"local_source": int(LocalSource.BUTTONS)}))
    s.ask("hand_over", Status.BAD_VALUE, 1, axis=3, commander=0)
    s.ask("hand_over", Status.BAD_VALUE, 2, axis=1, commander=2)
    s.ask("hand_over", axis=0, commander=int(Commander.LOCAL), ticks=30)
    s.step(ticks=30, readings=_EXTEND, outputs=_DRIVING)
    host = int(Commander.HOST)
    taken = [_handed(Commander.HOST), _ended(Ended.STOPPED, 1)]
    s.ask("hand_over", axis=1, commander=host, ticks=150, events=taken, outputs=_RESTING)
    s.ask("hand_over", axis=1, commander=host)
    s.ask("jog", **_JOG, reply={"motion": 2}, ticks=5, outputs=_DRIVING)
    given = [_handed(Commander.LOCAL), _ended(Ended.STOPPED, 2)]
    local = int(Commander.LOCAL)
    s.ask("hand_over", axis=1, commander=local, ticks=150, events=given, outputs=_RESTING)
    s.ask("hand_over", axis=1, commander=host)
    s.step(ticks=1990, readings=_OPEN, never=["event"])
    s.step(ticks=30, events=[_handed(Commander.LOCAL)])  # a host that is silent has left
    s.ask("jog", Status.LOCAL_CONTROL, **_JOG)
    return s.done()


def _stick() -> Json:
    s = Script(
        "stick", "a stick commands speed, and stops the rod when it is lost", feature=_FEATURE
    )
    s.begin()
    stick = {"local_low_end": 100, "local_rest": 500, "local_high_end": 900}
    stick |= {"local_source": int(LocalSource.STICK), "local_rest_band": 20}
    s.step(readings={"local": [500, 0]})
    s.set_axis(**(FITTED | CALIBRATED | stick))
    s.ask("hand_over", axis=1, commander=int(Commander.LOCAL), ticks=30)
    s.step(ticks=50, readings={"local": [520, 0]}, never=["event"], outputs=_RESTING)
    s.step(ticks=30, readings={"local": [521, 0]}, outputs=_DRIVING)
    s.step(ticks=30, readings={"local": [950, 0]}, never=["event"], outputs=_DRIVING)
    s.step(ticks=19, readings={"local": [1000, 0]}, never=["event"], outputs=_DRIVING)
    lost = {"kind": int(EventKind.SOURCE_LOST), "axis": 1}
    s.step(ticks=2, events=[lost])  # in a tick of 16 a stick is not converted
    s.step(ticks=150, events=[_ended(Ended.STOPPED, 1)], outputs=_RESTING)
    s.step(ticks=50, readings={"local": [900, 0]}, never=["event"], outputs=_RESTING)
    s.step(ticks=30, readings={"local": [500, 0]}, events=[_ARMED])
    s.step(ticks=30, readings={"local": [100, 0]}, outputs=_DRIVING)
    return s.done()


def _places() -> Json:
    s = Script(
        "places",
        "a button names a place: pressed once it goes there, pressed again it stops",
        feature=_FEATURE,
    )
    s.begin()
    places = {"local_as": int(LocalAs.POSITION), "local_place_extend": 39321}  # 121.8 mm
    places |= {"local_source": int(LocalSource.BUTTONS)}
    s.set_axis(**(FITTED | CALIBRATED | places))
    s.ask("hand_over", axis=1, commander=int(Commander.LOCAL), ticks=30)
    s.step(ticks=5, readings=_EXTEND, outputs=_DRIVING)
    s.step(ticks=150, readings=_OPEN, never=["event"], outputs=_DRIVING)
    s.step(ticks=150, readings=_RETRACT, events=[_ended(Ended.STOPPED, 1)], outputs=_RESTING)
    s.step(ticks=10, readings=_OPEN)
    s.step(ticks=10, readings=_RETRACT, outputs=_DRIVING)
    return s.done()


MAKERS = (_buttons, _hand_over, _stick, _places)
