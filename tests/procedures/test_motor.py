"""`measure motor` against the plant's truth; `python -m tests.procedures.motor`: for many."""

from __future__ import annotations

import pytest
from rodbench.bench import motor
from rodbench.bench.ask import Answers, Asker, Yes
from rodbench.bench.job import Job
from rodbench.board import AxisSample, Sample
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import Interrupted, NeedsPerson, ProcedureError, UsageError
from rodbench.science.motor_report import checks, never_trips
from rodbench.settings.units import Units
from rodbench.show.motor import sentences

from .motor import GRAVITY, calibrated, job_of, measured

STROKE_MM = (40.0, 60.0)  # short, so that it takes little


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_resistance_speed_and_stall_are_those_of_the_plant(seed: int) -> None:
    """Within 5 %, 2 % and 8 %; one truth in twenty may lie outside its interval, two of a rod's
    three not."""
    made = random_machine(seed, stroke_mm=STROKE_MM)
    seen = measured(seed, made)
    assert not seen.failed
    assert not seen.refused
    assert seen.beyond == []
    names = ("resistance_ohm", "constant_v_s_per_mm", "stall_a")
    assert sum(seen.inside(name) for name in names) >= 2
    assert all(seen.report.figures[name].share < 0.05 for name in names if seen.report)


def test_a_load_that_grows_along_the_way_is_no_friction_that_grows_with_speed() -> None:
    """A spring: fast runs whose middle lay further on than that of slow ones told 2.3 % less
    friction at standstill than there is, ten sigma of what was said."""
    made = random_machine(9017)
    assert made.rods[1].load.kind == "spring"
    seen = measured(9017, made)
    assert not seen.failed
    assert seen.inside("friction_extend_a")
    assert seen.inside("dead_zone_extend")


def test_a_weight_tells_the_efficiency_and_which_way_it_pulls() -> None:
    made = random_machine(4, stroke_mm=STROKE_MM)
    rod = made.rods[1]
    rod.load.kind, rod.load.force_n = "constant", 0.0
    stall = made.supply.volts / rod.motor.resistance_ohm
    newton_per_a = 1000.0 * rod.motor.constant_v_s_per_mm
    kilograms = 0.15 * stall * rod.screw.efficiency * newton_per_a / GRAVITY
    seen = measured(4, made, hang_weight=f"{kilograms:.3f}", motor_turn="0.2 mm")
    assert not seen.failed
    report = seen.report
    assert report is not None
    assert report.lifted == "extend"
    assert report.force_n == pytest.approx(kilograms * GRAVITY, rel=1e-3)
    drive = report.figures["drive_efficiency"]
    assert drive.best == pytest.approx(rod.screw.efficiency, rel=0.03)
    assert drive.holds(rod.screw.efficiency)
    assert seen.beyond == []
    assert any("Nobody under it" in line for line in seen.talk), "said before it is hung"
    text = "\n".join(sentences(report, Units("mm")))
    assert "V per rad/s" in text
    assert f"{report.force_n:.0f} N takes" in text


def test_without_a_current_sensor_it_says_what_cannot_be_told() -> None:
    made = random_machine(5, stroke_mm=STROKE_MM)
    made.rods[1].sensor.kind = "none"
    seen = measured(5, made, {"current_sensor": 0})
    assert not seen.failed
    report = seen.report
    assert report is not None
    assert "resistance_ohm" not in report.figures
    for name in ("full_speed_extend_mm_s", "full_speed_retract_mm_s"):
        assert seen.error(name) < 0.02
    for name in ("dead_zone_extend", "dead_zone_retract"):
        assert report.figures[name].best == pytest.approx(seen.truth[name], abs=0.01)
    text = "\n".join(sentences(report, Units("in")))
    assert "cannot be" in text
    assert "in/s for each V" in text
    assert "A extend" not in text


def test_a_sensor_that_is_not_there_is_no_resistance() -> None:
    made = random_machine(5, stroke_mm=STROKE_MM)
    made.rods[1].sensor.kind = "none"
    seen = measured(5, made)
    assert "reads next to nothing" in seen.failed


