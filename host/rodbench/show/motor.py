"""What `measure motor` found, in words: each figure with its 95 % interval."""

from __future__ import annotations

from collections.abc import Iterator

from rodbench.science.motor_fit import COPPER_PER_K, WAYS, Value, kelvin
from rodbench.science.motor_report import Check, MotorReport, checks, never_trips
from rodbench.settings.units import MM_PER_IN, Units

COARSE = "too coarse to tell"
WIDE = 0.10  # share of a figure; one whose interval is wider tells nothing
LEAST_WARMING = 2.0  # sigmas; below that nothing is said of it


def sentences(report: MotorReport, units: Units) -> list[str]:
    """All that is told, line by line."""
    own = _with_current if report.current_sensor else _without_current
    lines = ["+- is half of a 95 % interval.", *own(report, units)]
    return [*lines, *_not_counted(report, units), *_beside(report, units)]


def _with_current(report: MotorReport, units: Units) -> Iterator[str]:
    found = report.figures
    ohm = _told(report, "resistance_ohm", "ohm")
    yield _row("resistance", f"{ohm} of winding, driver and leads, as warm as during the runs")
    yield _row("speed", _per_volt(found["speed_mm_s_per_v"], units))
    if "constant_v_s_per_rad" in found:
        value = found["constant_v_s_per_rad"]
        yield _row("motor alone", f"{_value(value, 'V per rad/s')}, as many N m for each A")
    yield from _friction(report, units)
    yield from _common(report, units)
    yield from _stall(report)
    yield from _heat(report)
    yield from _efficiency(report)


def _without_current(report: MotorReport, units: Units) -> Iterator[str]:
    found = report.figures
    for word in WAYS.values():
        lost = found[f"lost_{word}_v"]
        text = f"{_value(lost, 'V')} lost to friction and load, then "
        per_volt = _per_volt(found[f"speed_{word}_mm_s_per_v"], units)
        yield _row(word, text + per_volt)
    yield from _common(report, units)
    yield (
        "No current sensor: resistance, friction in A, stall current and efficiency cannot be "
        "told. The volts lost are resistance times friction current; nothing shows which it is."
    )


def _common(report: MotorReport, units: Units) -> Iterator[str]:
    found = report.figures
    zones = [_value(_percent(found[f"dead_zone_{word}"]), f"% {word}") for word in WAYS.values()]
    yield _row("dead zone", ", ".join(zones))
    speeds = []
    for word in WAYS.values():
        value = found[f"full_speed_{word}_mm_s"]
        shown = Value(units.value(value.best), units.value(value.half))
        speeds.append(f"{_value(shown, units.speed_name)} {word}")
    supply = _value(found["supply_v"], "V")
    yield _row("full speed", f"{', '.join(speeds)}, predicted at full output on {supply} at rest")


def _friction(report: MotorReport, units: Units) -> Iterator[str]:
    parts = [_value(report.figures[f"friction_{word}_a"], f"A {word}") for word in WAYS.values()]
    yield _row(
        "friction", f"{', '.join(parts)}, drawn back to standstill, what it carried included"
    )


def _stall(report: MotorReport) -> Iterator[str]:
    found = report.figures
    stall = _told(report, "stall_a", "A")
    source = _value(found["source_ohm"], "ohm")
    yield _row(
        "stall", f"{stall} on this supply, which gives way by {source}; predicted, not measured"
    )
    if not _coarse(report, "stall_a"):
        stiff = _value(found["stall_at_motor_a"], "A")
        yield _row("", f"{stiff} with as many volts at the motor itself")


def _heat(report: MotorReport) -> Iterator[str]:
    warming = report.figures["warming_share"]
    if warming.best > LEAST_WARMING / 1.96 * warming.half:
        about = kelvin(warming.best)
        yield _row("heat", f"the runs warmed the winding by about {about:.0f} K")
    share = 1000.0 * COPPER_PER_K
    yield _row("", f"each 10 K more adds {share:.1f} % to the winding's resistance (copper)")


