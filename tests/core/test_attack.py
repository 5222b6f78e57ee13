"""The attacker for a few seconds, and what it has found before.

python -m tests.core.attack --runs 2000         longer
"""

from __future__ import annotations

from collections import Counter

import pytest
from rodbench_protocol.names import Ended, Fault, Status

from tests.core.attack import attack
from tests.core.axis_probe import Probe, raw_at

SEEDS = range(1, 61)
WITH_TWIN = range(1001, 1009)


def test_nothing_that_must_hold_breaks_under_attack() -> None:
    total: Counter[str] = Counter()
    for seed in SEEDS:
        total += attack(seed, twin=False)
    for seed in WITH_TWIN:
        total += attack(seed, twin=True)
    ticks = total["ticks"]
    assert ticks > 1400 * (len(SEEDS) + len(WITH_TWIN))
    assert total["axis ticks with output"] > ticks / 3, "it must reach motion"
    assert total["starts"] > 100
    assert total["stops"] > 100
    assert total["torn bytes"] > 5
    assert total["commits"] > 10


@pytest.mark.parametrize("deceleration", [40_000, 400_000, 2_000_000])
@pytest.mark.parametrize("full", [10_000, 100_000, 400_000, 0])
def test_a_run_ends_inside_its_duty_however_steep_its_ramp(deceleration: int, full: int) -> None:
    """The reserve was reckoned with the whole deceleration, the ramp with 400 mm/s2 at most."""
    speeds = {"full_speed_extend_um_s": full, "full_speed_retract_um_s": full}
    with Probe(deceleration_um_s2=deceleration, **speeds) as axis:
        axis.at(30_000, count=20)
        assert axis.run(1000) == Status.OK
        um, room = 30_000.0, 1400
        for _ in range(2000):
            axis.tick(raw_at(um), ma=600, room=room)
            room -= axis.now.output != 0
            assert room >= 0
            um += axis.now.output / 20
        assert axis.now.ended in (Ended.DUTY, Ended.SOFT_STOP)


def test_a_jog_by_a_ramp_of_minutes_ends_inside_its_duty() -> None:
    """The ramp's steps are rounded down, so it took longer than its reserve: 3 ticks of 20 000."""
    changes = {"deceleration_um_s2": 500, "creep_speed_um_s": 50_000, "speed_max_um_s": 50_000}
    changes |= {"stall_time_ms": 5000, "run_on_extend_um": 0, "stroke_um": 2_000_000}
    with Probe(soft_stop_max_um=2_000_000, pot_margin_raw=4, **changes) as axis:
        axis.tick(1000, count=20)
        assert axis.jog(50_000) == Status.OK
        room, place = 20_050, 1000.0
        for _ in range(20_400):
            axis.tick(int(place), ma=600, room=room)
            room -= axis.now.output != 0
            assert room >= 0
            place += 0.02
        assert axis.now.ended == Ended.DUTY


def test_a_rod_far_ahead_of_its_reference_gets_no_output_at_any_settings() -> None:
    """The output wished for was multiplied by the supply before it was bounded below: overflow."""
    changes = {"stroke_um": 2_000_000, "soft_stop_min_um": 0, "soft_stop_max_um": 2_000_000}
    changes |= {"raw_retracted": 4000, "raw_extended": 4400, "speed_supply_mv": 30_000}
    changes |= {"full_speed_extend_um_s": 1, "speed_max_um_s": 200_000, "run_on_extend_um": 0}
    with Probe(acceleration_um_s2=500, creep_speed_um_s=100, **changes) as axis:
        axis.tick(4100, count=20)
        assert axis.jog(200_000) == Status.OK
        for ahead in range(40):
            axis.tick(4100 + 4 * ahead, ma=600)
        assert axis.now.faults & ~(1 << (Fault.OVER_CURRENT - 1)) == 0
        assert axis.now.output == 0


@pytest.mark.parametrize("run_on_um", [4000, 9000])
def test_the_guard_reckons_with_the_whole_run_on_however_long_it_takes(run_on_um: int) -> None:
    """More than half a second of run-on at full speed was cut to that: 1.9 mm past a soft stop."""
    with Probe(run_on_extend_um=run_on_um, stall_time_ms=5000) as axis:
        um = 150_000.0
        axis.at(um, count=20)
        assert axis.jog(8000) == Status.OK
        for _ in range(1000):
            axis.at(um, ma=600)
            if axis.now.output == 0:
                break
            um += 40  # 8 mm/s
        assert axis.now.ended == Ended.RUNNING
        left = 190_000 - um
        assert run_on_um * 0.8 <= left <= run_on_um * 1.05 + 1000
