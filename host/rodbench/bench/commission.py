"""The whole sequence: one rod from unknown to limited, stored and tried.

What is in hand decides the plan; each plan is a module of its own with the same signature.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Protocol

from rodbench_protocol.names import CurrentSensor, Feedback, LocalSource

from . import by_hand, ordinary, two_wires, unlabelled
from .current import sensor_top_a
from .job import Job
from .keeper import GIVEN, Keeper
from .label import BENCH, WITH_POT, Label, ask
from .ordinary import Commissioned

MEASURING_SHARE = 0.9  # of the fuse: the trip while little is known
MEASURING_TRIP_A = 1.5  # without a fuse to go by
STALL_MS = 1000


class Done(Protocol):
    """What every plan ends with."""

    @property
    def axis(self) -> int: ...
    @property
    def label(self) -> Label: ...
    @property
    def settings(self) -> dict[str, int]: ...
    @property
    def digest(self) -> int: ...


Plan = Callable[[Job, Keeper, Label], Done]


def run(job: Job, keeper: Keeper, *, no_label: bool = False) -> Done:
    """All sections; `no_label`: of a rod that nobody knows.

    Any exception leaves the rod stopped; before section 7 nothing is stored. Raises
    ProcedureError when the person leaves the proposal, or a finding forbids to go on.
    """
    with job.stopping():
        label = ask(job, keeper, no_label)
        plan = _plan(label, no_label)
        prepare(job, label, keeper.given(job.number, label.rod, GIVEN))
        return plan(job, keeper, label)


def _plan(label: Label, no_label: bool) -> Plan:
    """The plan for what is in hand."""
    if label.wires != WITH_POT:
        return unlabelled.two_wires if no_label else two_wires.commission
    if no_label:
        return unlabelled.commission
    if label.place == BENCH:
        return ordinary.commission
    return by_hand.commission


def prepare(job: Job, label: Label, given: Mapping[str, int] = MappingProxyType({})) -> None:
    """Fit the axis, uncalibrated, commanded by this computer alone, with a trip to measure under
    and what the machine file gives. Nothing moves or is stored."""
    job.uncalibrate()
    has_sensor = bool(label.sensor_v_per_a)
    has_pot = label.wires == WITH_POT
    values = {
        **{key: value for key, value in given.items() if key in job.live},
        "feedback": int(Feedback.POT if has_pot else Feedback.NONE),
        "driver": int(label.driver),
        "current_sensor": int(label.sensor if has_sensor else CurrentSensor.NONE),
        "current_sensor_ratiometric": int(label.ratiometric),
        "stall_time_ms": STALL_MS,
        "running_ma": 0,
        **_trip(job, label),
    }
    if "local_source" in job.live:
        values["local_source"] = int(LocalSource.NONE)
    if not has_sensor and "rated_ma" in job.live:
        values["rated_ma"] = 0  # heat is reckoned from the current
    if label.stroke_mm is not None:
        values["stroke_um"] = round(1000 * label.stroke_mm)
    job.commit(values)
    if has_sensor:
        job.say(f"       -> trip while measuring: {values['trip_ma'] / 1000:.1f} A")


def _trip(job: Job, label: Label) -> dict[str, int]:
    """The trip while little is known, within what the sensor tells with its zero where it is to be
    expected; the zero is measured next."""
    trip_a = MEASURING_SHARE * label.fuse_a if label.fuse_a else MEASURING_TRIP_A
    keys = {}
    if label.sensor_v_per_a:
        centred = label.sensor is CurrentSensor.CENTRED
        keys["current_zero"] = job.scale.current // 2 if centred else 0
        keys["current_uv_per_ma"] = round(1000 * label.sensor_v_per_a)
        trip_a = min(trip_a, sensor_top_a(job.scale, label.sensor, keys))
    return keys | {"trip_ma": min(30_000, max(50, int(1000 * trip_a)))}


__all__ = ["Commissioned", "Done", "prepare", "run"]
