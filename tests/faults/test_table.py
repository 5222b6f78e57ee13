"""FAULTS.md: complete, and as measured. All of it: `python -m tests.faults.table --check`."""

from __future__ import annotations

import re

import pytest
from rodbench_protocol.names import Fault

from tests.faults.bench import measure
from tests.faults.causes import CAUSES, DOINGS, DRIVER, NO_SENSOR, NOTHING
from tests.faults.table import FILE, judged
from tests.faults.text import row_line, sentences

PART = (
    ("An obstacle in the way", "moving"),
    ("A motor lead off", "holding"),
    ("The pot's wiper off", "ganged"),
    ("A load that pushes the rod", "holding"),
    ("The supply is too high", "jogging"),
    ("The stop input opens", "ganged"),
    ("The computer falls silent", "moving"),
    ("The program hangs", "moving"),
)
BY_TITLE = {cause.title: cause for cause in CAUSES}


def section(title: str) -> list[str]:
    """The lines under a heading of FAULTS.md."""
    text = FILE.read_text("utf-8")
    return text.split(f"\n## {title}\n", 1)[1].split("\n## ", 1)[0].splitlines()


@pytest.mark.parametrize(("title", "doing"), PART)
def test_a_part_is_measured_again(title: str, doing: str) -> None:
    cause = BY_TITLE[title]
    assert row_line(cause, judged(cause, measure(cause, doing))) in section(title)


@pytest.mark.parametrize("title", BY_TITLE)
def test_every_cause_has_its_four_lines(title: str) -> None:
    lines = [line for line in section(title) if re.match(r"\| (\w+) \|", line)]
    assert [line.split(" | ")[0] for line in lines[1:]] == [f"| {doing}" for doing in DOINGS]


@pytest.mark.parametrize("fault", Fault)
def test_every_fault_is_brought_about_and_detected(fault: Fault) -> None:
    name = fault.name.lower()
    causes = [cause for cause in CAUSES if name in cause.faults]
    assert causes, f"no cause of {name}"
    word = name.replace("_", " ")
    assert any(word in line for cause in causes for line in section(cause.title) if "|" in line)


def test_not_detected_has_one_of_three_reasons_and_hardware_that_covers_it() -> None:
    for cause in CAUSES:
        for doing, excuse in cause.excuses.items():
            assert excuse.reason in (NOTHING, DRIVER, NO_SENSOR)
            assert excuse.covered_by, (cause.title, doing)
    lines = section("Not detected, and what covers it")
    for cause in CAUSES:
        said = "\n".join(line for line in lines if line.startswith(f"| {cause.title} |"))
        for doing in cause.excuses:
            assert doing in said


def test_the_sentences_are_those_of_the_command() -> None:
    assert [f"- {sentence}" for sentence in sentences()] == [
        line for line in section("What the person sees") if line.startswith("- ")
    ]
