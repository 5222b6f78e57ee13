"""The twin equals the C core at every tick: outputs, states, faults, positions, bytes sent.

TWIN_RUNS=20000 TWIN_SEED=7 pytest -s tests/twin/test_twin.py       # more runs, others
"""

from __future__ import annotations

import os

from rodbench_protocol.names import Ended

from tests.core.native import library
from tests.twin import coverage
from tests.twin.runs import INPUTS, TICKS, compare

RUNS = int(os.environ.get("TWIN_RUNS", "2000"))
SEED = int(os.environ.get("TWIN_SEED", "1"))
CHECKED_RUNS = 300
COVERED_PERCENT = 95.0


def test_twin_equals_core() -> None:
    """Every state, fault and way to end is reached, and nearly every branch of the core."""
    seen, files = coverage.run(RUNS)
    print(seen.report())
    print(f"branch coverage of the core: {coverage.share(files):.1f} %")
    assert seen.runs >= RUNS
    assert seen.ticks >= RUNS * TICKS
    assert seen.driven * 2 >= seen.ticks
    assert seen.complete()
    assert set(seen.inputs) == INPUTS
    # `replaced` lasts for no tick, `unfinished` comes after longer than a run: tests/core has both.
    assert set(Ended) - {Ended.REPLACED, Ended.UNFINISHED} <= set(seen.ended)
    assert coverage.share(files) >= COVERED_PERCENT


def test_twin_equals_core_under_sanitizers() -> None:
    """Other runs, on the build that stops at undefined behaviour."""
    assert compare(library(), CHECKED_RUNS, SEED).runs >= CHECKED_RUNS
