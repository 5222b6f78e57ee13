"""No window of the duty's length ever holds more on-time than its share: an independent recount
from the bridge's own output, tick by tick, over random runs with resets among them."""

from __future__ import annotations

import contextlib
import random
import re

import numpy as np
import pytest
from rodbench.bench import commission, current, endpoints, polarity, strokes
from rodbench.bench.budget import Budget
from rodbench.bench.label import Label
from rodbench.emulator.plant import Rod
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.errors import Refused
from rodbench_protocol.names import Ended

from .harness import Bench

TICKS_PER_S = 200
STROKE_MM = 60.0
CALIBRATED = {
    "feedback": 1,
    "calibrated": 1,
    "raw_retracted": 818,
    "raw_extended": 7366,
    "stroke_um": 60_000,
    "soft_stop_min_um": 3_000,
    "soft_stop_max_um": 57_000,
    "full_speed_extend_um_s": 9_000,
    "full_speed_retract_um_s": 9_000,
    "speed_max_um_s": 8_000,
    "trip_ma": 5_000,
}


class Recorder:
    """Whether the bridge drove, of every tick."""

    def __init__(self, bench: Bench) -> None:
        self.on: list[bool] = []
        self.outputs = bench.emulated
        bench.clock.attach(self.look)

    def look(self, _: int) -> None:
        self.on.append(self.outputs.outputs.drive[0] != 0)

    def worst(self, window_s: float) -> int:
        """The greatest number of driven ticks in any window of this length."""
        sums = np.concatenate([[0], np.cumsum(self.on)])
        size = min(round(window_s * TICKS_PER_S), len(self.on))
        return int((sums[size:] - sums[:-size]).max()) if size else 0


def bench() -> Bench:
    rod = Rod(name="rod-1", stroke_mm=STROKE_MM, start_mm=30.0)
    rod.motor.constant_v_s_per_mm = 1.1
    made = Machine(name="duty", seed=3, supply=Supply(volts=12.0), rods={1: rod})
    made.board.boot_ms = 100.0
    return Bench.of(made)


@pytest.mark.parametrize(("seed", "share", "window"), [(1, 100, 60), (2, 250, 60), (3, 400, 90)])
def test_no_window_exceeds_its_share(seed: int, share: int, window: int) -> None:
    made, draw = bench(), random.Random(seed)
    made.board.write_scope(
        1, CALIBRATED | {"duty_share_permille": share, "duty_window_s": window}, store=True
    )
    seen, refused, ended = Recorder(made), 0, 0
    axis = made.board.axis(1)
    while len(seen.on) < 5 * window * TICKS_PER_S:
        choice = draw.random()
        try:
            if choice < 0.5:
                with axis.move(draw.uniform(3.0, 57.0)) as motion:
                    outcome = motion.wait(draw.choice((0.4, 30.0)))
            elif choice < 0.8:
                with axis.jog(draw.choice((-1, 1)) * draw.uniform(0.5, 8.0)) as motion:
                    outcome = motion.wait(draw.uniform(0.05, 12.0))
            elif choice < 0.9:
                made.board.restart()
                continue
            else:
                made.board.sleep(draw.uniform(0.1, 8.0))
                continue
            ended += outcome is not None and outcome.ended == Ended.DUTY
        except Refused as error:
            refused += "duty" in error.status_name
            made.board.sleep(1.0)
        if axis.sample().faults:
            axis.clear()
    budget = share / 1000 * window * TICKS_PER_S
    assert seen.worst(window) <= budget
    assert seen.worst(window) > 0.8 * budget, "the runs must come near the limit to prove anything"
    assert refused + ended > 0


