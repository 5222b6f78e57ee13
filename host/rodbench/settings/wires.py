"""Wires, fuse and ratings in a machine file: what contradicts itself, and what is dangerous."""

from __future__ import annotations

from collections.abc import Iterator

from rodbench.science.conductors import (
    AWG_CARRIES_A,
    CLASS_5_OHM_PER_KM,
    RATED_AMBIENT_C,
    Wire,
    awg,
    mm2,
)
from rodbench.settings.faults import Finding
from rodbench.settings.parse import Parsed, Written

BOARD = ("board",)
MOST_DROP = 0.5
_ABOVE_ZERO = {
    "rods": ("pot_ohm",),
    "axes": ("driver_continuous_a", "driver_peak_a"),
    "board": ("supply_rated_a", "motor_wire_mm2", "motor_wire_awg", "wire_drop_max"),
}


def find_wires(parsed: Parsed) -> None:
    """Values that cannot be, and two that contradict each other."""
    for (path, name), found in list(parsed.values.items()):
        if path and name in _ABOVE_ZERO.get(path[0], ()) and not float(found.value):
            _wrong(parsed, found, "this must be above 0")
    _size(parsed, "motor_wire_mm2", tuple(CLASS_5_OHM_PER_KM), "IEC 60228")
    _size(parsed, "motor_wire_awg", tuple(AWG_CARRIES_A), "gauges for motor current")
    both = [parsed.get(BOARD, f"motor_wire_{unit}") for unit in ("mm2", "awg")]
    if both[0] and both[1]:
        _wrong(parsed, both[1], f"{both[0].said} (line {both[0].line}) says it already: keep one")
    drop = parsed.get(BOARD, "wire_drop_max")
    if drop and float(drop.value) > MOST_DROP:
        _wrong(parsed, drop, f"this is a share of the supply, at most {MOST_DROP:g}")
    for axis in parsed.axes:
        _driver(parsed, axis)


def _wrong(parsed: Parsed, found: Written, why: str) -> None:
    parsed.add((*found.path, found.name), f"{found.said}: {why}.")


def _size(parsed: Parsed, name: str, series: tuple[float, ...], of: str) -> None:
    found = parsed.get(BOARD, name)
    if found and found.value and found.value not in series:
        sizes = ", ".join(f"{size:g}" for size in series)
        _wrong(parsed, found, f"no size known here ({of}): {sizes}")


def _driver(parsed: Parsed, axis: int) -> None:
    path = ("axes", str(axis))
    peak, always = (parsed.get(path, f"driver_{word}_a") for word in ("peak", "continuous"))
    if peak and always and 0 < float(peak.value) < float(always.value):
        _wrong(parsed, peak, f"below {always.said} (line {always.line}); changed over")


def fitted_wire(parsed: Parsed) -> Wire | None:
    """The wire that the file says is there; None where it does not say."""
    area, gauge = (parsed.get(BOARD, f"motor_wire_{unit}") for unit in ("mm2", "awg"))
    if area:
        return mm2(float(area.value))
    return awg(int(gauge.value)) if gauge else None


def ambient_c(parsed: Parsed) -> float:
    """The warmest air around the wires."""
    found = parsed.get(BOARD, "ambient_c")
    return RATED_AMBIENT_C if found is None else float(found.value)


def dangers(parsed: Parsed) -> Iterator[Finding]:
    """A fuse that lets the wire burn."""
    fuse, wire = parsed.get(BOARD, "fuse_a"), fitted_wire(parsed)
    if fuse is None or wire is None:
        return
    carries = wire.carries_at(ambient_c(parsed))
    if float(fuse.value) > carries:
        text = (
            f"{fuse.said}: the wire ({wire.name}) carries {carries:.3g} A and burns before this "
            "fuse opens. `rodbench wire` chooses both."
        )
        yield Finding(parsed.file, fuse.line, text)