def _efficiency(report: MotorReport) -> Iterator[str]:
    found = report.figures
    if "drive_efficiency" not in found:
        return
    drive, whole = (_percent(found[f"{name}_efficiency"]) for name in ("drive", "whole"))
    load = _value(found["load_a"], "A")
    yield _row("load", f"{report.force_n:.0f} N takes {load} more to {report.lifted}")
    yield _row(
        "efficiency", f"{_value(drive, '%')} of gears and screw, {_value(whole, '%')} in all"
    )


# ---------------------------------------------------------------- what it rests on


def _not_counted(report: MotorReport, units: Units) -> Iterator[str]:
    yield (
        "Not counted: the stroke as entered, and a pot that is bent between its ends (speeds, in "
        "proportion); a driver that takes volts whatever the current (resistance)."
    )
    if report.current_sensor and report.sensor_error is None:
        yield (
            "Not counted: an error of the current sensor's scale. 1 % of it is 1 % of every A, of "
            "resistance and of stall."
        )
    if not report.metered:
        yield (
            "The supply's scale was never set by a meter, which widens all of this: "
            "`rodbench calibrate supply`, then measure again."
        )


def _beside(report: MotorReport, units: Units) -> Iterator[str]:
    for check in checks(report):
        if check.what == "stall" and _coarse(report, "stall_a"):
            continue
        yield _check(check, report, units)
    if report.current_sensor and not report.known.stall_a:
        yield "Beside the settings: no stall current is known there; `rodbench propose` makes one."
    if never_trips(report) and not _coarse(report, "stall_a"):
        yield (
            f"! The trip of {report.known.trip_a:.2f} A lies so near to the stall current, or "
            "above it, that a stalled motor may never reach it: `rodbench propose` says what would."
        )


def _check(check: Check, report: MotorReport, units: Units) -> str:
    if check.what.startswith("full"):
        texts = units.speed(check.known), units.speed(check.found)
        tail = f" at {report.known.speed_supply_v:.1f} V"
    elif check.what.startswith("dead"):
        texts = f"{100 * check.known:.0f} %", f"{100 * check.found:.1f} %"
        tail = ""
    else:
        texts, tail = (f"{check.known:.2f} A", f"{check.found:.2f} A"), ""
    verdict = "agrees" if check.agrees else _differs(check)
    return (
        f"Beside the settings: {check.what} {texts[0]}, by these runs {texts[1]}{tail}: {verdict}."
    )


def _differs(check: Check) -> str:
    if check.what == "stall":
        return (
            "differs by more than a warm winding explains; the estimate in the settings was scaled "
            "from less, so believe this one"
        )
    return "differs: another load, a low supply when it was set, or the rod has changed"


# ---------------------------------------------------------------- figures as text


def _row(name: str, text: str) -> str:
    return f"{name:<12}{text}"


def _told(report: MotorReport, name: str, unit: str) -> str:
    value = _value(report.figures[name], unit)
    return f"{COARSE}: {value}" if _coarse(report, name) else value


def _coarse(report: MotorReport, name: str) -> bool:
    """Whether it was said to be beforehand, or came out as wide as that."""
    return name in report.too_coarse or report.figures[name].share > WIDE


def _percent(value: Value) -> Value:
    return Value(100.0 * value.best, 100.0 * value.half)


def _per_volt(value: Value, units: Units) -> str:
    factor = 1.0 / MM_PER_IN if units.name == "in" else 1.0
    shown = Value(factor * value.best, factor * value.half)
    return _value(shown, f"{units.speed_name} for each V")


def _value(value: Value, unit: str) -> str:
    """`2.381 +- 0.012 ohm`: as many digits as two of the half width."""
    digits = _digits(value.half)
    return f"{value.best:.{digits}f} +- {value.half:.{digits}f} {unit}"


def _digits(half: float) -> int:
    """Decimals that show two digits of a half width, at most six."""
    if not half > 0.0:
        return 3
    digits = 1
    while half * 10.0**digits < 10.0 and digits < 6:
        digits += 1
    return digits if half < 10.0 else 0
