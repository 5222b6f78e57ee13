"""Statistics of readings taken while nothing moves."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

BLOCKS = 10


@dataclass(frozen=True, slots=True)
class Rest:
    """Readings at rest, in their own unit. `error` is one sigma of the mean, drift included."""

    mean: float
    rms: float
    error: float
    count: int

    @property
    def quiet(self) -> bool:
        """Every reading was the same: a very quiet input, or one that is stuck."""
        return self.rms == 0.0


def rest(samples: Sequence[float]) -> Rest:
    """Mean, standard deviation (n - 1) and the error of the mean.

    The error comes from means of ten blocks, so that noise which hangs together from one reading
    to the next is not taken for independent. Raises ValueError below two samples.
    """
    values = np.asarray(samples, dtype=float)
    if values.size < 2:
        raise ValueError("at least two readings are needed")
    mean = float(values.mean())
    rms = _deviation(values)
    error = max(_block_error(values), rms / sqrt(values.size))
    return Rest(mean, rms, error, int(values.size))


def _deviation(values: np.ndarray) -> float:
    """Two passes: the one-pass formula loses all digits on a small spread far from zero."""
    return float(values.std(ddof=1))


def _block_error(values: np.ndarray) -> float:
    if values.size < 2 * BLOCKS:
        return 0.0
    means = [block.mean() for block in np.array_split(values, BLOCKS)]
    return float(np.std(means, ddof=1)) / sqrt(BLOCKS)


def largest_jump(samples: Sequence[float]) -> float:
    """Greatest step between neighbours beyond the usual step: a dropout of a pot shows here."""
    steps = np.diff(np.asarray(samples, dtype=float))
    if steps.size < 3:
        return 0.0
    return float(np.abs(steps - np.median(steps)).max())
