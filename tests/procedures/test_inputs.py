"""Calibrate inputs: a person at buttons, stick or pulse, on the emulated board."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from rodbench.bench import inputs
from rodbench.bench.ask import Answers, Asker, Question
from rodbench.bench.job import Job
from rodbench.emulator.plant_file import parse
from rodbench.errors import ProcedureError, Refused
from rodbench_protocol.names import LocalAs, LocalSource

from tests import boards
from tests.procedures.harness import Bench

pytestmark = pytest.mark.skipif(boards.kind().axes < 2, reason="no local inputs there")
PLANT = """\
plant_file = 1
[axes.1]
stroke_mm = 40.0
start_mm = 20.0
[axes.1.motor]
constant_v_s_per_mm = 0.8
"""
CALIBRATED = {
    "feedback": 1, "raw_retracted": 819, "raw_extended": 7373, "stroke_um": 40_000,
    "soft_stop_min_um": 2000, "soft_stop_max_um": 38_000, "speed_max_um_s": 8000,
    "acceleration_um_s2": 40_000, "deceleration_um_s2": 40_000, "creep_speed_um_s": 2500,
    "full_speed_extend_um_s": 12_000, "full_speed_retract_um_s": 12_000, "run_on_extend_um": 600,
    "run_on_retract_um": 600, "current_sensor": 1, "current_uv_per_ma": 185, "trip_ma": 3000,
    "calibrated": 1,
}  # fmt: skip
UP, DOWN = 1.0, 0.0
Steps = Mapping[str, tuple[str, float]]
STICK: Steps = {
    "input_rest": ("stick", 0.52),
    "input_extend": ("stick", 0.85),
    "input_retract": ("stick", 0.15),
    "input_rest_again": ("stick", 0.525),
}
PULSE: Steps = {
    "input_rest": ("pulse", 1500.0),
    "input_extend": ("pulse", 1100.0),
    "input_retract": ("pulse", 1900.0),
    "input_rest_again": ("pulse", 1504.0),
}


class Person:
    """Does to the inputs what each question asks for."""

    def __init__(self, bench: Bench, steps: Steps) -> None:
        self.bench, self.steps = bench, steps

    def answer(self, question: Question) -> str | None:
        if question.id in self.steps:
            kind, value = self.steps[question.id]
            self.bench.emulated.rig.set_input(kind, 1, value)
        return "ready" if question.choices == ("ready",) else None


class Buttons(Person):
    """Presses what is named; `swapped`: they are on each other's pin."""

    def __init__(self, bench: Bench, swapped: bool = False) -> None:
        super().__init__(bench, {})
        self.swapped = swapped

    def answer(self, question: Question) -> str | None:
        for button in ("extend", "retract"):
            other = {"extend": "retract", "retract": "extend"}[button] if self.swapped else button
            held = UP if question.id == f"the_{button}_button" else DOWN
            self.bench.emulated.rig.set_input(other, 1, held)
        return super().answer(question)


def bench_with(**more: int) -> Bench:
    bench = Bench.of(parse(PLANT, "x"))
    bench.board.write_scope(1, CALIBRATED | more)
    return bench


def find(bench: Bench, person: Person, source: str, commands: str = "speed") -> inputs.LocalInput:
    given = Answers({"input_source": source, "input_commands": commands})
    job = Job(bench.board, 1, Asker(given, person), bench.talk.append)
    return inputs.find(job)


def test_a_stick_is_captured_and_then_moves_the_rod() -> None:
    bench = bench_with()
    found = find(bench, Person(bench, STICK), "stick")
    assert found.rest == pytest.approx(0.5225 * 1023, abs=2)
    assert found.low_end == pytest.approx(0.15 * 1023, abs=2)
    assert found.high_end == pytest.approx(0.85 * 1023, abs=2)
    assert 6 <= found.rest_band <= 16
    assert not found.blind
    live = bench.board.read_scope(1)
    assert {key: live[key] for key in found.settings()} == found.settings()
    bench.board.axis(1).give_back()
    bench.board.sleep(0.5)
    bench.emulated.rig.set_input("stick", 1, 0.85)
    before = bench.plant.position_mm
    bench.board.sleep(1.5)
    assert bench.plant.position_mm > before + 1.0


def test_a_turned_pulse_as_position() -> None:
    bench = bench_with()
    found = find(bench, Person(bench, PULSE), "pulse", "position")
    assert (found.low_end, found.high_end) == pytest.approx((1900, 1100), abs=4)
    assert found.rest == pytest.approx(1502, abs=3)
    assert bench.board.read_scope(1)["local_as"] == LocalAs.POSITION


def test_nothing_moves_while_a_stick_is_captured_that_had_the_axis() -> None:
    """It belonged to the stick, with ends that the person now passes; and she takes her time."""
    bench = bench_with(local_source=2, local_low_end=150, local_rest=532, local_high_end=870)
    axis = bench.board.axis(1)
    axis.give_back()
    bench.emulated.rig.set_input("stick", 1, 0.52)
    bench.board.sleep(0.5)
    assert axis.sample().armed
    before = bench.plant.position_mm

    class Slow(Person):
        def answer(self, question: Question) -> str | None:
            answer = super().answer(question)
            bench.emulated.step(2500)  # beyond the 10 s after which the input has the axis again
            return answer

    find(bench, Slow(bench, STICK), "stick")
    assert bench.plant.position_mm == pytest.approx(before, abs=0.05)
    assert axis.outcome().motion == 0


def test_a_stick_whose_broken_wire_would_read_as_an_end_is_said() -> None:
    bench = bench_with()
    steps = STICK | {"input_extend": ("stick", 0.99), "input_retract": ("stick", 0.02)}
    assert find(bench, Person(bench, steps), "stick").blind
    assert any("broken wire" in line for line in bench.talk)


@pytest.mark.parametrize(
    ("source", "steps", "said"),
    [
        ("stick", STICK | {"input_extend": ("stick", 0.53)}, "too little apart"),
        ("stick", STICK | {"input_retract": ("stick", 0.9)}, "too little apart"),
        ("pulse", {}, "there is no servo pulse"),
    ],
)
def test_what_cannot_be_told_apart_is_refused_and_nothing_changes(
    source: str, steps: Steps, said: str
) -> None:
    bench = bench_with()
    before = bench.board.read_scope(1)
    with pytest.raises(ProcedureError, match=said):
        find(bench, Person(bench, steps), source)
    assert bench.board.read_scope(1) == before


def test_buttons_are_pressed_one_by_one() -> None:
    bench = bench_with()
    found = find(bench, Buttons(bench), "buttons", "position")
    assert found.settings() == {"local_source": LocalSource.BUTTONS, "local_as": LocalAs.POSITION}


def test_buttons_on_each_others_pins_are_told() -> None:
    bench = bench_with()
    with pytest.raises(ProcedureError, match="the extend button held the board reads retract 1"):
        find(bench, Buttons(bench, swapped=True), "buttons")


def test_an_axis_of_a_stick_refuses_a_host_with_the_way_to_take_it() -> None:
    bench = bench_with(local_source=2, local_low_end=150, local_rest=532, local_high_end=870)
    axis = bench.board.axis(1)
    axis.give_back()
    with pytest.raises(Refused, match="axis 1 is commanded by its stick") as refused:
        axis.jog(2.0)
    assert refused.value.hint == "rodbench local 1 --take"
    axis.take()
    axis.jog(2.0).stop()
    assert axis.outcome().motion == 1
