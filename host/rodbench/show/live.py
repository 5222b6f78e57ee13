"""The live view of `watch`: 80 columns, one block an axis."""

from __future__ import annotations

import contextlib
import textwrap
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from rodbench_protocol.names import Inputs

from rodbench.board import AxisSample, BoardSample, Event, Sample
from rodbench.settings.units import Units, minutes
from rodbench.show.where import has_pot, place_words
from rodbench.show.words import event_words, fault_names, fault_sentence, state

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.live import Live

    from rodbench.board import LinkStatistics

WIDTH = 78
BAR = 40
Scopes = Mapping[int, Mapping[str, int]]


class View:
    """What was last seen of each axis, drawn in place."""

    def __init__(self, scopes: Scopes, rods: Mapping[int, str | None], units: Units) -> None:
        self.scopes = scopes
        self.rods = rods
        self.units = units
        self.axes: dict[int, AxisSample] = {}
        self.board: BoardSample | None = None
        self.link: LinkStatistics | None = None
        self.last_event = ""
        self._live: Live | None = None

    def take(self, sample: Sample) -> None:
        """A sample."""
        if isinstance(sample, AxisSample):
            self.axes[sample.axis] = sample
        elif isinstance(sample, BoardSample):
            self.board = sample
        elif isinstance(sample, Event):
            known = not sample.axis or bool(self.scopes[sample.axis]["calibrated"])
            self.last_event = event_line(sample, self.units, known)

    @contextlib.contextmanager
    def shown(self) -> Iterator[None]:
        """While it is on the screen."""
        from rich.console import Console
        from rich.live import Live

        console = Console(highlight=False, markup=False)
        if not console.is_terminal:
            yield
            print("\n".join(self.lines()))  # a pipe or a file gets the last view
            return
        with Live(console=console, auto_refresh=False, transient=False) as live:
            self._live = live
            yield

    def draw(self) -> None:
        """Draw it anew."""
        if self._live is not None:
            self._live.update(self._text(), refresh=True)

    def _text(self) -> RenderableType:
        from rich.text import Text

        return Text("\n".join(self.lines()), no_wrap=True, overflow="crop")

    def lines(self) -> list[str]:
        """The view as lines of at most 78 columns."""
        lines: list[str] = []
        for number, sample in sorted(self.axes.items()):
            if self.scopes[number]["feedback"]:
                lines += [*self._axis(sample), ""]
        if not lines:
            lines = ["No axis is fitted. `rodbench commission` sets one up.", ""]
        if self.board is not None:
            lines += _wrapped([fault_sentence(name) for name in fault_names(self.board.faults)])
        if self.last_event:
            lines += textwrap.wrap(f"last: {self.last_event}", WIDTH, subsequent_indent="      ")
        lines += self._foot()
        return [line[:WIDTH] for line in lines]

    def _axis(self, sample: AxisSample) -> list[str]:
        live = self.scopes[sample.axis]
        name = self.rods.get(sample.axis)
        title = f"Axis {sample.axis}" + (f' "{name}"' if name else "")
        lines = [f"{title:<24} {state(sample.state):<10} {self._duty(sample)}"]
        if not has_pot(live):
            lines += _place(sample, live)
        elif sample.position_mm is None:
            lines.append(f"  position   not calibrated, raw {sample.raw}")
        else:
            lines += _position(sample, live, self.units)
        lines.append(_current(sample, live))
        lines += self._heat(sample, live)
        lines += _wrapped(self._remarks(sample, live))
        return lines

    def _heat(self, sample: AxisSample, live: Mapping[str, int]) -> list[str]:
        if not live.get("rated_ma") or self.board is None or self.board.heat is None:
            return []
        warn, trip = live["thermal_warn_percent"], live["thermal_trip_percent"]
        heat = 100 * self.board.heat[sample.axis - 1]
        return [f"  heat       {heat:.0f} %, warns at {warn} %, trips at {trip} %"]

    def _remarks(self, sample: AxisSample, live: Mapping[str, int]) -> list[str]:
        found = [
            fault_sentence(name, sample.axis, has_pot(live)) for name in fault_names(sample.faults)
        ]
        if sample.outside:
            found.append("The rod is outside its soft stops: only the way back is open.")
        if sample.held_back:
            found.append("A soft stop holds the motion back.")
        if sample.calibrated and not sample.proven:
            found.append("Not moved since the board started: the first motion goes at creep.")
        if sample.duty_used >= 0.999:
            found.append(f"The duty budget is spent: the rod rests until {self._ready(sample)}.")
        return found + _also(sample)

    def _ready(self, sample: AxisSample) -> str:
        ready = None if self.board is None else self.board.duty_ready_s
        if ready is None:
            return "there is some again"
        return f"there is some again; all of it in {minutes(ready[sample.axis - 1])}"

    def _duty(self, sample: AxisSample) -> str:
        left = "" if self.board is None else self.board.duty_left_s[sample.axis - 1]
        left = f", {minutes(left)} left" if isinstance(left, float) else ""
        return f"duty used {100 * sample.duty_used:.0f} %{left}"

    def _foot(self) -> list[str]:
        parts = []
        if self.board is not None:
            known = "" if self.scopes[0]["supply_calibrated"] else " as read"
            parts.append(f"supply {self.board.supply_v:.2f} V{known}")
            if self.scopes[0].get("stop_input") and self.board.inputs is not None:
                closed = self.board.inputs & Inputs.STOP
                parts.append(f"stop input {'closed' if closed else 'OPEN'}")
        if self.link is not None:
            link = self.link
            parts.append(
                f"link {link.round_trip_ms_median:.0f} ms, {link.frames_bad} bad, "
                f"{link.unasked_missed} missed, {link.retries} repeated"
            )
        return ["   ".join(parts), "q ends the view; it stops nothing: `rodbench stop` does"]


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


