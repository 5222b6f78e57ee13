"""The block of one axis in the live view."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rodbench.board import RUNNING, AxisSample, BoardSample
from rodbench.settings.units import Units, minutes
from rodbench.show.live_bars import CELL_TICKS, CurrentTrace, position_bar
from rodbench.show.where import has_pot, place_words, where
from rodbench.show.words import state

LABEL = 13  # columns before the bars
TAIL = 25  # and behind them
LEAST_BAR = 8


@dataclass(frozen=True, slots=True)
class Drawing:
    """How it is drawn: columns in all, characters of the trace, what may be left out."""

    width: int
    blocks: str
    scales: bool = True

    @property
    def bar(self) -> int:
        """Cells of a bar."""
        return max(LEAST_BAR, self.width - LABEL - TAIL)


@dataclass(frozen=True, slots=True)
class Rod:
    """One axis as it was last heard of."""

    name: str
    sample: AxisSample
    live: Mapping[str, int]
    board: BoardSample | None
    trace: CurrentTrace


def axis_lines(rod: Rod, units: Units, drawing: Drawing) -> list[str]:
    """Title, position, current, duty."""
    lines = [_title(rod, units, drawing.width)]
    if not has_pot(rod.live):
        lines += _place(rod.sample, rod.live)
    elif rod.sample.position_mm is None:
        lines.append(f"  position   not calibrated, raw {rod.sample.raw}: no soft stops, jog only")
    else:
        lines += _position(rod.sample, rod.live, units, drawing)
    return [*lines, *_current(rod, drawing), *_budgets(rod, drawing.width)]


def brief_lines(rod: Rod, units: Units, drawing: Drawing) -> list[str]:
    """Title and figures, where there is no room for bars."""
    sample = rod.sample
    parts = [where(sample, rod.live, units)]
    if rod.live["current_sensor"]:
        parts.append(f"{sample.current_a:.2f} A of {rod.live['trip_ma'] / 1000:g} A")
    parts.append(_budgets(rod, 0)[0].strip())
    return [_title(rod, units, drawing.width), f"  {'   '.join(parts)}"]


def rod_title(axis: int, name: str) -> str:
    """`Axis 1 "north"`."""
    return f"Axis {axis}" + (f' "{name}"' if name else "")


def _title(rod: Rod, units: Units, width: int) -> str:
    sample = rod.sample
    what = [state(sample.state)]
    if sample.state in RUNNING or abs(sample.output) >= 0.001:
        what += [way_words(sample, units), f"output {100 * sample.output:+.0f} %"]
    title = rod_title(sample.axis, rod.name)
    room = max(0, width - len("   ".join(what)) - 2)
    return f"{title[:room]:<{min(24, room)}} {'   '.join(what)}"


def way_words(sample: AxisSample, units: Units) -> str:
    """`extending 8.0 mm/s`."""
    way = "extending" if sample.output > 0 else "retracting"
    if abs(sample.output) < 0.001:
        way = "no output"
    return way if sample.speed_mm_s is None else f"{way} {units.speed(abs(sample.speed_mm_s))}"


def _place(sample: AxisSample, live: Mapping[str, int]) -> list[str]:
    """A rod without a pot: never a length, only what the current has shown."""
    out, back = live["stroke_time_extend_cs"] / 100, live["stroke_time_retract_cs"] / 100
    if not live["current_sensor"]:
        times = "no pot and no current sensor: runs only while it is held"
    elif out and back:
        times = f"no pot; end to end {out:.1f} s out, {back:.1f} s in"
    else:
        times = "no pot; the time from end to end is not measured"
    return [f"  place      {place_words(sample.place)}", f"             {times}"]


def _position(
    sample: AxisSample, live: Mapping[str, int], units: Units, drawing: Drawing
) -> list[str]:
    stroke = live["stroke_um"] / 1000
    low, high = live["soft_stop_min_um"] / 1000, live["soft_stop_max_um"] / 1000
    reference = sample.reference_mm if sample.state in RUNNING else None
    position = sample.position_mm or 0.0
    bar = position_bar(position, stroke, low, high, reference, drawing.bar)
    line = f"  position   {bar} {units.length(position)}"
    if not drawing.scales:
        stops = f", stops {units.number(low)}, {units.number(high)}"
        return [line + stops if len(line + stops) <= drawing.width else line]
    return [line, " " * LABEL + _scale(stroke, low, high, units, drawing.bar, reference)]


def _scale(
    stroke: float, low: float, high: float, units: Units, bar: int, reference: float | None
) -> str:
    text = f"0   soft stops [ {units.number(low)}   ] {units.number(high)}"
    ramp = "" if reference is None else f" ramp at {units.number(reference)}"
    return f"{text.ljust(bar - 10)}{units.length(stroke):>10}{ramp}"


def _current(rod: Rod, drawing: Drawing) -> list[str]:
    sample = rod.sample
    if rod.live["current_sensor"] == 0:
        return ["  current    no sensor: neither shown nor guarded"]
    trip, cells = rod.live["trip_ma"] / 1000, drawing.bar
    trace = rod.trace.drawn(cells, trip, drawing.blocks)
    lines = [f"  current    {trace} {sample.current_a:.2f} A of {trip:g} A (trip)"]
    if drawing.scales:
        since = f"{cells * CELL_TICKS * 0.005:.0f} s ago"
        scale = f"{since:<{cells - 3}}now"
        lines.append(f"{'':<{LABEL}}{scale} most {rod.trace.most(cells):.2f} A")
    return lines


def _budgets(rod: Rod, width: int) -> list[str]:
    """Duty, and heat where it is reckoned; on one line where there is room."""
    sample, heat = rod.sample, _heat(rod)
    left = ""
    if rod.board is not None:
        left = f", {minutes(rod.board.duty_left_s[sample.axis - 1])} left"
    duty = f"  duty used {100 * sample.duty_used:.0f} %{left}"
    if heat and len(duty) < LABEL + 24 and LABEL + 24 + len(heat) <= width:
        return [f"{duty:<{LABEL + 24}}{heat}"]
    return [duty, f"  {heat}"] if heat else [duty]


def _heat(rod: Rod) -> str:
    if not rod.live.get("rated_ma") or rod.board is None or rod.board.heat is None:
        return ""
    warn, trip = rod.live["thermal_warn_percent"], rod.live["thermal_trip_percent"]
    heat = 100 * rod.board.heat[rod.sample.axis - 1]
    return f"heat {heat:.0f} %, warns at {warn} %, trips at {trip} %"
