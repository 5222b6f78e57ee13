"""A rod without a label, on machines whose truth is known: stroke, motor, voltage, and nothing
above the guess on the way."""

from __future__ import annotations

import pytest
from rodbench.bench import commission
from rodbench.bench.job import Job
from rodbench.bench.two_wires import TwoWires
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import ProcedureError, UsageError

from .harness import Bench, MemoryKeeper
from .test_two_wires import two_wires


def salvaged(seed: int) -> tuple[Bench, Job, list[float]]:
    """A bench with a rod, and the volts at its motor, tick by tick."""
    bench = Bench.of(random_machine(seed))
    seen: list[float] = []
    outputs, rig = bench.emulated.outputs, bench.emulated.rig
    bench.clock.attach(lambda _: seen.append(abs(outputs.drive[0]) / 1000.0 * rig.supply_v))
    return bench, bench.job(), seen


@pytest.mark.parametrize("seed", [6, 11])
def test_stroke_motor_and_voltage_are_found(seed: int) -> None:
    bench, job, seen = salvaged(seed)
    keeper = MemoryKeeper(bench.board)
    records: dict[str, dict[str, object]] = {}
    job.record = lambda kind, fields: records.setdefault(kind, dict(fields))
    done = commission.run(job, keeper, no_label=True)
    rod = bench.machine.rods[1]
    assert done.label.stroke_mm == pytest.approx(rod.stroke_mm, abs=0.5)
    found = records["unlabelled"]["found"]
    nominal = 12.0 if bench.machine.supply.volts < 18.0 else 24.0
    assert found.guess is not None
    assert nominal in found.guess.plausible
    assert found.motor.resistance_ohm == pytest.approx(rod.motor.resistance_ohm, rel=0.25)
    assert max(seen) <= max(found.ceiling_v, found.guess.volts) * 1.02
    assert done.settings["calibrated"] == 1
    assert done.file_only["rods.label"] == "unknown"
    assert done.file_only["rods.rated_supply_v"] == found.guess.volts


def test_a_rod_with_two_wires_is_not_driven_above_creep_and_gets_a_guess() -> None:
    bench = Bench.of(two_wires())
    seen: list[float] = []
    bench.clock.attach(lambda _: seen.append(abs(bench.emulated.outputs.drive[0]) / 1000.0))
    job = bench.job(wires="motor only")
    records: dict[str, dict[str, object]] = {}
    job.record = lambda kind, fields: records.setdefault(kind, dict(fields))
    done = commission.run(job, MemoryKeeper(bench.board), no_label=True)
    assert isinstance(done, TwoWires)
    assert done.strokes is not None
    assert max(seen) <= 0.6
    found = records["unlabelled"]["found"]
    rod = bench.machine.rods[1]
    assert found.motor.resistance_ohm == pytest.approx(rod.motor.resistance_ohm, rel=0.25)
    assert 12.0 in found.guess.plausible
    assert done.file_only["rods.label"] == "unknown"


def test_a_mounted_rod_is_not_learned_without_a_label() -> None:
    bench = Bench.of(random_machine(6))
    job = bench.job(mounting="mounted")
    with pytest.raises(ProcedureError, match="free on the bench, not mounted"):
        commission.run(job, MemoryKeeper(bench.board), no_label=True)
    assert bench.board.read_scope(1)["feedback"] == 0


def test_more_than_the_supply_has_cannot_be_asked_for() -> None:
    bench = Bench.of(random_machine(6))
    job = bench.job(run_at="other", run_at_v="230 V")
    with pytest.raises(UsageError, match=r"230 V: .* can be had from this supply"):
        commission.run(job, MemoryKeeper(bench.board), no_label=True)
    assert bench.board.read_scope(1)["calibrated"] == 1  # provisional, until reset
    bench.board.restart()
    assert bench.board.read_scope(1)["feedback"] == 0