def test_a_sensor_too_coarse_is_said_to_be_before_anything_moves() -> None:
    made = random_machine(6, stroke_mm=STROKE_MM)
    made.rods[1].sensor.v_per_a = 0.01
    bench = calibrated(made)
    job = job_of(bench)
    moved: list[Sample] = []
    bench.board.listeners.append(
        lambda s: moved.append(s) if isinstance(s, AxisSample) and s.output else None
    )
    bench.talk.clear()
    job.say = lambda text: bench.talk.append(f"{text}{' (moved)' if moved else ''}")
    refusing(job)
    with pytest.raises(ProcedureError, match="caution"):
        motor.measure(job)
    (said,) = [line for line in bench.talk if "Too coarse to tell" in line]
    assert "(moved)" not in said
    assert not moved


def refusing(job: Job) -> None:
    """A person who answers, and takes no caution."""
    given = {"hang_weight": "none", "motor_turn": "not known", "sensor_error": "2 %"}
    job.asker = Asker(Answers(given | {"caution_creep": "no"}))


def test_the_cost_and_the_caution_come_first_and_nothing_is_invented() -> None:
    bench = calibrated(random_machine(1, stroke_mm=STROKE_MM))
    given = {"hang_weight": "none", "motor_turn": "not known"}
    with pytest.raises(NeedsPerson, match="sensor"):
        motor.measure(Job(bench.board, 1, Asker(Answers(given), Yes()), bench.talk.append))
    wrong = Answers(given | {"hang_weight": "3 mm"})
    with pytest.raises(UsageError, match="hang_weight"):
        motor.measure(Job(bench.board, 1, Asker(wrong, Yes()), bench.talk.append))
    bench.talk.clear()
    job = job_of(bench)
    refusing(job)
    with pytest.raises(ProcedureError, match="caution"):
        motor.measure(job)
    planned = next(n for n, line in enumerate(bench.talk) if "Planned" in line)
    assert any("crush" in line for line in bench.talk[planned:])
    assert bench.plant.speed_mm_s == 0.0


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"calibrated": 0}, "not calibrated"),
        ({"full_speed_extend_um_s": 0}, "full speed is not known"),
    ],
)
def test_what_must_be_known_before(changes: dict[str, int], words: str) -> None:
    seen = measured(1, random_machine(1, stroke_mm=STROKE_MM), changes)
    assert words in seen.failed


def test_a_supply_that_is_off_is_named() -> None:
    bench = calibrated(random_machine(1, stroke_mm=STROKE_MM))
    bench.board.write_scope(0, {"supply_ratio_x1000": 2000, "supply_calibrated": 0})
    with pytest.raises(ProcedureError, match="motor supply"):
        motor.measure(job_of(bench))


def test_a_key_stops_the_rod_and_no_setting_was_changed() -> None:
    bench = calibrated(random_machine(2, stroke_mm=STROKE_MM))
    before, driven = bench.board.read_scope(1), 0

    def key(sample: Sample) -> None:
        nonlocal driven
        driven += isinstance(sample, AxisSample) and sample.output != 0.0
        if driven == 60:
            raise Interrupted("a key")

    job = job_of(bench)
    bench.board.listeners.append(key)
    with pytest.raises(Interrupted):
        motor.measure(job)
    bench.board.listeners.remove(key)
    bench.board.sleep(1.0)
    assert bench.plant.speed_mm_s == 0.0
    assert bench.board.read_scope(1) == before


def test_a_bent_pot_with_its_table_gives_the_same_motor() -> None:
    """The table's one point says what the bow makes of mid stroke."""
    made = random_machine(1, stroke_mm=STROKE_MM)
    made.rods[1].pot.bow = 0.02
    bench = calibrated(made)
    middle = round(bench.true_raw(made.rods[1].stroke_mm / 2.0))
    table = {"table_points": 1, "table_raw_1": middle, "table_place_1": 32768}
    seen = measured(1, made, table)
    assert not seen.failed
    assert seen.beyond == []


def test_what_differs_from_the_settings_is_said() -> None:
    made = random_machine(3, stroke_mm=STROKE_MM)
    seen = measured(3, made, {"dead_zone_extend_permille": 20, "stall_ma": 2000})
    report = seen.report
    assert report is not None
    verdicts = {check.what: check.agrees for check in checks(report)}
    assert verdicts["full speed extend"]
    assert not verdicts["stall"]
    assert not verdicts["dead zone extend"]
    assert never_trips(report) == any(
        "never reach it" in line for line in sentences(report, Units("mm"))
    )