def _position(sample: AxisSample, live: Mapping[str, int], units: Units) -> list[str]:
    stroke = live["stroke_um"] / 1000
    low, high = live["soft_stop_min_um"] / 1000, live["soft_stop_max_um"] / 1000
    bar = position_bar(sample.position_mm or 0.0, stroke, low, high)
    speed = f"{units.speed(sample.speed_mm_s)}"
    return [
        f"  position   {bar} {units.length(sample.position_mm)}",
        f"             {_scale(stroke, low, high, units)} {speed}",
    ]


def position_bar(position: float, stroke: float, low: float, high: float) -> str:
    """The rod between its ends: `[` soft stop, `]` soft stop, `#` rod, `|` its end."""
    cells = ["."] * BAR

    def place(mm: float) -> int:
        return min(BAR - 1, max(0, round(mm / stroke * (BAR - 1))))

    for cell in range(place(position)):
        cells[cell] = "="
    cells[place(low)], cells[place(high)] = "[", "]"
    cells[place(position)] = "#"
    return "".join(cells)


def _scale(stroke: float, low: float, high: float, units: Units) -> str:
    text = f"0   soft stops [ {units.length(low)}   ] {units.length(high)}"
    return f"{text:<{BAR - 10}}{units.length(stroke):>10}"


def _current(sample: AxisSample, live: Mapping[str, int]) -> str:
    if live["current_sensor"] == 0:
        return f"  current    no sensor                 output {100 * sample.output:+.0f} %"
    trip = live["trip_ma"] / 1000
    full = round(min(1.0, abs(sample.current_a) / trip) * (BAR - 1))
    bar = "=" * full + "." * (BAR - 1 - full) + "T"
    return f"  current    {bar} {sample.current_a:.2f} A of {trip:g} {100 * sample.output:+.0f} %"


def _wrapped(remarks: list[str]) -> list[str]:
    wrap = textwrap.TextWrapper(WIDTH, initial_indent="  ! ", subsequent_indent="    ")
    return [line for remark in remarks for line in wrap.wrap(remark)]


def _also(sample: AxisSample) -> list[str]:
    """What the axis is beside its state."""
    found = []
    if sample.ganged:
        found.append("Moves as one with the other rod: `rodbench level` moves it alone.")
    if sample.source_lost:
        found.append("Its local input is lost: look at the wire, then bring it to rest.")
    elif sample.local:
        armed = "commands it" if sample.armed else "commands it once it was seen at rest"
        found.append(f"Its local input {armed}.")
    if sample.folded_back:
        found.append("The output is taken back, so that the current stays below fold_back_a.")
    if sample.warm:
        found.append("The motor is warm by its currents: let it rest before it trips.")
    return found


def event_line(event: Event, units: Units, calibrated: bool = True) -> str:
    """An event as one line; an uncalibrated axis has no position to tell."""
    who = f"axis {event.axis}" if event.axis else "board"
    what = event_words(event.kind, event.cause)
    where = f" at {units.length(event.position_mm)}" if event.axis and calibrated else ""
    return f"{who}: {what}{where}, board clock {event.time_s:.1f} s"
