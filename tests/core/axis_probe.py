"""The C axis alone: readings in tick by tick, everything it says and does out."""

from __future__ import annotations

import ctypes as ct
from functools import cache
from types import TracebackType

from rodbench_protocol import settings

from tests.core import native

MODULES = ("axis", "position", "motion", "guard", "seek", "number", "div")
EVENTS_MAX = 4
VIEW = [
    "drive",
    "bridge",
    "output",
    "state",
    "flags",
    "ended",
    "cause",
    "motion",
    "faults",
    "position_um",
    "speed_um_s",
    "reference_um",
    "current_ma",
    "rest_raw",
    "rest_position_um",
    "current_before_ma",
    "current_stop_ma",
    "current_probe_ma",
    "on_ticks",
    "also",
    "events",
]

# A rod of 200 mm whose pot gives 25 um a raw; 10 mm/s at full output, dead zone 20 %.
# The sensor gives 1 A for 1000 mV: 1000 mA is 4092 / 5 = 818.4 counts of a sum of 4.
ROD = settings.defaults("axis") | {
    "feedback": 1, "calibrated": 1, "raw_retracted": 100, "raw_extended": 8100,
    "stroke_um": 200_000, "soft_stop_min_um": 10_000, "soft_stop_max_um": 190_000,
    "speed_max_um_s": 8000, "acceleration_um_s2": 20_000, "deceleration_um_s2": 40_000,
    "creep_output_permille": 350, "creep_speed_um_s": 2000, "current_uv_per_ma": 1000,
    "current_zero": 0, "trip_ma": 2000, "trip_ms": 50, "stall_time_ms": 400, "running_ma": 800,
    "full_speed_extend_um_s": 10_000, "full_speed_retract_um_s": 10_000, "speed_supply_mv": 12_000,
    "dead_zone_extend_permille": 200, "dead_zone_retract_permille": 200, "run_on_extend_um": 500,
    "run_on_retract_um": 500, "noise_x16": 8, "pot_margin_raw": 40,
}  # fmt: skip
UM_PER_RAW = 25


class View(ct.Structure):
    """What one tick left behind."""

    _fields_ = (
        *((name, ct.c_int32) for name in VIEW),
        ("event", (ct.c_int32 * 4) * EVENTS_MAX),
    )

    @property
    def told(self) -> list[tuple[int, ...]]:
        """Events of the tick: kind, cause, value_a, value_b."""
        return [tuple(self.event[n]) for n in range(self.events)]


@cache
def library() -> ct.CDLL:
    """Built once, with the undefined-behaviour sanitizer."""
    core = native.SOURCES / "core"
    files = [native.HARNESS / "axis_probe.c", *(core / f"{name}.c" for name in MODULES)]
    target = native.BUILD / "axis_probe.so"
    built = ct.CDLL(str(native.compile_c(target, files, "-shared", "-fPIC", *native.CHECKED)))
    built.probe_new.restype = ct.c_void_p
    for name in ("ticks", "clear"):
        getattr(built, f"probe_{name}").restype = ct.c_uint32
    return built


def raw_at(um: float) -> int:
    """Raw of a position of ROD."""
    return round(100 + um / UM_PER_RAW)


def counts(ma: int) -> int:
    """Current input, sum of 4, for a current of ROD's sensor; never less than asked for."""
    return -(-ma * 4092 // 5000)


class Probe:
    """One axis; `with Probe() as axis: axis.tick(raw)`. The host is alive unless told otherwise."""

    def __init__(self, **changes: int) -> None:
        self.lib = library()
        self.set = ROD | changes
        self._at = ct.c_void_p(self.lib.probe_new(settings.pack_scope("axis", self.set)))
        self.alive = True
        self.now = View()
        self.past: list[View] = []

    def __enter__(self) -> Probe:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.lib.probe_free(self._at)

    def tick(
        self, raw: int, ma: int = 0, room: int = 1_000_000, count: int = 1, zero: int = 0
    ) -> View:
        """`count` ticks with the same readings; gives the last. `zero`: the sensor's at 0 A."""
        for _ in range(count):
            if self.alive:
                self.renew(self.ticks() - 1)
            self.now = View()
            self.lib.probe_tick(self._at, raw, zero + counts(ma), room, ct.byref(self.now))
            self.past.append(self.now)
        return self.now

    def at(self, um: float, ma: int = 0, count: int = 1) -> View:
        """`count` ticks with the rod at a position in um."""
        return self.tick(raw_at(um), ma, count=count)

    def follow(self, um: float, ticks: int, speed: float = 1.0, ma: int = 600) -> float:
        """A rod that goes as its output tells it, without inertia. Gives where it ends, in um."""
        for _ in range(ticks):
            self.at(um, ma if self.now.output else 0)
            push = max(abs(self.now.output) - 200, 0) / 800 * 10_000 / 200 * speed
            um += push if self.now.output > 0 else -push
        return um

    def events(self, since: int = 0) -> list[tuple[int, ...]]:
        """Everything told from a tick of `past` on."""
        return [event for view in self.past[since:] for event in view.told]

    def ticks(self) -> int:
        """Number of the tick that comes next."""
        return int(self.lib.probe_ticks(self._at))

    def change(self, **changes: int) -> None:
        """Other settings, as a commit puts them in force."""
        self.set |= changes
        self.lib.probe_settings(self._at, settings.pack_scope("axis", self.set))

    def jog(self, value: int, unit: int = 1) -> int:
        return int(self.lib.probe_jog(self._at, unit, value))

    def run(self, output: int) -> int:
        return int(self.lib.probe_run(self._at, output))

    def seek(self, direction: int) -> int:
        return int(self.lib.probe_seek(self._at, direction))

    def move(self, um: int, speed: int = 0) -> int:
        return int(self.lib.probe_move(self._at, um, speed))

    def stop(self, category: int) -> None:
        self.lib.probe_stop(self._at, category)

    def renew(self, tick: int) -> None:
        self.lib.probe_renew(self._at, ct.c_uint32(tick))

    def clear(self) -> int:
        return int(self.lib.probe_clear(self._at))
