"""Polarity on the emulated machine: every fault told apart, no wrong answer ever settled."""

import itertools

import pytest
from rodbench.bench import commission, current, edge, polarity
from rodbench.bench.ask import Answers, Asker, Question, Yes
from rodbench.bench.job import Job
from rodbench.bench.label import Label
from rodbench.emulator.plant import Rod
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.errors import NeedsPerson, ProcedureError
from rodbench_protocol.names import AxisState

from .harness import Bench


def machine(**other: object) -> Machine:
    """A sound rod of invented figures in mid travel."""
    rod = Rod(name="rod-1", stroke_mm=120.0, start_mm=60.0)
    for name, value in other.items():
        setattr(rod.motor if name == "reversed" else rod.pot, name, value)
    return Machine(name="test", seed=7, supply=Supply(volts=12.2), rods={1: rod})


def prepared(bench: Bench, asker: Asker | None = None) -> Job:
    job = Job(bench.board, 1, asker or bench.asker(), bench.talk.append)
    commission.prepare(job, Label("north", 105.0, 120.0, 0.185, 5.0))
    return job


def find(job: Job) -> polarity.Polarity:
    return polarity.find(job, edge.leave(job, current.measure(job), 120.0))


def assert_nothing_settled(bench: Bench) -> None:
    """The rod stands, the axis is uncalibrated, nothing is stored."""
    bench.board.sleep(0.3)
    assert bench.plant.speed_mm_s == 0.0
    live = bench.board.read_scope(1)
    assert live["calibrated"] == 0
    assert live["motor_reversed"] == 0
    assert bench.board.digests()["stored"] == 0


@pytest.mark.parametrize("motor_reversed", [False, True])
@pytest.mark.parametrize("falls", [False, True])
def test_four_ways_of_wiring(motor_reversed: bool, falls: bool) -> None:
    pot = {"retracted": 0.9, "extended": 0.1} if falls else {"retracted": 0.1, "extended": 0.9}
    bench = Bench.of(machine(reversed=motor_reversed, **pot))
    found = find(prepared(bench))
    assert (found.motor_reversed, found.pot_falls) == (motor_reversed, falls)
    assert bench.board.read_scope(1)["motor_reversed"] == motor_reversed
    assert bench.board.digests()["stored"] == 0


@pytest.mark.parametrize("start", [0.0, 120.0])
@pytest.mark.parametrize("motor_reversed", [False, True])
@pytest.mark.parametrize("kind", ["switch", "hard"])
def test_a_rod_that_stands_at_an_end(start: float, motor_reversed: bool, kind: str) -> None:
    made = machine(reversed=motor_reversed)
    made.rods[1].start_mm = start
    made.rods[1].ends.kind = kind
    assert find(prepared(Bench.of(made))).motor_reversed == motor_reversed


@pytest.mark.parametrize(
    ("fault", "value", "words"),
    [
        ("pot_open", None, "bottom of its scale"),
        ("pot_short", 1.0, "top of its scale"),
        ("pot_short", 0.0, "bottom of its scale"),
        ("motor_open", None, "motor lead"),
        ("pot_frozen", None, "did not follow|every pot reading was the same"),
    ],
)
def test_faults_are_recognised_and_nothing_is_settled(
    fault: str, value: float | None, words: str
) -> None:
    bench = Bench.of(machine())
    job = prepared(bench)
    bench.emulated.rig.set_fault(fault, 1, value)
    bench.board.sleep(0.2)
    with pytest.raises(ProcedureError, match=words) as caught:
        find(job)
    assert caught.value.exit_code == 12
    assert caught.value.hint
    assert_nothing_settled(bench)


def test_a_frozen_pot_without_noise_is_called_stuck() -> None:
    made = machine(noise_lsb=0.0)
    bench = Bench.of(made)
    job = prepared(bench)
    bench.emulated.rig.set_fault("pot_frozen", 1)
    with pytest.raises(ProcedureError, match="every pot reading was the same"):
        find(job)
    assert_nothing_settled(bench)


