"""Finding the ends on the emulated machine: kinds, binding, loads, and what is not an end."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from rodbench.bench import commission, current, endpoints, polarity
from rodbench.bench.endpoints import Endpoints
from rodbench.bench.label import Label
from rodbench.emulator.plant import Rod
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.errors import Faulted, ProcedureError

from tests import boards

from .harness import Bench

STROKE_MM = 60.0


def machine(change: Callable[[Rod], None] = lambda _: None) -> Machine:
    """A sound, quick rod of invented figures."""
    rod = Rod(name="rod-1", stroke_mm=STROKE_MM, start_mm=20.0)
    rod.motor.constant_v_s_per_mm = 0.9
    change(rod)
    return Machine(name="test", seed=11, supply=Supply(volts=12.2), rods={1: rod})


def find(bench: Bench, sensor: float | None = 0.185, **answers: object) -> Endpoints:
    job = bench.job(**answers)
    commission.prepare(job, Label("north", 105.0, STROKE_MM, sensor, 7.5))
    at_rest = current.measure(job)
    way = polarity.find(job, at_rest)
    return endpoints.find(job, at_rest, way, STROKE_MM)


def assert_nothing_calibrated(bench: Bench) -> None:
    bench.board.sleep(0.3)
    assert bench.plant.speed_mm_s == 0.0
    assert bench.board.read_scope(1)["calibrated"] == 0
    assert bench.board.digests()["stored"] == 0


@pytest.mark.parametrize(
    ("kind", "word"), [("switch", "end-switch"), ("hard", "stall"), ("clutch", "stall")]
)
def test_ends_and_their_kinds(kind: str, word: str) -> None:
    def ends(rod: Rod) -> None:
        rod.ends.kind = kind
        rod.ends.clutch_a = 3.5

    bench = Bench.of(machine(ends))
    found = find(bench)
    assert found.kinds == (word, word)
    for raw, place in zip(found.raw, (0.0, STROKE_MM), strict=True):
        assert abs(raw - bench.true_raw(place)) < 0.005 * abs(found.span_raw)
    assert found.file_only()["rods.end_extended"] == word


def test_provisional_soft_stops_are_live_and_not_stored() -> None:
    bench = Bench.of(machine())
    find(bench)
    live = bench.board.read_scope(1)
    assert live["calibrated"] == 1
    assert (live["soft_stop_min_um"], live["soft_stop_max_um"]) == (3000, 57000)
    assert bench.board.digests()["stored"] == 0
    bench.board.restart()
    assert bench.board.read_scope(1)["calibrated"] == 0


def test_without_a_sensor_the_kind_stays_unknown_and_the_ends_are_found() -> None:
    bench = Bench.of(machine())
    found = find(bench, None)
    assert found.kinds == ("unknown", "unknown")
    assert "no current sensor" in found.reasons[0]
    for raw, place in zip(found.raw, (0.0, STROKE_MM), strict=True):
        assert abs(raw - bench.true_raw(place)) < 0.005 * abs(found.span_raw)


@pytest.mark.parametrize(("kind", "word"), [("switch", "end-switch"), ("hard", "stall")])
def test_a_coarse_sensor_never_gives_a_kind(kind: str, word: str) -> None:
    def coarse(rod: Rod) -> None:
        rod.ends.kind = kind
        rod.sensor.v_per_a = V_PER_A

    bench = Bench.of(machine(coarse))
    found = find(bench, V_PER_A)
    # by the plant: two and a half steps of 10 bits, fifteen of 12 bits
    steps = bench.plant.rod.motor.friction_extend_a * V_PER_A / boards.step_v()
    if steps < 6.0:
        assert found.kinds == ("unknown", "unknown")
        assert "too coarse" in found.reasons[0]
    else:
        assert found.kinds == (word, word)


V_PER_A = 0.010


def test_a_load_that_grows_is_no_end() -> None:
    """A spring stops creep in mid travel; pressed harder, the rod goes on to the true end."""

    def spring(rod: Rod) -> None:
        rod.load.kind = "spring"
        rod.load.spring_n_per_mm = 15.0
        rod.screw.efficiency = 0.6
        rod.screw.back_efficiency = -0.5
        rod.ends.kind = "hard"

    bench = Bench.of(machine(spring))
    found = find(bench)
    assert any("that was no end" in line or "did not start" in line for line in bench.talk)
    assert abs(found.raw[1] - bench.true_raw(STROKE_MM)) < 0.005 * abs(found.span_raw)


def test_the_third_look_catches_two_answers_that_are_wrong_alike() -> None:
    """A person who is wrong twice the same way says what a reversed motor would show."""
    bench = Bench.of(machine())
    with pytest.raises(ProcedureError, match="should be the retracted one"):
        find(bench, run_a="in", run_b="out")
    assert_nothing_calibrated(bench)


@pytest.mark.parametrize("seen", ["out", "still", "not seen"])
def test_an_end_that_was_not_seen_rightly_ends_it(seen: str) -> None:
    bench = Bench.of(machine())
    with pytest.raises(ProcedureError, match="was seen"):
        find(bench, run_to_end=seen)
    assert_nothing_calibrated(bench)


def test_a_rod_that_binds_now_here_now_there_has_no_end() -> None:
    bench = Bench.of(machine())
    further = itertools.cycle([2.5, 0.5, 1.6])
    turned = [True]

    def bind(sample: object) -> None:
        """Each time the rod turns to extend, it meets something, sooner or later."""
        if bench.plant.speed_mm_s < 0:
            turned[0] = True
        elif bench.plant.speed_mm_s > 0 and turned[0] and bench.plant.position_mm > 25:
            turned[0] = False
            bench.emulated.rig.clear_fault("jam", 1)
            bench.emulated.rig.set_fault("jam", 1, bench.plant.position_mm + next(further))

    bench.board.listeners.append(bind)
    with pytest.raises(ProcedureError, match="binds there"):
        find(bench)
    bench.board.listeners.clear()
    assert_nothing_calibrated(bench)


def test_an_obstacle_that_gives_way_is_not_taken_for_the_end() -> None:
    bench = Bench.of(machine())
    met = []

    def give_way(sample: object) -> None:
        if not met and bench.plant.speed_mm_s > 0 and 30 < bench.plant.position_mm < 39:
            bench.emulated.rig.set_fault("jam", 1, 40.0)
            met.append(True)
        elif met and bench.plant.speed_mm_s < 0:
            bench.emulated.rig.clear_fault("jam", 1)

    bench.board.listeners.append(give_way)
    found = find(bench)
    assert met
    assert abs(found.raw[1] - bench.true_raw(STROKE_MM)) < 0.005 * abs(found.span_raw)


def test_a_pot_that_opens_on_the_way_stops_the_rod_and_says_so() -> None:
    bench = Bench.of(machine())

    def break_wire(sample: object) -> None:
        if bench.plant.position_mm > 30 and not bench.plant.faults:
            bench.emulated.rig.set_fault("pot_open", 1)

    bench.board.listeners.append(break_wire)
    with pytest.raises(Faulted, match="pot open") as caught:
        find(bench)
    assert caught.value.exit_code == 8
    bench.board.listeners.clear()
    assert_nothing_calibrated(bench)


def test_a_seek_that_the_duty_budget_ends_goes_on_after_a_rest() -> None:
    bench = Bench.of(machine())
    bench.board.write_scope(1, {"duty_share_permille": 100, "duty_window_s": 120})
    found = find(bench)
    assert any("Resting" in line for line in bench.talk)
    assert any("budget is spent" in line for line in bench.talk) or bench.clock.now() > 100
    assert abs(found.raw[1] - bench.true_raw(STROKE_MM)) < 0.005 * abs(found.span_raw)


@pytest.mark.parametrize(("stall_s", "goes_on"), [(0.6, True), (3.0, False)])
def test_a_busy_computer_goes_on_and_a_suspended_one_does_not(
    stall_s: float, goes_on: bool
) -> None:
    """While the host stands still the board stops the rod; nobody may be surprised afterwards."""
    bench = Bench.of(machine())
    stood = []

    def stand_still(sample: object) -> None:
        if not stood and bench.plant.speed_mm_s > 0 and bench.plant.position_mm > 30:
            stood.append(True)
            bench.clock.sleep(stall_s)
            assert bench.plant.speed_mm_s == 0.0

    bench.board.listeners.append(stand_still)
    if goes_on:
        assert find(bench).kinds == ("end-switch", "end-switch")
        assert any("stood still" in line for line in bench.talk)
    else:
        with pytest.raises(ProcedureError, match="silence"):
            find(bench)
        assert_nothing_calibrated(bench)
    assert stood
