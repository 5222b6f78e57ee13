"""Limits that only a machine file can judge: beside fuse, stall, and what the machine allows."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench_protocol.settings import check

from rodbench.settings.keys import FIRST_KIND, by_wire, kind_named

Ends = tuple[float | None, float | None]


def trip_reasons(
    trip_a: float, fuse_a: float | None, stall_a: float | None, fuse_line: int = 0
) -> list[str]:
    """Why this trip would never trip: above what it is to protect. Empty: it would."""
    reasons = []
    if fuse_a is not None and trip_a > fuse_a:
        line = f" (line {fuse_line})" if fuse_line else ""
        reasons.append(f"above fuse_a = {fuse_a}{line}")
    if stall_a and trip_a > stall_a:
        reasons.append(f"above the estimated stall of {stall_a:g} A")
    return reasons


def never_trips(said: str, reasons: list[str]) -> str:
    """The sentence about a trip that would not trip."""
    return f"{said} is {' and '.join(reasons)}: it would never trip."


def wrong_limits(
    values: Mapping[str, int],
    *,
    fuse_a: float | None = None,
    working_ends_mm: Ends = (None, None),
    board_kind: str = FIRST_KIND,
) -> list[str]:
    """What a machine file would refuse of an axis's settings (wire integers, all keys), in
    sentences that name the file's keys; empty: it would hold. For edits, before they are sent."""
    found = []
    for problem in check("axis", values, kind=kind_named(board_kind).name):
        key = by_wire(board_kind).get(("axis", problem.key))
        found.append(f"{key.name if key else problem.key}: {problem.text}.")
    trip_a = values["trip_ma"] / 1000
    if values["current_sensor"] and (
        reasons := trip_reasons(trip_a, fuse_a, values["stall_ma"] / 1000)
    ):
        found.append(never_trips(f"trip_a = {trip_a:g}", reasons))
    low, high = working_ends_mm
    for name, wire, end, way in (
        ("soft_stop_min_mm", "soft_stop_min_um", low, 1),
        ("soft_stop_max_mm", "soft_stop_max_um", high, -1),
    ):
        if end is not None and way * (values[wire] / 1000 - end) < 0:
            found.append(beyond_end(f"{name} = {values[wire] / 1000:g}", f"{end:g} mm"))
    return found


def beyond_end(said: str, end: str) -> str:
    """The sentence about a soft stop outside the machine's own ends."""
    return f"{said} lies outside the working end at {end}, where the machine ends the rod's way."