def test_a_quiet_sound_pot_is_not_called_stuck() -> None:
    bench = Bench.of(machine(noise_lsb=0.0))
    job = prepared(bench)
    assert find(job).motor_reversed is False


def test_a_jammed_rod_blames_neither_pot_nor_leads() -> None:
    made = machine()
    made.rods[1].motor.friction_extend_a = made.rods[1].motor.friction_retract_a = 50.0
    bench = Bench.of(made)
    with pytest.raises(ProcedureError, match="jammed"):
        find(prepared(bench))
    assert_nothing_settled(bench)


WAYS = ["out", "in", "still", "not seen"]
TRUE = {"run_a": "out", "run_b": "in"}  # of the rod that machine() makes


@pytest.mark.parametrize(("a", "b"), list(itertools.product(WAYS, WAYS)))
def test_wrong_contradictory_and_unseen_answers_settle_nothing(a: str, b: str) -> None:
    bench = Bench.of(machine())
    job = prepared(bench, Asker(Answers({"run_a": a, "run_b": b}), Yes()))
    if (a, b) == ("out", "in"):
        assert find(job).motor_reversed is False
        return
    if (a, b) == ("in", "out"):
        # Both wrong alike cannot be told from a reversed motor here: the third look tells.
        assert find(job).motor_reversed is True
        assert bench.board.digests()["stored"] == 0
        return
    with pytest.raises(ProcedureError):
        find(job)
    assert_nothing_settled(bench)


def test_the_runs_are_made_again_once_before_giving_up() -> None:
    asked = []

    class Forgetful:
        def answer(self, question: Question) -> str | None:
            asked.append(question.id)
            return "not seen" if len(asked) <= 2 else TRUE[question.id]

    bench = Bench.of(machine())
    assert find(prepared(bench, Asker(Forgetful()))).motor_reversed is False
    assert asked == ["run_a", "run_b"] * 2


def test_without_a_person_the_rod_is_stopped_and_nothing_settled() -> None:
    bench = Bench.of(machine())
    with pytest.raises(NeedsPerson, match="a person must look"):
        find(prepared(bench, Asker(Yes())))
    assert_nothing_settled(bench)


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
def test_whatever_breaks_the_run_stops_the_rod(error: type[BaseException]) -> None:
    bench = Bench.of(machine())
    job = prepared(bench)
    at_rest = current.measure(job)

    def breaks(sample: object) -> None:
        if getattr(sample, "state", None) == AxisState.JOG and bench.plant.speed_mm_s:
            raise error("in the middle")

    bench.board.listeners.append(breaks)
    with pytest.raises(error):
        polarity.find(job, at_rest)
    bench.board.listeners.remove(breaks)
    assert_nothing_settled(bench)


@pytest.mark.parametrize("zero_v", [0.0, 0.5, 1.2])
def test_a_sensor_with_an_offset_leaves_room_for_the_trip(zero_v: float) -> None:
    made = machine()
    made.rods[1].sensor.v_per_a = 0.6
    made.rods[1].sensor.zero_v = zero_v
    bench = Bench.of(made)
    job = Job(bench.board, 1, bench.asker(), bench.talk.append)
    commission.prepare(job, Label("north", 105.0, 120.0, 0.6, 15.0))
    found = current.measure(job)
    assert found.current_zero_raw4 == pytest.approx(zero_v / 5.0 * 4092, abs=8)
    assert bench.board.read_scope(1)["trip_ma"] <= (4.3 - zero_v) / 0.6 * 1000


@pytest.mark.parametrize("zero_v", [2.5, 4.8])
def test_a_sensor_that_rests_far_above_zero_is_refused(zero_v: float) -> None:
    made = machine()
    made.rods[1].sensor.zero_v = zero_v
    bench = Bench.of(made)
    with pytest.raises(ProcedureError, match="V at rest; a one-sided sensor rests near 0"):
        current.measure(prepared(bench))
