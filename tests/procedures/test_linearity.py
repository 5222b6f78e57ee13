"""`calibrate linearity` on machines of known truth: a small part of tests.procedures.linearity."""

from __future__ import annotations

import pytest
from rodbench.bench import linearity
from rodbench.bench.linearity import Reading, evaluate, step_sigma
from rodbench.bench.scale import Scale
from rodbench.errors import NeedsPerson, ProcedureError, UsageError
from rodbench_protocol.settings import check, defaults

from .harness import PIN_TO_PIN_MM, Bench
from .linearity import LEAST_GAIN, made, summary
from .pots import calibrated, machine

FEW = (2, 5)
FEWEST_OF_16 = 12
SCALE = Scale(pot=8184, current=4092, steps=1023, reference_v=5.0, nominal_v=5.0)
LIVE = defaults("axis") | {
    "calibrated": 1, "feedback": 1,
    "raw_retracted": 7600, "raw_extended": 600, "stroke_um": 140_000,
}  # fmt: skip


def test_bent_pots_become_straight_and_intervals_hold() -> None:
    found = [made(number) for number in FEW]
    print(summary(found, len(FEW)))
    assert all(one.gain >= LEAST_GAIN for one in found)
    assert all(one.missed <= 1.0 for one in found)
    # Where the ruler begins moves all of a machine's intervals together.
    assert sum(one.held["deviation"][0] for one in found) >= FEWEST_OF_16
    assert all(one.found.accepted for one in found)


def readings(deviation: dict[int, float], play: float = 0.0) -> list[Reading]:
    """Two visits a way of 6 places 20 mm apart; the ruler scatters by +-0.01 mm."""
    return [
        Reading(n, way, 7600.0 - 50.0 * mm, 1.0, mm + deviation.get(mm, 0.0) + way * play / 2 + off)
        for n, mm in enumerate(range(20, 140, 20))
        for way in (1, -1)
        for off in (-0.01, 0.01)
    ]  # fmt: skip


def test_figures_by_hand() -> None:
    """One place 1.4 mm aside: terminal linearity is 1.4 mm of 140 mm, or 1 % of 7000 of 8184 raw.
    The pooled sigma of pairs 0.02 mm apart is 0.02 / sqrt 2."""
    found = evaluate(readings({60: 1.4}, play=0.3), LIVE, SCALE, 0.02)
    assert found.terminal_percent == pytest.approx(70 / 8184 * 100, rel=0.02)
    assert max(found.deviation_mm) == pytest.approx(1.4)
    assert found.backlash_mm == pytest.approx(0.3)
    assert found.repeat_mm == pytest.approx(0.02 / 2**0.5)
    assert found.worst_before_mm == pytest.approx(1.4, rel=0.01)
    assert found.worth
    assert "gain above" in found.reason


def test_a_straight_pot_gets_no_table() -> None:
    found = evaluate(readings({60: 0.005}), LIVE, SCALE, 0.05)
    assert not found.worth
    assert "no more than what the readings cannot tell" in found.reason
    assert found.notes() == {}


def test_a_table_in_force_is_what_a_new_one_must_better() -> None:
    bent = readings({40: 0.7, 60: 1.4, 80: 1.4, 100: 0.7})
    first = evaluate(bent, LIVE, SCALE, 0.05)
    values = linearity.pot_table.of_points(
        list(zip(first.table_raw, first.table_mm, strict=True)), LIVE["stroke_um"]
    )
    assert not check("axis", LIVE | values)
    again = evaluate(bent, LIVE | values, SCALE, 0.05)
    assert first.worth
    assert not again.worth
    assert again.worst_before_mm < 0.1


def test_noise_smooths_the_steps_of_the_converter() -> None:
    """8 raw a step: without noise 8 / sqrt 12; with a step of noise next to nothing."""
    quiet = [Reading(0, 1, 100.0, 0.0, 1.0)]
    noisy = [Reading(0, 1, 100.0, 8.0**0.5, 1.0)]
    assert step_sigma(quiet, 8.0) == pytest.approx(2.3094, abs=1e-4)
    assert step_sigma(noisy, 8.0) < 1e-6


def bench() -> Bench:
    return calibrated(machine(3, 40.0))


def test_a_slip_of_the_ruler_is_refused_where_it_is_made() -> None:
    at = bench()
    with pytest.raises(UsageError, match="read it again"):
        linearity.measure(at.job(ruler_out_1_2="9 mm"), PIN_TO_PIN_MM, stops=3)
    at.board.sleep(0.5)
    assert at.plant.speed_mm_s == 0.0
    assert at.board.read_scope(1)["table_points"] == 0


def test_nobody_answers_for_the_ruler() -> None:
    at = bench()
    job = at.job()
    job.asker.sources = job.asker.sources[:2]
    with pytest.raises(NeedsPerson, match="ruler_error"):
        linearity.measure(job, PIN_TO_PIN_MM)
    assert at.plant.position_mm == pytest.approx(at.machine.rods[1].start_mm)


def test_readings_that_no_pot_gives_end_it() -> None:
    found = evaluate(readings({60: 30.0}), LIVE, SCALE, 0.05)
    at = bench()
    job = at.job()
    job.live |= LIVE
    with pytest.raises(ProcedureError, match="no pot does"):
        linearity._decided(job, found)


def test_left_is_left() -> None:
    at = calibrated(machine(3, 40.0, bow=0.05))
    found = linearity.measure(at.job(accept_table="leave"), PIN_TO_PIN_MM, stops=3)
    assert found.worth
    assert not found.accepted
    assert at.board.read_scope(1)["table_points"] == 0
    assert any("Planned:" in line for line in at.talk), "the cost is said"
