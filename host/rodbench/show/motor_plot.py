"""The runs of `measure motor` and the lines through them; legible without colour."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from rodbench.science.motor_fit import Point
from rodbench.science.motor_report import MotorReport
from rodbench.settings.units import Units
from rodbench.show.canvas import blank

_SIZE_IN = (9.0, 7.5)
_SETS = (  # way, loaded, whether over all the way, words, marker, filled
    (1, False, False, "extend", "o", True),
    (-1, False, False, "retract", "s", False),
    (1, False, True, "extend, all the way", "^", True),
    (-1, False, True, "retract, all the way", "v", False),
    (1, True, False, "extend, loaded", "D", True),
    (-1, True, False, "retract, loaded", "P", False),
)


def plot(report: MotorReport, path: Path, *, title: str, units: Units) -> None:
    """Draw volts and current against speed and, with a current sensor, what the fit leaves. Raises
    OSError."""
    figure = blank(_SIZE_IN)
    count = 3 if report.current_sensor else 1
    panels = figure.subplots(
        count, 1, sharex=True, squeeze=False, height_ratios=(3, 2, 1.4)[:count]
    )
    axes = [row[0] for row in panels]
    _volts(axes[0], report, units)
    if report.current_sensor:
        _currents(axes[1], report, units)
        _left(axes[2], report, units)
    for panel in axes:
        panel.grid(True, color="0.85", linewidth=0.6)
    axes[0].set_title(title)
    axes[-1].set_xlabel(f"speed, {units.speed_name}")
    axes[-1].set_xlim(left=0.0)
    figure.align_ylabels()
    figure.savefig(path)


def _marks(axes: Any, report: MotorReport, units: Units, of: Any) -> None:
    for way, loaded, whole, words, marker, filled in _SETS:
        own = [p for p in report.points if (p.way, p.loaded, p.whole) == (way, loaded, whole)]
        if own:
            axes.plot(
                [units.value(p.speed_mm_s) for p in own], [of(p) for p in own], linestyle="none",
                marker=marker, color="black", markerfacecolor="black" if filled else "white",
                markersize=6, label=words,
            )  # fmt: skip


def _lines(
    axes: Any, report: MotorReport, units: Units, of: Callable[[MotorReport, str, float], float]
) -> float:
    """What was fitted, a line each way from rest to a little above the fastest run; that speed."""
    fastest = max(p.speed_mm_s for p in report.points) * 1.05
    for word, style in (("extend", "-"), ("retract", "--")):
        ends = [0.0, fastest]
        axes.plot([units.value(v) for v in ends], [of(report, word, v) for v in ends],
                  linestyle=style, color="0.4", linewidth=1.0)  # fmt: skip
    return fastest


def _volts(axes: Any, report: MotorReport, units: Units) -> None:
    fastest = _lines(axes, report, units, _line_v)
    if report.current_sensor:
        constant = report.figures["constant_v_s_per_mm"].best
        axes.plot([0.0, units.value(fastest)], [0.0, constant * fastest], linestyle=":",
                  color="0.4", linewidth=1.2, label="what the speed alone takes")  # fmt: skip
    _marks(axes, report, units, lambda p: p.volts)
    axes.set_ylabel("mean volts at the motor, V")
    axes.set_ylim(bottom=0.0)
    axes.legend(loc="lower right", fontsize=8, frameon=False)


def _line_v(report: MotorReport, word: str, speed: float) -> float:
    found = report.figures
    if not report.current_sensor:
        return found[f"lost_{word}_v"].best + speed / found[f"speed_{word}_mm_s_per_v"].best
    current = _line_a(report, word, speed)
    return found["resistance_ohm"].best * current + found["constant_v_s_per_mm"].best * speed


def _line_a(report: MotorReport, word: str, speed: float) -> float:
    rise = report.figures[f"friction_rise_{word}_a_s_per_mm"].best
    return report.figures[f"friction_{word}_a"].best + rise * speed


def _currents(axes: Any, report: MotorReport, units: Units) -> None:
    _lines(axes, report, units, _line_a)
    _marks(axes, report, units, lambda p: p.current_a)
    axes.set_ylabel("current, A")
    axes.set_ylim(0.0, 1.12 * max(p.current_a for p in report.points))


def _left(axes: Any, report: MotorReport, units: Units) -> None:
    """What R I + k v leaves of each run's volts; a winding that warms shows here."""
    found = report.figures
    ohm, constant = found["resistance_ohm"].best, found["constant_v_s_per_mm"].best

    def left(p: Point) -> float:
        return 1000.0 * (p.volts - ohm * p.current_a - constant * p.speed_mm_s)

    axes.axhline(0.0, color="0.4", linewidth=1.0)
    _marks(axes, report, units, left)
    axes.set_ylabel("left over, mV")
    axes.margins(y=0.15)