def test_a_procedure_that_needs_rests_stays_within_the_share() -> None:
    """Both ends of a slow rod under a small budget: rests come by themselves."""
    made = bench()
    share, window = 150, 120
    made.board.write_scope(1, {"duty_share_permille": share, "duty_window_s": window})
    seen = Recorder(made)
    job = made.job()
    commission.prepare(job, Label("north", 105.0, STROKE_MM, 0.185, 7.5))
    at_rest = current.measure(job)
    way = polarity.find(job, at_rest)
    endpoints.find(job, at_rest, way, STROKE_MM)
    assert any("Resting" in line for line in made.talk)
    assert sum(seen.on) > share / 1000 * window * TICKS_PER_S, "more than one budget was needed"
    assert seen.worst(window) <= share / 1000 * window * TICKS_PER_S


def test_the_cost_is_said_and_counts_what_is_left() -> None:
    made = bench()
    job = made.job()
    job.commit(CALIBRATED)
    whole = Budget(job).whole_s
    assert Budget(job).left_s() == pytest.approx(whole, abs=1.0)
    with contextlib.suppress(Refused), made.board.axis(1).jog(5.0) as motion:
        motion.wait(3.0)
    assert Budget(job).left_s() == pytest.approx(whole - 3.0, abs=1.0)
    cost = Budget(job).say_cost(whole + 30.0)
    assert (cost.rests, cost.rest_s) == (1, pytest.approx(933.0, abs=1.0))
    assert any("About 1 rest, 15 min 3" in line for line in made.talk)


@pytest.mark.parametrize("left_s", [7.0, 7.6, 8.2, 10.5])
def test_a_way_waits_for_what_the_board_asks_for_before_a_move(left_s: float) -> None:
    """54 mm at 8 mm/s take 7 s; the board begins them only with a fifth more left."""
    made = bench()
    job = made.job()
    share = {"duty_share_permille": round(1000 * (4.0 + left_s) / 120), "duty_window_s": 120}
    job.commit(CALIBRATED | share)
    strokes.go(job, 57.0)
    assert Budget(job).left_s() == pytest.approx(left_s, abs=0.5)
    strokes.go(job, 3.0)
    assert made.plant.position_mm == pytest.approx(3.0, abs=1.0)
    assert any("Resting" in line for line in made.talk) == (left_s < 10.0)


def test_a_long_slow_rod_is_planned_with_its_rests_and_never_spends_more_than_the_budget() -> None:
    """600 mm at 5 mm/s under 25 % in 20 min: the way to both ends takes more than the 300 s that a
    window allows. The plan says so before it starts, and it is kept."""
    made = bench()
    rod = made.machine.rods[1]
    rod.stroke_mm, rod.start_mm = 600.0, 330.0
    rod.motor.constant_v_s_per_mm = (12.0 - 2.0 * rod.motor.friction_extend_a) / 5.0
    made = Bench.of(made.machine)
    seen = Recorder(made)
    job = made.job()
    commission.prepare(job, Label("north", 105.0, 600.0, 0.185, 7.5))
    at_rest = current.measure(job)
    way = polarity.find(job, at_rest)
    before = len(made.talk)
    driven, started_s = sum(seen.on), made.clock.now()
    endpoints.find(job, at_rest, way, 600.0)
    talk = made.talk[before:]
    plan = next(line for line in talk if "Planned" in line)
    said = re.search(r"Planned: (\d+) min (\d+) s .* About (\d) rests?, (\d+) min", plan)
    assert said, plan
    rests = sum("Resting until" in line for line in talk)
    assert 1 <= rests <= int(said[3])
    first_motion = next(index for index, line in enumerate(talk) if "retracted  raw" in line)
    assert talk.index(plan) < first_motion
    took_s = (sum(seen.on) - driven) / TICKS_PER_S
    planned_s = 60 * int(said[1]) + int(said[2])
    assert 300.0 < took_s <= planned_s
    # Bins of the window and the looks of every few seconds cost a little.
    assert made.clock.now() - started_s < planned_s + 1.1 * 60 * int(said[4]) + 60
    assert seen.worst(1200) <= 0.25 * 1200 * TICKS_PER_S
