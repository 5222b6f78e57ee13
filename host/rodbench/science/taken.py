"""What is taken from one proof run to be laid over another, and one quantity looked at."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf, sqrt

import numpy as np
import numpy.typing as npt

from .stroke_figures import Recorded

Floats = npt.NDArray[np.float64]
SETTLED_S = 0.4  # at the full output of a run, until speed and current are steady
WAYS = (1, -1)


@dataclass(frozen=True, slots=True)
class Taken:
    """One proof run. `ends_mm`: approaches to the (retracted, extended) end, None: not sought.
    `pot_span`: share of the reference over the whole stroke; a step of the supply's converter.
    `rests_mm`: by way, how far past its target each move came to rest."""

    moves: Sequence[Recorded]
    runs: Sequence[Recorded]
    slows: Sequence[Recorded]
    ends_mm: tuple[Sequence[float], Sequence[float]] | None
    stroke_mm: float
    pot_span: float
    supply_step_v: float
    has_current: bool = True
    rests_mm: Mapping[int, Sequence[float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Look:
    """One quantity of both runs, in `unit`: `error` is one sigma of the change, which counts beyond
    `limit`."""

    name: str
    unit: str
    baseline: float
    later: float
    error: float
    limit: float

    @property
    def change(self) -> float:
        """Later less baseline."""
        return self.later - self.baseline

    @property
    def changed(self) -> bool:
        """Whether it changed by more than is uncertain."""
        return abs(self.change) > self.limit

    @property
    def share(self) -> float:
        """The change as a share of the baseline."""
        return self.change / self.baseline if self.baseline else inf


def settled(stroke: Recorded) -> npt.NDArray[np.bool_]:
    """Where a run has stood at its full output for a while."""
    size = np.abs(stroke.output_permille)
    full = np.asarray(stroke.on & (size >= size.max() - 2.0))
    if not full.any():
        return full
    return np.asarray(full & (stroke.t_s >= stroke.t_s[full][0] + SETTLED_S))


def of_way(strokes: Sequence[Recorded], way: int) -> list[Recorded]:
    """The strokes that go this way, in their order."""
    return [stroke for stroke in strokes if stroke.way == way]


def paired(
    before: Sequence[Recorded], after: Sequence[Recorded], value: Callable[[Recorded], float]
) -> Iterator[tuple[int, Floats, Floats]]:
    """A figure of the strokes of each way, first with first: a motor warms up alike in both runs,
    so the differences of such pairs scatter far less than the strokes of one run."""
    for way in WAYS:
        pairs = list(zip(of_way(before, way), of_way(after, way), strict=False))
        if pairs:
            yield (
                way,
                np.array([value(first) for first, _ in pairs]),
                np.array([value(second) for _, second in pairs]),
            )


def scatter_of_mean(groups: Sequence[Floats]) -> tuple[float, float]:
    """One sigma of the mean of a group (the first group's size), by the scatter within all groups,
    and its freedom. Of single values there is none: then the least change alone decides."""
    freedom = sum(len(group) - 1 for group in groups)
    if freedom == 0:
        return 0.0, 1.0
    square = sum(float(((group - group.mean()) ** 2).sum()) for group in groups)
    return sqrt(square / freedom / len(groups[0])), float(freedom)


def word(way: int) -> str:
    """`out` or `in`."""
    return "out" if way > 0 else "in"
