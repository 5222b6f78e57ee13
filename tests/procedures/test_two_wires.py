"""A rod without a pot: what the procedure says of it against what the plant knows."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import fmean

import pytest
from rodbench.bench import commission
from rodbench.bench.two_wires import OF_A_POT, TwoWires
from rodbench.board import AxisSample
from rodbench.emulator.plant import Rod
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import Faulted, ProcedureError, RodbenchError
from rodbench.science.ends import End
from rodbench_protocol.names import AxisState, Ended, Fault
from rodbench_protocol.settings import defaults

from .harness import Bench, MemoryKeeper

KINDS = {"switch": End.SWITCH, "hard": End.STALL}
STROKE_MM = 60.0
NEAR_MM, NEAR_SHARE = 3.0, 0.05  # what "near an end" may mean


@dataclass
class Watch:
    """The plant's own clock: how long each run at full output took from one end to the other, and
    whether the board ever said an end that was not there."""

    bench: Bench
    times_s: dict[int, list[float]] = field(default_factory=lambda: {1: [], -1: []})
    lies: list[str] = field(default_factory=list)
    full_ticks: int = 0
    on: list[bool] = field(default_factory=list)
    _began: int = 0
    _from: float = 0.0
    _way: int = 0
    _there: bool = False
    _state: int = 0

    def __post_init__(self) -> None:
        self.bench.clock.attach(self.look)
        self.bench.board.listeners.append(self.hear)

    def look(self, _: int) -> None:
        """Once a tick."""
        plant, drive = self.bench.plant, int(self.bench.emulated.outputs.drive[0])
        way = (drive > 0) - (drive < 0)
        if plant.rod.motor.reversed:
            way = -way
        self.on.append(bool(drive))
        self.full_ticks += abs(drive) >= 1000
        if way != self._way:
            self._way, self._began, self._from = way, len(self.on), plant.position_mm
            self._there = False
        stroke = plant.rod.stroke_mm
        left = stroke - plant.position_mm if way > 0 else plant.position_mm
        if way and left < 0.01 and not self._there:
            self._there = True
            whole = abs(plant.position_mm - self._from) > stroke - 2.0
            if whole and self._state == AxisState.RUN:
                self.times_s[way].append((len(self.on) - self._began) * 0.005)

    def hear(self, sample: object) -> None:
        """Each sample."""
        if not isinstance(sample, AxisSample) or sample.axis != 1:
            return
        self._state = sample.state
        if sample.place in (None, "between"):
            return
        at, stroke = self.bench.plant.position_mm, self.bench.plant.rod.stroke_mm
        off = at if sample.place == "retracted" else stroke - at
        if off > max(NEAR_MM, NEAR_SHARE * stroke):
            self.lies.append(f"said near {sample.place} at {at:.1f} of {stroke:.1f} mm")


def two_wires(stroke_mm: float = STROKE_MM, start_mm: float = 25.0, **other: object) -> Machine:
    """A sound, quick rod of invented figures, without a pot."""
    rod = Rod(name="rod-1", stroke_mm=stroke_mm, start_mm=start_mm)
    rod.pot.fitted = False
    rod.motor.constant_v_s_per_mm = 0.6
    for name, value in other.items():
        part = {"kind": rod.ends, "reversed": rod.motor, "friction_extend_a": rod.motor}[name]
        setattr(part, name, value)
    return Machine(name="two wires", seed=5, supply=Supply(volts=12.2), rods={1: rod})


def run(bench: Bench, **answers: object) -> TwoWires:
    given = {"wires": "motor only", "mounting": "bench"} | answers
    done = commission.run(bench.job(**given), MemoryKeeper(bench.board))
    assert isinstance(done, TwoWires)
    return done


def refused(bench: Bench, words: str, **answers: object) -> RodbenchError:
    """The error; the rod stands and nothing is stored."""
    with pytest.raises((ProcedureError, Faulted), match=words) as caught:
        run(bench, **answers)
    bench.board.sleep(0.5)
    assert bench.plant.speed_mm_s == 0.0
    assert bench.board.digests()["stored"] == 0
    assert caught.value.hint
    return caught.value


def in_state(bench: Bench, state: AxisState, act: Callable[[], None], after: int = 30) -> None:
    """Do something once, that many samples after the axis was first seen in a state."""
    seen = 0

    def hear(sample: object) -> None:
        nonlocal seen
        if isinstance(sample, AxisSample) and sample.state == state:
            seen += 1
            if seen == after:
                act()

    bench.board.listeners.append(hear)


@pytest.mark.parametrize("seed", range(1, 13))
def test_random_rods_are_timed_as_they_are(seed: int) -> None:
    machine = random_machine(seed, stroke_mm=(25.0, 70.0))
    rod = machine.rods[1]
    rod.pot.fitted = False
    bench = Bench.of(machine)
    watch = Watch(bench)
    done = run(bench)
    assert done.direction.motor_reversed == rod.motor.reversed
    assert done.strokes is not None
    assert done.strokes.kinds == (KINDS[rod.ends.kind],) * 2
    for index, way in enumerate((1, -1)):
        true_s = fmean(watch.times_s[way][:2])
        assert done.strokes.time_s[index] == pytest.approx(true_s, rel=0.03, abs=0.03), watch
        assert done.strokes.speed_mm_s[index] == pytest.approx(rod.stroke_mm / true_s, rel=0.04)
        key = f"stroke_time_{'extend' if way > 0 else 'retract'}_cs"
        assert done.settings[key] == pytest.approx(100 * true_s, rel=0.03, abs=3)
    assert not watch.lies
    assert done.trial is not None


def test_the_board_holds_what_was_learned_and_nothing_of_a_pot() -> None:
    bench = Bench.of(two_wires(reversed=True))
    done = run(bench)
    live = bench.board.read_scope(1)
    assert live == done.settings
    assert (live["feedback"], live["calibrated"], live["motor_reversed"]) == (2, 0, 1)
    known = defaults("axis")
    assert {key: live[key] for key in OF_A_POT} == {key: known[key] for key in OF_A_POT}
    assert bench.board.digests()["stored"] == done.digest
    assert done.file_only["rods.end_extended"] == "end-switch"
    stall_a = 12.2 / bench.plant.rod.motor.resistance_ohm
    assert max(done.strokes.held_peak_a) < done.limits.trip_a < stall_a  # type: ignore[union-attr, operator]
    said = "\n".join(bench.talk)
    assert "No soft stops, no positions, no gang" in said
    assert "to both ends" in said


@pytest.mark.parametrize("start", [0.0, STROKE_MM])
@pytest.mark.parametrize("kind", ["switch", "hard"])
def test_a_rod_that_starts_at_an_end(start: float, kind: str) -> None:
    bench = Bench.of(two_wires(start_mm=start, kind=kind, reversed=start > 0.0))
    watch = Watch(bench)
    done = run(bench)
    assert done.strokes is not None
    assert done.strokes.kinds == (KINDS[kind],) * 2
    assert done.direction.motor_reversed == (start > 0.0)
    assert not watch.lies


WAYS = ["out", "in", "still", "not seen"]


@pytest.mark.parametrize(("a", "b"), list(itertools.product(WAYS, WAYS)))
def test_wrong_and_contradictory_answers_are_never_stored(a: str, b: str) -> None:
    if (a, b) == ("out", "in"):
        return  # the truth, and other tests
    bench = Bench.of(two_wires())
    words = "all the way out" if (a, b) == ("in", "out") else "nobody saw|both go|stand still"
    refused(bench, words, run_a=a, run_b=b)


@pytest.mark.parametrize("end", ["end_retracted", "end_extended"])
@pytest.mark.parametrize("answer", ["between", "not seen", "the other"])
def test_an_end_that_nobody_confirms_is_none(end: str, answer: str) -> None:
    other = "all the way out" if end == "end_retracted" else "all the way in"
    words = {"between": "that is no end", "not seen": "nobody saw"}.get(answer, f"stands {other}")
    given = other if answer == "the other" else answer
    refused(Bench.of(two_wires()), words, **{end: given})


def test_an_open_lead_is_named() -> None:
    bench = Bench.of(two_wires())
    bench.emulated.rig.set_fault("motor_open", 1)
    refused(bench, "neither run drew current: motor lead, fuse, driver or its supply is open")


@pytest.mark.parametrize("kind", ["switch", "hard"])
@pytest.mark.parametrize("state", [AxisState.SEEK, AxisState.RUN])
def test_a_jam_half_way_is_never_called_an_end(kind: str, state: AxisState) -> None:
    bench = Bench.of(two_wires(kind=kind))
    rig = bench.emulated.rig
    in_state(bench, state, lambda: rig.set_fault("jam", 1, 30.0))
    words = "held on its way" if (kind, state) == ("switch", AxisState.RUN) else "that is no end"
    refused(bench, words)


def test_a_supply_that_sags_between_runs_gives_no_time() -> None:
    bench = Bench.of(two_wires())
    rig, runs = bench.emulated.rig, set[int]()

    def hear(sample: object) -> None:
        if isinstance(sample, AxisSample) and sample.state == AxisState.RUN:
            runs.add(sample.motion)
            if len(runs) == 3:
                rig.set_fault("supply_sag", 0, 10.0)

    bench.board.listeners.append(hear)
    refused(bench, "took|no end")


def test_long_strokes_rest_and_never_spend_more_than_the_budget() -> None:
    machine = two_wires(stroke_mm=40.0, start_mm=20.0)
    machine.rods[1].motor.constant_v_s_per_mm = 1.2
    bench = Bench.of(machine)
    bench.board.write_scope(1, {"duty_share_permille": 200, "duty_window_s": 60})
    watch = Watch(bench)
    refused(bench, "the proposal was left", accept="leave")  # which would set another budget
    assert len(watch.times_s[1]) == len(watch.times_s[-1]) == 2
    assert any("rest" in line for line in bench.talk)
    window = 60 * 200
    sums = list(itertools.accumulate(watch.on, initial=0))
    worst = max(b - a for a, b in zip(sums, sums[window:], strict=False))
    assert worst <= 0.2 * window


def test_a_stroke_that_no_budget_allows_is_said_so() -> None:
    bench = Bench.of(two_wires(start_mm=5.0))
    bench.board.write_scope(1, {"duty_share_permille": 50, "duty_window_s": 60})
    refused(bench, "duty budget")


@pytest.mark.parametrize("motor_reversed", [False, True])
def test_without_a_current_sensor_it_is_hold_to_run(motor_reversed: bool) -> None:
    machine = two_wires(reversed=motor_reversed)
    machine.rods[1].sensor.kind = "none"
    bench = Bench.of(machine)
    watch = Watch(bench)
    done = run(bench, current_sensor="none")
    assert (done.strokes, done.trial, done.limits.trip_a) == (None, None, None)
    assert done.direction.motor_reversed == motor_reversed
    live = bench.board.read_scope(1)
    assert (live["feedback"], live["current_sensor"], live["stroke_time_extend_cs"]) == (2, 0, 0)
    assert bench.board.digests()["stored"] == done.digest
    assert watch.full_ticks == 0
    said = "\n".join(bench.talk)
    assert "Hold-to-run only: without pot and current sensor nothing shows an end" in said
    assert "runs while it is held" in said
    assert not watch.times_s[1]


@pytest.mark.parametrize("why", [{"current_sensor": "none"}, {"mounting": "mounted"}])
def test_where_no_run_to_an_end_follows_a_third_look_must_agree(why: dict[str, str]) -> None:
    machine = two_wires()
    if "current_sensor" in why:
        machine.rods[1].sensor.kind = "none"
    refused(Bench.of(machine), "run C", run_a="in", run_b="out", **why)


def test_a_mounted_rod_is_never_run_to_an_end() -> None:
    machine = two_wires()
    mount = machine.rods[1].mount
    mount.min_mm, mount.max_mm = 10.0, 45.0
    bench = Bench.of(machine)
    watch = Watch(bench)
    done = run(bench, mounting="mounted")
    assert done.strokes is None
    assert watch.full_ticks == 0
    assert bench.plant.mount_pressed_a == 0.0
    assert any("nothing could stop it short of the machine's ends" in t for t in bench.talk)


# ---------------------------------------------------------------- afterwards, on the machine


@pytest.fixture(scope="module", params=["switch", "hard"])
def timed(request: pytest.FixtureRequest) -> Bench:
    bench = Bench.of(two_wires(kind=request.param))
    run(bench)
    return bench


def to_end(bench: Bench, way: int) -> int:
    with bench.board.axis(1).run_to_end(way) as motion:
        outcome = motion.wait(60.0)
    assert outcome is not None
    return outcome.ended if outcome.ended != Ended.FAULT else -outcome.cause


def test_runs_end_at_their_ends_and_a_jam_between_is_a_fault(timed: Bench) -> None:
    watch, axis = Watch(timed), timed.board.axis(1)
    if axis.sample().place == "extended":
        assert to_end(timed, -1) == Ended.END_FOUND
    assert axis.sample().place == "retracted"
    assert to_end(timed, 1) == Ended.END_FOUND
    assert axis.sample().place == "extended"
    timed.emulated.rig.set_fault("jam", 1, 30.0)
    assert to_end(timed, -1) in (-Fault.STALL, -Fault.OVER_CURRENT)
    assert axis.sample().place == "between"
    timed.emulated.rig.clear_fault("jam", 1)
    axis.clear()
    assert not watch.lies
