"""Current sensors at rest, of each kind, against the volts that the plant puts on the input."""

from __future__ import annotations

import re

import pytest
from rodbench.bench import commission, current
from rodbench.bench.current import AtRest
from rodbench.bench.label import Label
from rodbench.emulator.plant import Rod, Sensor
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.errors import ProcedureError
from rodbench_protocol.names import CurrentSensor

from tests import boards

from .harness import Bench

VOLTS = boards.reference_v()  # of the board's own supply; what follows is a share of it
FULL = boards.kind().current_full_scale
CONVERSIONS = FULL / boards.kind().supply_full_scale  # summed; so much is one step
WITHIN = CONVERSIONS / 2 + 1  # of a zero: a converter cuts off, and the zero is a whole number


def bench(sensor: Sensor, reference_v: float = VOLTS) -> Bench:
    rod = Rod(name="rod-1", stroke_mm=60.0, start_mm=30.0, sensor=sensor)
    made = Machine(name="current", seed=4, supply=Supply(volts=12.2), rods={1: rod})
    made.board.kind = boards.kind().word
    made.board.boot_ms, made.board.reference_v = 50.0, reference_v
    return Bench.of(made)


def measured(made: Bench, kind: CurrentSensor, fuse_a: float = 30.0) -> AtRest:
    sensor = made.machine.rods[1].sensor
    label = Label(
        "north", 105.0, 60.0, sensor.v_per_a, fuse_a, sensor=kind, ratiometric=sensor.ratiometric
    )
    job = made.job()
    commission.prepare(job, label)
    return current.measure(job)


@pytest.mark.parametrize("zero", [0.38, 0.5, 0.6])
def test_a_centred_sensor_is_measured_where_it_rests(zero: float) -> None:
    zero_v = zero * VOLTS
    made = bench(Sensor("centred", v_per_a=0.1, zero_v=zero_v, noise_lsb=1.0))
    found = measured(made, CurrentSensor.CENTRED)
    assert found.current_zero_raw4 == pytest.approx(zero * FULL, abs=WITHIN)
    # Each conversion has 1 step rms of noise.
    noise_a = boards.step_v() / 0.1 / CONVERSIONS**0.5
    assert found.current_noise_a == pytest.approx(noise_a, rel=0.25)
    live = made.board.read_scope(1)
    assert live["current_zero"] == found.current_zero_raw4
    assert live["current_uv_per_ma"] == 100
    # The trip stays within what the nearer end of the converter leaves.
    side_v = min(zero_v, VOLTS - zero_v)
    assert 0.8 * side_v / 0.1 < live["trip_ma"] / 1000 < side_v / 0.1


@pytest.mark.parametrize("zero", [0.01, 0.3, 0.72, 0.98])
def test_what_rests_elsewhere_is_no_centred_sensor(zero: float) -> None:
    zero_v = zero * VOLTS
    made = bench(Sensor("centred", v_per_a=0.1, zero_v=zero_v))
    with pytest.raises(ProcedureError, match="V at rest; a centred sensor rests near") as caught:
        measured(made, CurrentSensor.CENTRED)
    (reads,) = re.findall(r"reads (\d\.\d\d) V", str(caught.value))
    assert float(reads) == pytest.approx(zero_v, abs=0.011)
    assert "one-sided" in (caught.value.hint or "")


@pytest.mark.parametrize("zero", [0.34, 0.5])
def test_what_rests_near_half_is_no_one_sided_sensor(zero: float) -> None:
    made = bench(Sensor("centred", v_per_a=0.1, zero_v=zero * VOLTS))
    with pytest.raises(ProcedureError, match="a one-sided sensor rests near 0 V") as caught:
        measured(made, CurrentSensor.ONE_SIDED)
    assert "centred" in (caught.value.hint or "")
    assert made.board.read_scope(1)["current_uv_per_ma"] == 100, "everything is put back"


@pytest.mark.parametrize("ratiometric", [False, True])
@pytest.mark.parametrize("kind", ["one-sided", "centred"])
def test_currents_are_true_beside_a_low_board_supply(kind: str, ratiometric: bool) -> None:
    """The board's own supply is 6 % low by the meter; a ratiometric sensor follows it."""
    zero_v, low_v = VOLTS / 2 if kind == "centred" else 0.1, 0.94 * VOLTS
    sensor = Sensor(kind, v_per_a=0.2, zero_v=zero_v, ratiometric=ratiometric, noise_lsb=0.5)
    made = bench(sensor, reference_v=low_v)
    made.board.write_scope(0, {"board_5v_mv": round(1000 * low_v)})
    kinds = {"one-sided": CurrentSensor.ONE_SIDED, "centred": CurrentSensor.CENTRED}
    found = measured(made, kinds[kind])
    share = zero_v / (VOLTS if ratiometric else low_v)
    assert found.current_zero_raw4 == pytest.approx(share * FULL, abs=WITHIN)
    made.board.write_scope(1, {"creep_output_permille": 400})
    for output in (0.4, -0.4):
        with made.board.axis(1).jog_output(output) as motion:
            motion.wait(0.6)
            told, true = made.board.axis(1).sample().current_a, abs(made.plant.current_a)
        assert told == pytest.approx(true, abs=0.06)
        made.board.sleep(0.3)
