"""What is not known of the motor current's way, and how a person may give it."""

from __future__ import annotations

from collections.abc import Iterator

from rodbench.science.power import Known, Rod

Unknown = tuple[str, str]  # what is not known, and how to give it
IN_A_FILE = " of a machine file"


def unknown(known: Known, in_file: bool) -> list[Unknown]:
    """What is not known, each with the way to give it."""
    of = "" if in_file else IN_A_FILE
    found = unknown_way(known, in_file)
    return found + [each for rod in known.rods for each in _of_board(rod, of)]


def unknown_way(known: Known, in_file: bool) -> list[Unknown]:
    """The part of it that is of the motor current's way, with or without a board."""
    of = "" if in_file else IN_A_FILE
    found: list[Unknown] = []
    if known.supply_v is None:
        found.append(("the motor supply's voltage", "--supply"))
    if known.supply_rated_a is None:
        found.append(("what the supply gives", f"supply_rated_a under [board]{of}"))
    if known.supply_wire_m is None:
        key = f"supply_wire_length_m under [board]{of}, or --length"
        found.append(("the way from the supply", key))
    return found + [each for rod in known.rods for each in _of_rod(rod, of)]


def _of_rod(rod: Rod, of: str) -> Iterator[Unknown]:
    axis, name = f"axis {rod.axis}: ", _rods_table(rod, of)
    if rod.running_a is None:
        keys = f"rated_current_a (label) or running_a (measured) under {name}, or --running"
        yield f"{axis}what the motor draws while it runs", keys
    if rod.stall_a is None:
        yield f"{axis}what it draws stalled", f"stall_a under {name}, or --stall"
    if rod.wire_m is None:
        key = f"motor_wire_length_m under [axes.{rod.axis}]{of}, or --length"
        yield f"{axis}the way to the motor", key


def _of_board(rod: Rod, of: str) -> Iterator[Unknown]:
    axis, there = f"axis {rod.axis}: ", f"[axes.{rod.axis}]{of}"
    bears_stall = rod.stall_a and (rod.driver_continuous_a or 0.0) >= rod.stall_a
    if rod.driver_continuous_a is None:
        yield f"{axis}what the driver carries", f"driver_continuous_a under {there}"
    if rod.driver_peak_a is None and not bears_stall:
        yield f"{axis}what the driver bears for a moment", f"driver_peak_a under {there}"
    if rod.pot and rod.pot_ohm is None:
        yield f"{axis}the pot's resistance", f"pot_ohm under {_rods_table(rod, of)}, or --pot"


def _rods_table(rod: Rod, of: str) -> str:
    return f"[rods.{rod.name or 'NAME'}]{of}"
