"""What one recorded stroke tells: times, speed, currents, overshoot, sag of the supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .line import fit_line
from .speed import held_peak

Floats = npt.NDArray[np.float64]
SMOOTH = 9  # readings averaged before the furthest one is looked for: noise is no overshoot
STEADY = (0.4, 0.85)  # of the way: full speed, whatever the ramps
LEAST = 6  # readings from which a mean is one


@dataclass(frozen=True, slots=True)
class Recorded:
    """A stroke: s, mm, A, permille of full output with its sign, V; at rest before and after."""

    way: int
    t_s: Floats
    position_mm: Floats
    current_a: Floats
    output_permille: Floats
    supply_v: Floats

    @property
    def on(self) -> npt.NDArray[np.bool_]:
        """Where the output drives the stroke's own way."""
        return np.asarray(self.output_permille * self.way > 0.0)

    def steady(self) -> npt.NDArray[np.bool_]:
        """Where it runs at full speed, by its share of the way."""
        place = self.position_mm[self.on]
        if place.size == 0:
            return np.zeros(self.t_s.size, dtype=bool)
        low, high = sorted((place[0], place[-1]))
        inside = (self.position_mm - low) / max(high - low, 1e-9)
        share = inside if self.way > 0 else 1.0 - inside
        return np.asarray(self.on & (share >= STEADY[0]) & (share <= STEADY[1]))


@dataclass(frozen=True, slots=True)
class Figures:
    """Of one stroke; None where it was too short to tell. `beyond_mm`: past its target."""

    on_s: float
    speed_mm_s: float | None
    current_mean_a: float | None
    current_peak_a: float | None
    rest_mm: float
    beyond_mm: float
    sag_v: float | None


def figures(stroke: Recorded, target_mm: float, held_s: float) -> Figures:
    """`held_s`: how long a current must stand to count as a peak, as the trip counts it."""
    on, steady = stroke.on, stroke.steady()
    times = stroke.t_s[on]
    enough = int(steady.sum()) >= LEAST
    step = float(np.median(np.diff(stroke.t_s))) if stroke.t_s.size > 1 else 0.0
    return Figures(
        on_s=float(times[-1] - times[0]) + step if times.size else 0.0,
        speed_mm_s=_speed(stroke, steady) if enough else None,
        current_mean_a=float(stroke.current_a[steady].mean()) if enough else None,
        current_peak_a=held_peak(times, stroke.current_a[on], held_s) if times.size else None,
        rest_mm=rest_mm(stroke),
        beyond_mm=_beyond(stroke, target_mm),
        sag_v=sag_v(stroke, steady) if enough else None,
    )


def rest_mm(stroke: Recorded) -> float:
    """Where it rests at the end: the mean of the last quarter of a second."""
    late = stroke.t_s >= stroke.t_s[-1] - 0.25
    return float(stroke.position_mm[late].mean())


def sag_v(stroke: Recorded, while_running: npt.NDArray[np.bool_]) -> float | None:
    """Supply at rest before the stroke, less that in it; None where the supply was not heard."""
    before = rests_before(stroke)
    known = np.isfinite(stroke.supply_v)
    rest, run = stroke.supply_v[before & known], stroke.supply_v[while_running & known]
    if rest.size < LEAST or run.size < LEAST:
        return None
    return float(rest.mean() - run.mean())


def rests_before(stroke: Recorded) -> npt.NDArray[np.bool_]:
    """Readings before the first output."""
    driven = np.flatnonzero(stroke.output_permille != 0.0)
    first = int(driven[0]) if driven.size else stroke.t_s.size
    return np.arange(stroke.t_s.size) < first


def _speed(stroke: Recorded, steady: npt.NDArray[np.bool_]) -> float:
    line = fit_line(stroke.t_s[steady].tolist(), stroke.position_mm[steady].tolist())
    return abs(line.slope)


def _beyond(stroke: Recorded, target_mm: float) -> float:
    if stroke.t_s.size < SMOOTH:
        return 0.0
    smooth = np.convolve(stroke.position_mm, np.full(SMOOTH, 1.0 / SMOOTH), "valid")
    return max(0.0, float((stroke.way * (smooth - target_mm)).max()))
