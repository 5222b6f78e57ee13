"""What code costs, for benchmarks."""

from __future__ import annotations

import time
from collections.abc import Callable


def cpu_s(run: Callable[[], object]) -> float:
    """CPU seconds, the best of three."""
    times = []
    for _ in range(3):
        begin = time.process_time()
        run()
        times.append(time.process_time() - begin)
    return min(times)
