"""How sound a pot is, from sweeps along it: places where the wiper loses contact, noise by place,
play of its drive, and how well one place repeats.

All in mm of the rod as the pot tells it, extending positive. A wiper without contact is pulled
towards `open_mm`, the place that the pot's ground end would be: a reading that falls short of the
motion's own line on that side has lost contact. The rest is least squares on short pieces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

ENVELOPE = 8  # samples each side whose best reading says where the motion is
OUTSIDE_S = 0.06  # so far beyond its good readings a line is still drawn on
PIECE = 12  # samples each side for the line through the good ones
SIGMAS = 6.0
SLACK_S = 0.03  # a start or stop bends the line by what the rod travels in this time
BEGIN_S = 0.5  # the start of a sweep: play and a new stroke's scatter bend the line
DEPTH = 0.1  # a wiper without contact loses at least this share of its way to the open end
BINS = 10
MERGE_MM = 4.0  # places nearer than this are one zone


@dataclass(frozen=True, slots=True)
class Sweep:
    """Readings of one motion in one sense (`way` 1 or -1): seconds and mm."""

    way: int
    seconds: Sequence[float]
    mm: Sequence[float]


@dataclass(frozen=True, slots=True)
class Track:
    """What is known beforehand: noise at rest in mm rms, one count in mm, where an open wiper
    would read, and the soft stops between which it was swept."""

    noise_mm: float
    count_mm: float
    open_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True, slots=True)
class Zone:
    """Where contact was lost: from, to in mm, and in how many readings or stops."""

    from_mm: float
    to_mm: float
    count: int


@dataclass(frozen=True, slots=True)
class Start:
    """One short run from rest: sense, whether it turned round, and how far the motion's line,
    drawn back to the start, lies behind the reading at rest (mm, in the sense of motion), with its
    own error (one sigma)."""

    way: int
    turned: bool
    behind_mm: float
    error_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Repeat:
    """Play at a reversal, and how one place scatters from stroke to stroke (mm rms); `floor_mm` is
    what this measurement itself scatters: less cannot be seen. `play_error_mm` is one sigma."""

    play_mm: float
    scatter_mm: float
    floor_mm: float
    reversals: int
    play_error_mm: float = 0.0

    @property
    def scatter_error_share(self) -> float:
        """One sigma of the scatter: of a deviation of n - 2 degrees (any statistics textbook)."""
        return float(1.0 / np.sqrt(2.0 * (self.reversals - 2)))


@dataclass(frozen=True, slots=True)
class Followed:
    """A sweep with the motion's line through it and which readings are good."""

    sweep: Sweep
    line_mm: np.ndarray
    good: np.ndarray


def follow(sweep: Sweep, track: Track) -> Followed:
    """The motion's line through a sweep whose wiper may lose contact."""
    seconds = np.asarray(sweep.seconds, dtype=float)
    away = np.abs(np.asarray(sweep.mm, dtype=float) - track.open_mm)
    least = min(abs(track.low_mm - track.open_mm), abs(track.high_mm - track.open_mm))
    good = (away > 0.5 * least) & _on_envelope(seconds, away, track)
    for _ in range(2):
        line = _pieces(seconds, away, good)
        speed = np.abs(np.gradient(line, seconds)) if len(line) > 1 else np.zeros_like(line)
        good = away > line - np.maximum(_allowed(track) + SLACK_S * speed, DEPTH * line)
    side = 1.0 if track.low_mm >= track.open_mm else -1.0
    return Followed(sweep, track.open_mm + side * line, good)


def _begun(seconds: np.ndarray) -> np.ndarray:
    """Whether the start of the sweep is over."""
    begun: np.ndarray = (seconds - seconds[0]) > BEGIN_S
    return begun


def _allowed(track: Track) -> float:
    return SIGMAS * track.noise_mm + 2.0 * track.count_mm


def _on_envelope(seconds: np.ndarray, away: np.ndarray, track: Track) -> np.ndarray:
    """Readings that are as far from `open` as their best neighbours, the travel taken out."""
    top = _windows(away, ENVELOPE).max(axis=1)
    slope = (
        np.gradient(_windows(top, 20).mean(axis=1), seconds)
        if len(away) > 2
        else np.zeros_like(away)
    )
    best = away.copy()
    for shift in range(-ENVELOPE, ENVELOPE + 1):
        moved = np.roll(away, shift) + slope * (seconds - np.roll(seconds, shift))
        inside = np.arange(len(away)) - shift
        moved[(inside < 0) | (inside >= len(away))] = -np.inf
        best = np.maximum(best, moved)
    slack = _allowed(track) + 2.0 * track.noise_mm + 2.0 * SLACK_S * np.abs(slope)
    return away > best - slack  # type: ignore[no-any-return]


