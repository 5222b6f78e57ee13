"""What is in hand: each question in an order that a person can answer, none of them twice."""

from __future__ import annotations

import pytest
from rodbench.bench import label
from rodbench.bench.ask import Answers, Asker, Question
from rodbench.bench.job import Job
from rodbench.bench.keeper import KnownRod
from rodbench.bench.label import Label
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import UsageError
from rodbench.settings.units import Units
from rodbench_protocol.names import CurrentSensor, Driver

from tests import boards

from .harness import Bench, MemoryKeeper

GIVEN: dict[str, object] = {
    "rod": "north",
    "wires": "motor + pot",
    "mounting": "bench",
    "retracted_pin_to_pin": 305,
    "extended_pin_to_pin": 508,
    "driver": "pwm-and-one-direction-line",
    "current_sensor": "one-sided",
    "current_sensor_v_per_a": "185 mV/A",
    "current_sensor_ratiometric": "no",
    "fuse_a": 5,
}


class Asked(Answers):
    """Answers, and what was asked for."""

    def __init__(self, answers: dict[str, object]) -> None:
        super().__init__(answers)
        self.asked: list[str] = []

    def answer(self, question: Question) -> str | None:
        self.asked.append(question.id)
        return super().answer(question)


@pytest.fixture
def bench() -> Bench:
    made = default_machine()
    made.board.boot_ms = 50.0
    return Bench.of(made)


def ask(
    bench: Bench, axis: int = 1, units: str = "mm", known: KnownRod | None = None, **other: object
) -> tuple[Label, list[str]]:
    person = Asked(GIVEN | other)
    keeper = MemoryKeeper(bench.board)
    if known is not None:
        keeper.known["north"] = known
    job = Job(bench.board, axis, Asker(person), bench.talk.append, units=Units(units))
    return label.ask(job, keeper), person.asked


def test_a_rod_on_the_bench(bench: Bench) -> None:
    found, asked = ask(bench)
    assert found == Label(
        "north", 305.0, 203.0, 0.185, 5.0, driver=Driver.PWM_AND_ONE_DIRECTION_LINE
    )
    assert asked == list(GIVEN)


def test_without_a_sensor_nothing_more_is_asked_about_it(bench: Bench) -> None:
    found, asked = ask(bench, current_sensor="none", fuse_a=0)
    assert (found.sensor, found.sensor_v_per_a, found.fuse_a) == (CurrentSensor.NONE, None, None)
    assert not [name for name in asked if name.startswith("current_sensor_")]


def test_bare_lengths_are_inches_where_the_screen_shows_inches(bench: Bench) -> None:
    found, _ = ask(bench, units="in", retracted_pin_to_pin=12, extended_pin_to_pin="508 mm")
    assert found.retracted_pin_to_pin_mm == pytest.approx(304.8)
    assert found.stroke_mm == pytest.approx(203.2)
    assert any("stroke 8.000 in" in line for line in bench.talk)


def test_lengths_of_a_mounted_rod_are_asked_when_it_is_there(bench: Bench) -> None:
    found, asked = ask(bench, mounting="mounted", stroke_about="200 mm")
    assert (found.stroke_mm, found.retracted_pin_to_pin_mm) == (200.0, None)
    assert "retracted_pin_to_pin" not in asked
    known = KnownRod(203.0, (800, 7300), ("end-switch", "stall"), 0.1, 305.0)
    found, asked = ask(bench, known=known, mounting="mounted")
    assert found.stroke_mm == 203.0
    assert "stroke_about" not in asked


def test_two_pwm_inputs_need_both_pins(bench: Bench) -> None:
    assert ask(bench, driver="two-pwm-inputs")[0].driver is Driver.TWO_PWM_INPUTS
    if boards.kind().axes == 1:  # nothing else is there to need them
        return
    with pytest.raises(UsageError, match="axis 1, with no rod on axis 2"):
        ask(bench, axis=2, driver="two-pwm-inputs")
    bench.board.write_scope(2, {"feedback": 1})
    with pytest.raises(UsageError, match="axis 1, with no rod on axis 2"):
        ask(bench, driver="two-pwm-inputs")


def test_a_name_that_the_file_cannot_keep_is_said(bench: Bench) -> None:
    class Full(MemoryKeeper):
        def wrong_rod(self, axis: int, name: str) -> str | None:
            return f"rod {name} is on axis 2 already"

    job = Job(bench.board, 1, Asker(Answers(GIVEN)), bench.talk.append)
    with pytest.raises(UsageError, match="on axis 2 already"):
        label.ask(job, Full(bench.board))
