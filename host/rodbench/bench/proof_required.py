"""What a proof requires: said in the machine file's [proof], else derived from the settings.

Derived values are rules of ours, not of any standard: each line of the table says which.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean

from rodbench.record.runs import Requirement, Stroke
from rodbench.science.trapezoid import least_time

from .ends_again import FoundAgain
from .job import Job

AT_MOST, AT_LEAST = "at most", "at least"
TIME_SHARE, TIME_S = 1.10, 0.3  # of the least time that the ramps allow, and s for coming to rest
SPEED_SHARE = 0.9  # of speed_max
MEAN_SHARE = 1.25  # of the running current that calibration measured
OFF_MM, OFF_SHARE = 1.0, 0.01  # mm, or of the stroke
ENDS_MM, ENDS_SHARE = 0.5, 0.005  # mm, or of the stroke: an end has to be found so near
SAG_SHARE = 0.1  # of the nominal supply
WAYS = ((1, "extend"), (-1, "retract"))


@dataclass(frozen=True, slots=True)
class Agreed:
    """What was agreed on: between which places, how many runs each way, the values that the
    machine file requires (by key of [proof]), cycles in a duty window, and whether the rod's own
    ends are found again (with the reason where they are not)."""

    low_mm: float
    high_mm: float
    runs: int = 2
    required: Mapping[str, float] = field(default_factory=dict)
    cycles: float = 1.0
    find_ends: bool = False
    why_no_ends: str = ""
    ends_spread_mm: float = 0.0
    said_in: str = "[proof]"

    @property
    def way_mm(self) -> float:
        """How long a stroke is."""
        return self.high_mm - self.low_mm


@dataclass(frozen=True, slots=True)
class Seen:
    """What the requirements are measured by. `why_no_strokes`: they were left out."""

    moves: Sequence[Stroke]
    runs: Sequence[Stroke]
    ends: FoundAgain | None
    why_no_strokes: str = ""

    def fact(self, name: str, way: int = 0, *, runs: bool = False) -> list[float]:
        """A figure of all moves (and runs) of a way."""
        strokes = [*self.moves, *(self.runs if runs else ())]
        chosen = [s for s in strokes if way in (0, int(s.facts["way"]))]
        return [float(s.facts[name]) for s in chosen if name in s.facts]


def lines(job: Job, agreed: Agreed, seen: Seen) -> tuple[Requirement, ...]:
    """The table."""
    table = _Table(job, agreed, seen)
    for way, word in WAYS:
        table.add(f"time to {word}", "s", AT_MOST, f"time_{word}_s", table.time(way))
    for way, word in WAYS:
        table.add(f"speed to {word}", "mm/s", AT_LEAST, f"speed_{word}_mm_s", table.speed(way))
    if job.live["current_sensor"]:
        table.add("current, peak", "A", AT_MOST, "current_peak_a", table.peak())
        table.add("current, mean", "A", AT_MOST, "current_mean_a", table.mean())
    table.add("rests off target", "mm", AT_MOST, "off_mm", table.off())
    table.add("overshoot", "mm", AT_MOST, "overshoot_mm", table.overshoot())
    table.add("duty of the cycles", "%", AT_MOST, "duty", table.duty())
    table.add("supply sag", "V", AT_MOST, "supply_sag_v", table.sag())
    if agreed.find_ends:
        table.add("ends off their places", "mm", AT_MOST, "ends_off_mm", table.ends())
    return tuple(table.lines)


Entry = tuple[float | None, str, float | None]  # derived value, its rule, measured


class _Table:
    def __init__(self, job: Job, agreed: Agreed, seen: Seen) -> None:
        self.live, self.board = job.live, job.board_live
        self.agreed, self.seen = agreed, seen
        self.stroke_mm = job.live["stroke_um"] / 1000.0
        self.lines: list[Requirement] = []

    def add(self, what: str, unit: str, limit: str, key: str, entry: Entry) -> None:
        """One line; none where nothing is required and nothing can be derived."""
        derived, rule, measured = entry
        said = self.agreed.required.get(key)
        required = derived if said is None else said
        if required is None:
            return
        source = f"derived: {rule}" if said is None else f"{self.agreed.said_in} {key}"
        why = "" if measured is not None else self.seen.why_no_strokes or "not measured"
        rounded = None if measured is None else round(measured, 4)
        self.lines.append(
            Requirement(what, unit, limit, round(required, 4), rounded, source, why)
        )  # fmt: skip

    def time(self, way: int) -> Entry:
        speed, up, down = (
            self.live[key] / 1000.0
            for key in ("speed_max_um_s", "acceleration_um_s2", "deceleration_um_s2")
        )
        least = least_time(self.agreed.way_mm, speed, up, down)
        rule = f"{TIME_SHARE:g} times the {least:.1f} s of speed and ramps, and {TIME_S} s"
        return TIME_SHARE * least + TIME_S, rule, _most(self.seen.fact("on_s", way))

    def speed(self, way: int) -> Entry:
        name = f"full_speed_{'extend' if way > 0 else 'retract'}_um_s"
        full = self.live[name] or self.live["speed_max_um_s"]
        least = SPEED_SHARE * min(self.live["speed_max_um_s"], full) / 1000.0
        rule = f"{SPEED_SHARE:g} of speed_max_mm_s"
        return least, rule, _least(self.seen.fact("speed_mm_s", way))

    def peak(self) -> Entry:
        rule = f"trip_a; a peak is what stands for {self.live['trip_ms']} ms, as the trip counts"
        return self.live["trip_ma"] / 1000.0, rule, _most(self.fact_of_all("current_peak_a"))

    def mean(self) -> Entry:
        rated, running = self.live.get("rated_ma", 0) / 1000.0, self.live["running_ma"] / 1000.0
        measured = _most(self.fact_of_all("current_mean_a"))
        if rated:
            return rated, "rated_current_a", measured
        if running:
            return MEAN_SHARE * running, f"{MEAN_SHARE:g} times running_a as calibrated", measured
        return None, "", measured

    def off(self) -> Entry:
        off = [
            abs(float(s.facts["rest_mm"]) - float(s.facts["target_mm"]))
            for s in self.seen.moves
            if "rest_mm" in s.facts
        ]
        return max(OFF_MM, OFF_SHARE * self.stroke_mm), _off_rule(), _most(off)

    def overshoot(self) -> Entry:
        beyond = self.seen.fact("beyond_mm")
        return max(OFF_MM, OFF_SHARE * self.stroke_mm), _off_rule(), _most(beyond)

    def duty(self) -> Entry:
        window_s = float(self.live["duty_window_s"])
        cycle = [_most(self.seen.fact("on_s", way)) for way, _ in WAYS]
        used = None
        if cycle[0] is not None and cycle[1] is not None:
            used = 100.0 * self.agreed.cycles * (cycle[0] + cycle[1]) / window_s
        rule = f"duty_share, for {self.agreed.cycles:g} times out and in in {window_s / 60:g} min"
        return self.live["duty_share_permille"] / 10.0, rule, used

    def sag(self) -> Entry:
        nominal = self.board["supply_nominal_mv"] / 1000.0
        rule = f"{SAG_SHARE:g} of supply_nominal_v"
        return SAG_SHARE * nominal, rule, _most(self.fact_of_all("sag_v"))

    def ends(self) -> Entry:
        ends, spread = self.seen.ends, self.agreed.ends_spread_mm
        off = None
        if ends is not None:
            far = fmean(ends.extended_mm) - self.stroke_mm
            off = max(abs(fmean(ends.retracted_mm)), abs(far))
        rule = f"{ENDS_MM:g} mm, {ENDS_SHARE:g} of the stroke or 3 times endpoint_spread_mm"
        return max(ENDS_MM, ENDS_SHARE * self.stroke_mm, 3.0 * spread), rule, off

    def fact_of_all(self, name: str) -> list[float]:
        """A figure of the moves and the runs."""
        return self.seen.fact(name, runs=True)


def _off_rule() -> str:
    return f"{OFF_MM:g} mm or {OFF_SHARE:g} of the stroke, the larger"


def _fold(values: Sequence[float], fold: Callable[[Sequence[float]], float]) -> float | None:
    return fold(values) if values else None


def _most(values: Sequence[float]) -> float | None:
    return _fold(values, max)


def _least(values: Sequence[float]) -> float | None:
    return _fold(values, min)
