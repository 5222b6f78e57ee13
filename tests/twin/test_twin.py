"""The twin equals the C core at every tick: outputs, states, faults, positions, bytes sent."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, Phase, given, settings
from rodbench_protocol.names import AxisState, Fault

from tests.core.native import library
from tests.twin.runs import TICKS, Plan, Run, Seen, plans

RUNS = int(os.environ.get("TWIN_RUNS", "2000"))


def test_twin_equals_core() -> None:
    seen = Seen()

    @settings(
        max_examples=RUNS,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(plans)
    def one(plan: Plan) -> None:
        Run(library(), plan, seen).go()

    one()
    print(report(seen))
    assert seen.runs >= RUNS
    assert seen.ticks >= seen.runs * TICKS
    assert seen.driven * 2 >= seen.ticks
    assert set(AxisState) <= {s for s, n in seen.states.items() if n}
    assert set(Fault) <= {f for f, n in seen.faults.items() if n}


def report(seen: Seen) -> str:
    """What was reached, as text."""
    states = {AxisState(k).name.lower(): v for k, v in sorted(seen.states.items())}
    faults = {Fault(k).name.lower(): v for k, v in sorted(seen.faults.items()) if v}
    driven = 100 * seen.driven / max(1, seen.ticks)
    return f"{seen.runs} runs, {seen.ticks} ticks, {driven:.1f} % driven\n{states}\n{faults}"