def _windows(values: np.ndarray, each_side: int) -> np.ndarray:
    padded = np.pad(values, each_side, mode="edge")
    view: np.ndarray = np.lib.stride_tricks.sliding_window_view(padded, 2 * each_side + 1)
    return view


def _pieces(seconds: np.ndarray, away: np.ndarray, good: np.ndarray) -> np.ndarray:
    """Least squares through the good readings around each one; straight across where none are."""
    if good.sum() < 2:
        return away.copy()
    t, weight = seconds - seconds.mean(), good.astype(float)
    n, st, sy, stt, sty = (
        _window_sums(weight * part) for part in (np.ones_like(t), t, away, t * t, t * away)
    )
    spread = n * stt - st * st
    known = (n >= 4) & (spread > 1e-9)
    safe = np.where(known, spread, 1.0)
    slope = (n * sty - st * sy) / safe
    line = (sy - slope * st) / np.maximum(n, 1.0) + slope * t
    nearest = np.interp(seconds, seconds[good], seconds[good])  # held at the outer ones
    known &= np.abs(nearest - seconds) < OUTSIDE_S
    if not known.any():
        known, line = good, away
    across: np.ndarray = np.interp(seconds, seconds[known], line[known])
    return across


def _window_sums(values: np.ndarray) -> np.ndarray:
    """Sums over PIECE values to each side."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(len(values))
    sums: np.ndarray = (
        total[np.minimum(at + PIECE + 1, len(values))] - total[np.maximum(at - PIECE, 0)]
    )
    return sums


# ---------------------------------------------------------------- what was found


def lost_at(followed: Sequence[Followed]) -> list[float]:
    """Places in mm of all readings without contact."""
    return [float(p) for f in followed for p in f.line_mm[~f.good]]


def zones(places: Sequence[float], merge_mm: float = MERGE_MM) -> list[Zone]:
    """Places joined into zones."""
    found: list[Zone] = []
    ordered = sorted(places)
    start = 0
    for number, (one, two) in enumerate(pairwise(ordered), start=1):
        if two - one > merge_mm:
            found.append(Zone(ordered[start], one, number - start))
            start = number
    if ordered:
        found.append(Zone(ordered[start], ordered[-1], len(ordered) - start))
    return found


def noise_by_place(followed: Sequence[Followed], track: Track) -> list[tuple[float, float, float]]:
    """(from, to, rms in mm) of readings about the motion's line, in equal parts of the way."""
    edges = np.linspace(track.low_mm, track.high_mm, BINS + 1)
    rest = []
    for f in followed:
        pick = f.good & _begun(np.asarray(f.sweep.seconds, dtype=float))
        rest.append((f.line_mm[pick], np.asarray(f.sweep.mm)[pick] - f.line_mm[pick]))
    if not rest:
        return []
    places, off = (np.concatenate(part) for part in zip(*rest, strict=True))
    found = []
    for low, high in pairwise(edges):
        here = off[(places >= low) & (places < high)]
        if here.size >= 10:
            found.append((float(low), float(high), float(np.sqrt(np.mean(here**2)))))
    return found


def behind(run: Sweep, rest_mm: float, start_s: float, settle_mm: float) -> tuple[float, float]:
    """How far the line of a run, drawn back to `start_s`, lies behind the reading at rest, in mm,
    and one sigma of it (formula: error of a least-squares line's intercept).

    Only readings more than `settle_mm` away from rest count: there the start is over. Raises
    ValueError when too few are left.
    """
    t = np.asarray(run.seconds, dtype=float) - start_s
    way = (np.asarray(run.mm, dtype=float) - rest_mm) * run.way
    steady = way >= settle_mm
    if steady.sum() < 8:
        raise ValueError("the run is too short to draw a line through it")
    t, way = t[steady], way[steady]
    slope, value = np.polyfit(t, way, 1)
    scatter = float(np.sqrt(((way - value - slope * t) ** 2).sum() / (len(t) - 2)))
    spread = float(((t - t.mean()) ** 2).sum())
    return -float(value), scatter * float(np.sqrt(1.0 / len(t) + t.mean() ** 2 / spread))


