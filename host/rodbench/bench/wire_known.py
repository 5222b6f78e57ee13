"""What is known of a machine's motor current, from its file and from what a person gave beside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rodbench_protocol.names import CurrentSensor, Feedback

from rodbench.science.power import Known, Rod
from rodbench.settings.lines import Place
from rodbench.settings.machine import MachineFile

__all__ = ["Given", "Known", "of_machine", "with_given", "without_file"]
BOARD: Place = ("board",)


@dataclass(frozen=True, slots=True)
class Given:
    """What was given on the command line: V, A, ohm, m one way from supply to motor, shares."""

    supply_v: float | None = None
    running_a: float | None = None
    stall_a: float | None = None
    length_m: float | None = None
    pot_ohm: float | None = None
    drop_max: float | None = None
    ambient_c: float | None = None


def without_file(axis: int, pot: bool, given: Given) -> Known:
    """What is known of a rod without a machine file."""
    return with_given(Known((Rod(axis, pot=pot),)), axis, given)


def of_machine(machine: MachineFile) -> Known:
    """What the machine file says of all its rods."""
    supply = machine.scope(0)["supply_nominal_mv"] / 1000.0
    drop = _figure(machine, BOARD, "wire_drop_max")
    ambient = _figure(machine, BOARD, "ambient_c")
    assert drop is not None
    assert ambient is not None
    return Known(
        rods=tuple(_rod(machine, axis) for axis in machine.axes),
        supply_v=supply,
        supply_rated_a=_figure(machine, BOARD, "supply_rated_a"),
        supply_wire_m=_figure(machine, BOARD, "supply_wire_length_m"),
        fuse_a=_figure(machine, BOARD, "fuse_a") or None,
        wire=machine.fitted_wire(),
        drop_max=drop,
        ambient_c=ambient,
    )


def with_given(known: Known, axis: int, given: Given) -> Known:
    """The same with what was given: currents and pot of one axis, the rest of the machine.

    A length is of the whole way, and counts as if the current of all rods went along it.
    """
    rods = tuple(_beside(rod, given) if rod.axis == axis else rod for rod in known.rods)
    if given.length_m is not None:
        rods = tuple(replace(rod, wire_m=0.0) for rod in rods)
    length, drop, ambient = given.length_m, given.drop_max, given.ambient_c
    return replace(
        known,
        rods=rods,
        supply_v=known.supply_v if given.supply_v is None else given.supply_v,
        supply_wire_m=known.supply_wire_m if length is None else length,
        drop_max=known.drop_max if drop is None else drop,
        ambient_c=known.ambient_c if ambient is None else ambient,
    )


def _beside(rod: Rod, given: Given) -> Rod:
    if given.running_a is not None:
        rod = replace(rod, running_a=given.running_a, running_from="given")
    if given.stall_a is not None:
        rod = replace(rod, stall_a=given.stall_a)
    return rod if given.pot_ohm is None else replace(rod, pot_ohm=given.pot_ohm)


def _rod(machine: MachineFile, axis: int) -> Rod:
    live, name = machine.scope(axis), machine.rod_of(axis) or ""
    path, of_rod = ("axes", str(axis)), ("rods", name)
    running_a, running_from = _running(live)
    sensed = live["current_sensor"] != CurrentSensor.NONE
    return Rod(
        axis=axis,
        name=name,
        running_a=running_a,
        running_from=running_from,
        stall_a=live["stall_ma"] / 1000.0 or None,
        trip_a=live["trip_ma"] / 1000.0 if sensed else None,
        driver_continuous_a=_figure(machine, path, "driver_continuous_a"),
        driver_peak_a=_figure(machine, path, "driver_peak_a"),
        wire_m=_figure(machine, path, "motor_wire_length_m"),
        pot=live["feedback"] == Feedback.POT,
        pot_ohm=_figure(machine, of_rod, "pot_ohm"),
    )


def _running(live: Mapping[str, int]) -> tuple[float | None, str]:
    """The larger of what was measured and what the label says, and which of them it is."""
    known = [(live["running_ma"], "measured"), (live["rated_ma"], "by the label")]
    most, whence = max(known, key=lambda each: each[0])
    return (most / 1000.0, whence) if most else (None, "")


def _figure(machine: MachineFile, path: Place, name: str) -> float | None:
    found = machine.host(name, path)
    return None if found is None else float(found)
