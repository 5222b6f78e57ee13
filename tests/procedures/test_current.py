"""Current sensors at rest, of each kind, against the volts that the plant puts on the input."""

from __future__ import annotations

import pytest
from rodbench.bench import commission, current
from rodbench.bench.current import AtRest
from rodbench.bench.label import Label
from rodbench.emulator.plant import Rod, Sensor
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.errors import ProcedureError
from rodbench_protocol.names import CurrentSensor

from .harness import Bench

STEP_RAW4 = 4.0  # one step of the converter on a current input


def bench(sensor: Sensor, reference_v: float = 5.0) -> Bench:
    rod = Rod(name="rod-1", stroke_mm=60.0, start_mm=30.0, sensor=sensor)
    made = Machine(name="current", seed=4, supply=Supply(volts=12.2), rods={1: rod})
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


@pytest.mark.parametrize("zero_v", [1.9, 2.5, 3.0])
def test_a_centred_sensor_is_measured_where_it_rests(zero_v: float) -> None:
    made = bench(Sensor("centred", v_per_a=0.1, zero_v=zero_v, noise_lsb=1.0))
    found = measured(made, CurrentSensor.CENTRED)
    assert found.current_zero_raw4 == pytest.approx(zero_v / 5.0 * 4092, abs=STEP_RAW4)
    # One step is 49 mA here; four conversions of 1 step rms noise each.
    assert found.current_noise_a == pytest.approx(0.0489 / 2, rel=0.25)
    live = made.board.read_scope(1)
    assert live["current_zero"] == found.current_zero_raw4
    assert live["current_uv_per_ma"] == 100
    # The trip stays within what the nearer end of the converter leaves.
    side_v = min(zero_v, 5.0 - zero_v)
    assert 0.8 * side_v / 0.1 < live["trip_ma"] / 1000 < side_v / 0.1


@pytest.mark.parametrize("zero_v", [0.05, 1.5, 3.6, 4.9])
def test_what_rests_elsewhere_is_no_centred_sensor(zero_v: float) -> None:
    made = bench(Sensor("centred", v_per_a=0.1, zero_v=zero_v))
    with pytest.raises(ProcedureError, match=f"reads {zero_v:.2f} V at rest; a centred") as caught:
        measured(made, CurrentSensor.CENTRED)
    assert "one-sided" in (caught.value.hint or "")


@pytest.mark.parametrize("zero_v", [1.7, 2.5])
def test_what_rests_near_half_is_no_one_sided_sensor(zero_v: float) -> None:
    made = bench(Sensor("centred", v_per_a=0.1, zero_v=zero_v))
    with pytest.raises(ProcedureError, match="a one-sided sensor rests near 0 V") as caught:
        measured(made, CurrentSensor.ONE_SIDED)
    assert "centred" in (caught.value.hint or "")
    assert made.board.read_scope(1)["current_uv_per_ma"] == 100, "everything is put back"


@pytest.mark.parametrize("ratiometric", [False, True])
@pytest.mark.parametrize("kind", ["one-sided", "centred"])
def test_currents_are_true_beside_a_low_board_supply(kind: str, ratiometric: bool) -> None:
    """The board's own supply is 4.7 V by the meter; a ratiometric sensor follows it."""
    zero_v = 2.5 if kind == "centred" else 0.1
    sensor = Sensor(kind, v_per_a=0.2, zero_v=zero_v, ratiometric=ratiometric, noise_lsb=0.5)
    made = bench(sensor, reference_v=4.7)
    made.board.write_scope(0, {"board_5v_mv": 4700})
    kinds = {"one-sided": CurrentSensor.ONE_SIDED, "centred": CurrentSensor.CENTRED}
    found = measured(made, kinds[kind])
    share = zero_v / (5.0 if ratiometric else 4.7)
    assert found.current_zero_raw4 == pytest.approx(share * 4092, abs=STEP_RAW4)
    made.board.write_scope(1, {"creep_output_permille": 400})
    for output in (0.4, -0.4):
        with made.board.axis(1).jog_output(output) as motion:
            motion.wait(0.6)
            told, true = made.board.axis(1).sample().current_a, abs(made.plant.current_a)
        assert told == pytest.approx(true, abs=0.06)
        made.board.sleep(0.3)
