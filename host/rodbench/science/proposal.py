"""Limits proposed from what was learned, each with its reason."""

from collections.abc import Callable
from dataclasses import dataclass

from .stall import Stall
from .trapezoid import stopping_distance
from .trip import over_peak

SPEED_SHARE = 0.95  # of what a warm rod does: room for load and a lower supply
WARM = 0.15  # more resistance: copper 38 K warmer (0.00393 per K)
RAMP_UP_S = 0.4
RAMP_DOWN_S = 0.27
GENTLE_START = 0.25  # share of full speed that the board may drive ahead at a start
RUN_ON_FACTOR = 1.25  # as the board's guard reckons
MARGIN_SHARE = 0.01
MARGIN_MM = 0.5
BEHIND_S = 2.0  # at the greatest speed: a low supply and a cold grease do not make up so much
BEHIND_MM = (5.0, 60.0)  # least and most; the board's setting holds no more
Length = Callable[[float], str]


@dataclass(frozen=True, slots=True)
class Duty:
    """Share of a window in min in which the motor may run, and why."""

    share: float
    window_min: float
    why: str


DEFAULT_DUTY = Duty(0.25, 20.0, "the default; read the label if there is one")


@dataclass(frozen=True, slots=True)
class Learned:
    """What the proposal starts from. mm, mm/s, A, s; pairs are (extend, retract).

    `range_mm`: where the rod may go at all, from the retracted end: the stroke, or what the machine
    leaves of it.
    """

    range_mm: tuple[float, float]
    spread_mm: float
    noise_mm: float
    speed_mm_s: tuple[float, float]
    dead_zone: tuple[float, float]
    run_on_mm: tuple[float, float]
    running_a: float | None
    held_peak_a: float | None
    stall: Stall | None
    brakes: bool
    fuse_a: float | None
    sensor_top_a: float | None
    dwell_s: float = 0.15
    duty: Duty = DEFAULT_DUTY


@dataclass(frozen=True, slots=True)
class Proposal:
    """Limits in mm, mm/s, mm/s2, A, ms, and a line of reason for each group; nothing is sent."""

    soft_stop_min_mm: float
    soft_stop_max_mm: float
    speed_max_mm_s: float
    acceleration_mm_s2: float
    deceleration_mm_s2: float
    trip_a: float | None
    stall_time_ms: int
    duty_share: float
    duty_window_min: float
    reasons: dict[str, str]
    warnings: tuple[str, ...]
    following_mm: float | None = None  # None: the board's firmware does not watch it


def in_mm(mm: float) -> str:
    """A length as the reasons say it."""
    return f"{mm:.1f} mm"