def repeat(starts: Sequence[Start]) -> Repeat:
    """Play and scatter from short runs, some of which turned round.

    A run that goes on in the same sense tells how far the motor's own start holds it behind; one
    that turned lags by the play too, and its place has scattered anew. Raises ValueError below
    two starts of each sort and sense.
    """
    on = {way: [s.behind_mm for s in starts if s.way == way and not s.turned] for way in (1, -1)}
    turned = [s for s in starts if s.turned]
    if min(len(on[1]), len(on[-1])) < 2 or len(turned) < 4:
        raise ValueError("too few runs to tell play from scatter")
    lag = {way: np.array([s.behind_mm for s in turned if s.way == way]) for way in (1, -1)}
    if min(map(len, lag.values())) < 2:
        raise ValueError("too few reversals")
    play = float(np.mean([lag[way].mean() - np.mean(on[way]) for way in (1, -1)]))
    # Each reversal changes what a place reads from the scatter of one stroke to that of the next:
    # the variance of two. A mean for each sense is taken out: two degrees of freedom.
    squares = sum(float(((lag[way] - lag[way].mean()) ** 2).sum()) for way in (1, -1))
    floor = float(np.sqrt(np.mean([s.error_mm**2 for s in turned])))
    scatter = float(np.sqrt(max(0.0, squares / (len(turned) - 2) - floor**2) / 2.0))
    # A stroke's scatter is in the lag before it and, the other way, in the one after: it counts
    # twice in their mean. What a run alone is off by is independent.
    own = sum(1.0 / len(lag[way]) + 1.0 / len(on[way]) for way in (1, -1)) / 4.0
    error = float(np.sqrt(4.0 * scatter**2 / len(turned) + own * floor**2))
    return Repeat(max(0.0, play), scatter, floor, len(turned), error)


# ---------------------------------------------------------------- the verdict

ZONES_MOST = 2
LOST_SHARE = 0.25  # of the way between the soft stops: more is no zone, it is a worn pot
KEPT_SHARE = 0.5  # of that way must be left beside a zone
SCATTER_SHARE = 0.005  # of that way, rms
NOISY = 4.0  # times the quietest half
MARGIN_MM = 1.0  # soft stops stay so far from a zone


@dataclass(frozen=True, slots=True)
class Health:
    """The verdict: "clean", "avoid" or "replace", its reasons, and for "avoid" the soft stops that
    leave the zone out."""

    verdict: str
    reasons: tuple[str, ...]
    stops_mm: tuple[float, float] | None = None


def judge(
    found: Sequence[Zone],
    noise: Sequence[tuple[float, float, float]],
    repeated: Repeat | None,
    track: Track,
    blocked_at_mm: float | None = None,
) -> Health:
    """What to do with the pot. `blocked_at_mm`: where there was no way through."""
    way = track.high_mm - track.low_mm
    reasons = []
    if blocked_at_mm is not None:
        reasons.append("blocked")
    if len(found) > ZONES_MOST:
        reasons.append("many zones")
    if sum(z.to_mm - z.from_mm for z in found) > LOST_SHARE * way:
        reasons.append("wide zone")
    if repeated is not None and repeated.scatter_mm > SCATTER_SHARE * way:
        reasons.append("scatter")
    if noisy_parts(noise):
        reasons.append("noisy part")
    best = outside(found, track)
    if found and best[1] - best[0] < KEPT_SHARE * way:
        reasons.append("too little left")
    if reasons:
        return Health("replace", tuple(reasons))
    return Health("avoid", ("zone",), best) if found else Health("clean", ())


def noisy_parts(noise: Sequence[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Parts of the way that are far noisier than the quieter half."""
    if not noise:
        return []
    usual = float(np.median([rms for _, _, rms in noise]))
    return [part for part in noise if part[2] > NOISY * usual]


def outside(found: Sequence[Zone], track: Track) -> tuple[float, float]:
    """The longest part of the way between the soft stops without a zone in it."""
    edges = [track.low_mm - MARGIN_MM]
    for zone in found:
        edges += [zone.from_mm, zone.to_mm]
    edges.append(track.high_mm + MARGIN_MM)
    free = [(a + MARGIN_MM, b - MARGIN_MM) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return max(free, key=lambda part: part[1] - part[0])