def propose(learned: Learned, length: Length = in_mm) -> Proposal:
    """Limits for this rod. Raises ValueError when no room is left between the soft stops. `length`
    writes a length given in mm."""
    stops = soft_stops(
        learned.range_mm, learned.run_on_mm, learned.spread_mm, learned.noise_mm, learned.brakes,
        length,
    )  # fmt: skip
    speed, up, down, ramps_why = _motion(learned, length)
    trip, trip_why, trip_warning = _trip(learned)
    stall_ms, stall_why = _stall_time(learned)
    reasons = {
        "soft stops": stops.why(length),
        "speed, ramps": ramps_why,
        "trip": trip_why,
        "stall time": stall_why,
        "duty": learned.duty.why,
        "falls behind": "2 s at the greatest speed: it slips, or drags more than it did here",
    }
    warnings = [trip_warning] if trip_warning else []
    if not learned.brakes:
        warnings.append(
            "a coasting driver: no promise that the rod stays inside its soft stops, least of all "
            "with a load that pulls"
        )
    return Proposal(
        stops.low_mm, stops.high_mm, speed, up, down, trip, stall_ms,
        learned.duty.share, learned.duty.window_min, reasons, tuple(warnings),
        _following(speed, learned.noise_mm),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class SoftStops:
    """Soft stops in mm inside a range, and what they are made of."""

    low_mm: float
    high_mm: float
    run_on_mm: float
    spread_mm: float
    margin_mm: float

    def why(self, length: Length = in_mm) -> str:
        """The reason in a line."""
        return (
            f"run-on {length(self.run_on_mm)} + spread {length(self.spread_mm)} + margin "
            f"{length(self.margin_mm)}"
        )


def soft_stops(
    range_mm: tuple[float, float],
    run_on_mm: tuple[float, float],
    spread_mm: float,
    noise_mm: float,
    brakes: bool,
    length: Length = in_mm,
) -> SoftStops:
    """Soft stops inside a range, by run-on (extend, retract). Raises ValueError without room."""
    extend, retract = run_on_mm
    lowest, highest = range_mm
    way = highest - lowest
    margin = max(MARGIN_MM, MARGIN_SHARE * way) + 2.0 * noise_mm
    factor = RUN_ON_FACTOR if brakes else 2.0 * RUN_ON_FACTOR
    low = round(lowest + factor * retract + spread_mm + margin + 0.049, 1)
    high = round(highest - factor * extend - spread_mm - margin - 0.049, 1)
    if high - low < max(2.0, 0.2 * way):
        raise ValueError(
            f"no room between soft stops at {length(low)} and {length(high)}: the rod runs on "
            f"{length(max(extend, retract))}"
        )
    return SoftStops(low, high, max(extend, retract), spread_mm, margin)


def _motion(learned: Learned, length: Length) -> tuple[float, float, float, str]:
    ways = zip(learned.speed_mm_s, learned.dead_zone, strict=True)
    speed = _two_digits(SPEED_SHARE * min(warm_speed(*way) for way in ways))
    up, down = speed / RAMP_UP_S, speed / RAMP_DOWN_S
    run_on = max(learned.run_on_mm)
    if run_on > 0.0:
        # The rod alone slows like this; a gentler ramp is one that the drive can follow.
        natural = max(learned.speed_mm_s) ** 2 / (2.0 * run_on)
        down = min(down, 0.8 * natural)
        if not learned.brakes:
            # The board drives ahead of the ramp by the time that the rod carries on, and with a
            # driver that coasts that is long: a steep ramp would start with full output.
            up = min(up, GENTLE_START * speed * max(learned.speed_mm_s) / run_on)
    up, down = _two_digits(max(up, 0.5)), _two_digits(max(down, 0.5))
    why = (
        f"{100 * SPEED_SHARE:.0f} % of the slower way with a warm motor; stops within "
        f"{length(stopping_distance(speed, down))}"
    )
    return speed, up, down, why


def warm_speed(speed: float, dead_zone: float) -> float:
    """Speed at full output once the winding is warm, under the load that set the dead zone.

    V = I R + K w (any machines textbook): the share that the load takes, the dead zone, grows with
    the resistance, and the speed has the rest.
    """
    return speed * (1.0 - (1.0 + WARM) * dead_zone) / (1.0 - dead_zone)


def _trip(learned: Learned) -> tuple[float | None, str, str]:
    peak = learned.held_peak_a
    if peak is None:
        return None, "no current sensor: no trip", "nothing guards against too much current"
    found = over_peak(peak, learned.stall)
    warning = found.warning
    if learned.stall is None:
        warning += "; the stall time guards"
    tops = ((learned.fuse_a, "the fuse"), (learned.sensor_top_a, "the sensor's range"))
    found = found.held_to((top, name) for top, name in tops if top is not None)
    if found.trip_a <= peak:
        low = f"the trip of {found.trip_a:.2f} A lies at or below the running peak"
        warning = f"{low}: it may trip in use"
    return found.rounded().trip_a, found.reason, warning


def _stall_time(learned: Learned) -> tuple[int, str]:
    """Long enough for a start with a ramp, and for creep to stand out of the noise."""
    wait_s = max(0.3, 2.0 * learned.dwell_s)
    return int(round(1000 * wait_s, -1)), "twice the time that creep needs to show motion"


def _following(speed_mm_s: float, noise_mm: float) -> float:
    """How far behind its ramps a rod is that no longer does what was measured."""
    least, most = BEHIND_MM
    return round(min(max(BEHIND_S * speed_mm_s, least) + 6.0 * noise_mm, most), 1)


def _two_digits(value: float) -> float:
    """Two or three figures, so that a person can read and type it; never above `value`."""
    places = 1 if value >= 10 else 2
    step = 10.0**-places
    return round(int(value / step + 1e-9) * step, places)
