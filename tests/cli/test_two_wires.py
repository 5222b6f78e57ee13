"""A rod without a pot on every screen: a place in words, never a length; refusals with reasons."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rodbench.bench.guarded import not_guarded
from rodbench.board import AxisSample
from rodbench.settings.units import Units
from rodbench.show.live import View
from rodbench.show.run import Recorder
from rodbench.show.words import ended, fault_sentence
from rodbench_protocol.names import AxisState, Ended, Fault
from rodbench_protocol.settings import defaults

from tests import boards
from tests.cli import conftest
from tests.cli.conftest import Bench
from tests.cli.drawings import drawn

AXIS = {
    **defaults("axis"),
    "feedback": 2,
    "trip_ma": 3000,
    "stroke_time_extend_cs": 1210,
    "stroke_time_retract_cs": 1150,
}
LENGTH = re.compile(r"\d ?(mm|in|deg)\b|raw")


def sample(**changes: Any) -> AxisSample:
    known: dict[str, Any] = {
        "tick": 100, "axis": 1, "state": AxisState.RUN, "raw": 0, "position_mm": None,
        "speed_mm_s": None, "speed_raw_s": 0.0, "reference_mm": None, "current_a": 1.5,
        "output": 1.0, "faults": 0, "duty_used": 0.1, "motion": 1, "calibrated": False,
        "proven": False, "outside": False, "held_back": False, "braking": False,
    }  # fmt: skip
    return AxisSample(**(known | changes))


def view(axis: dict[str, int] = AXIS, **changes: Any) -> str:
    scopes = {0: defaults("board"), 1: axis, 2: defaults("axis")}
    shown = View(scopes, {1: "south"}, Units("in"))
    shown.take(sample(**changes))
    lines = shown.lines()
    assert all(len(line) <= 80 for line in lines)
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("retracted", "near the retracted end"),
        ("extended", "near the extended end"),
        ("between", "between the ends"),
        (None, "place unknown"),
    ],
)
def test_the_view_has_a_place_and_no_length(place: str | None, words: str) -> None:
    text = view(place=place)
    assert words in text
    assert "end to end 12.1 s out, 11.5 s in" in text
    assert not LENGTH.search(text)


def test_the_view_says_what_is_not_known() -> None:
    assert "time from end to end is not measured" in view(AXIS | {"stroke_time_extend_cs": 0})
    assert "runs only while it is held" in view(AXIS | {"current_sensor": 0})


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault.STALL, "the current rose before the end was due"),
        (Fault.NO_CURRENT, "the current was gone before the end was due"),
        (Fault.NO_END, "no end came in 1.2 times the measured time"),
    ],
)
def test_faults_speak_of_the_current_and_not_of_a_pot(fault: Fault, words: str) -> None:
    name = fault.name.lower()
    assert words in fault_sentence(name, 1, pot=False)
    assert "pot" not in fault_sentence(name, 1, pot=False)
    assert words in view(faults=1 << (fault - 1), state=AxisState.FAULT).replace("\n    ", " ")


def test_an_end_without_evidence_is_not_called_one() -> None:
    assert ended(Ended.UNFINISHED, pot=False) == "ended without the evidence of an end"


def test_what_is_not_guarded_is_said_for_such_a_rod() -> None:
    board = defaults("board")
    assert "soft stops (no pot; a jam near an end looks like the end)" in not_guarded(board, AXIS)
    blind = not_guarded(board, AXIS | {"current_sensor": 0})
    assert "over-current, and a stall by its current (no sensor)" in blind
    assert "ends and jams (no pot: watch the rod, let go in time)" in blind


def test_the_picture_of_a_run_has_places_for_a_scale(tmp_path: Path) -> None:
    run = Recorder(SimpleNamespace(listeners=[]), 1)  # type: ignore[arg-type]
    places = ["retracted"] * 40 + ["between"] * 200 + ["extended"] * 20
    for tick, place in enumerate(places):
        run.hear(sample(tick=tick, place=place))
    figure = drawn(run, tmp_path / "run.png", AXIS, "mm")
    ticks = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    assert set(ticks) == {
        "near the retracted end", "between the ends", "near the extended end", "place unknown",
    }  # fmt: skip
    assert (tmp_path / "run.png").stat().st_size > 10_000


# ---------------------------------------------------------------- the command

MACHINE = boards.file("""\
machine_file = 1
name = "bench"

[board]
fuse_a = 5.0

[rods.south]
feedback = "none"
stroke_mm = 40.0

[axes.1]
rod = "south"
""")
TIMES = "stroke_time_extend_s = 5.0\nstroke_time_retract_s = 4.8\n"


@pytest.fixture
def south(bench: Bench) -> Bench:
    """A rod without a pot whose ends have not been looked for."""
    (bench.folder / "machine.toml").write_text(MACHINE)
    bench.run("settings", "push")
    return bench


@pytest.mark.parametrize("position", ["30 mm", "50 %", "30 deg", "1.2", "open"])
def test_lengths_are_refused_with_what_it_can_do(south: Bench, position: str) -> None:
    before = south.position_mm
    said = south.run("move", "1", position, "--yes", code=2).stderr
    assert "this rod has no pot: it can go to an end, or jog" in said
    assert "rodbench move 1 retracted" in said
    assert "rodbench jog 1" in said
    assert south.position_mm == before


def test_a_run_to_an_end_needs_the_time_and_a_sensor(south: Bench) -> None:
    said = south.run("move", "1", "extended", "--yes", code=2).stderr
    assert "the time from end to end is not known" in said
    assert "rodbench calibrate endpoints 1" in said
    said = south.run("move", "1", "extended", "--at", "3 mm/s", "--yes", code=2).stderr
    assert "no speed of choice" in said
    path = south.folder / "machine.toml"
    path.write_text(MACHINE.replace('rod = "south"', 'rod = "south"\ncurrent_sensor = "none"'))
    south.run("settings", "push")
    said = south.run("move", "1", "extended", "--yes", code=2).stderr
    assert "neither pot nor current sensor: nothing would see the end" in said


def test_jog_takes_an_output_and_tells_a_place(south: Bench) -> None:
    before = south.position_mm
    said = south.run("jog", "1", "3 mm/s", "--for", "1 s", "--yes", code=2).stderr
    assert "has a rod without a pot: '3 mm/s' has no meaning" in said
    assert south.position_mm == before
    done = south.run("jog", "1", "30 %", "--for", "0.6 s", "--yes")
    assert south.position_mm > before + 0.1
    assert done.stdout.startswith("axis 1 rests place unknown; the jog was stopped")
    assert "soft stops (no pot; a jam near an end looks like the end)" in done.stderr


def test_the_live_view_of_the_command(south: Bench) -> None:
    shown = south.run("watch", "--for", "1.5 s").stdout
    assert "place unknown" in shown
    assert not LENGTH.search(shown)
    assert "axis 1       idle, place unknown, two wires, no pot" in south.run("info").stdout


def test_settings_check_says_what_such_a_rod_can_do(south: Bench) -> None:
    assert "axis 1 has a rod without a pot: jog only" in south.run("settings", "check").stdout
    path = south.folder / "machine.toml"
    path.write_text(MACHINE.replace("stroke_mm = 40.0", f"stroke_mm = 40.0\n{TIMES}"))
    said = south.run("settings", "check").stdout
    assert "axis 1 has a rod without a pot: jog, and runs to its ends" in said


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["calibrate", "speed", "1"], "its speed is its stroke over the time from end to end"),
        (["calibrate", "endpoints", "1", "--by-hand"], "could not be found again"),
        (["calibrate", "endpoints", "1"], "nothing is known yet from `rodbench calibrate polarity"),
        (["measure", "pot", "1"], "the rod has no pot: there is none to look at"),
        (["propose", "1"], "nothing is known yet from `rodbench calibrate current"),
    ],
)
def test_steps_that_such_a_rod_cannot_have_say_why(
    south: Bench, words: list[str], why: str
) -> None:
    before = south.position_mm
    said = south.run(*words, "--yes", code=12).stderr
    assert why in said
    assert "try: " in said
    assert south.position_mm == before


# ---------------------------------------------------------------- commissioned, then on a pty

PLANT = conftest.PLANT.replace("noise_lsb = 0.3", "noise_lsb = 0.3\nfitted = false")
ANSWERS = """\
rod = "south"
mounting = "bench"
retracted_pin_to_pin = "100 mm"
extended_pin_to_pin = "140 mm"
driver = "pwm-and-two-direction-lines"
fuse_a = 7.5
accept = "accept"
"""


@pytest.fixture
def timed(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The rod commissioned by the command in virtual time; its machine file on a board on a pty."""
    monkeypatch.setattr(conftest, "PLANT", PLANT)
    bench: Bench = request.getfixturevalue("bench")
    (bench.folder / "plant.toml").write_text(PLANT)
    (bench.folder / "answers.toml").write_text(ANSWERS)
    path = bench.folder / "machine.toml"
    path.write_text("machine_file = 1\n[board]\n")
    emulated = ("--port", "emulator:plant.toml", "--speed", "max")
    done = bench.run("commission", "1", "--yes", "--answers", "answers.toml", *emulated)
    assert "motor as wired; no pot: no positions, no soft stops" in done.stdout
    assert "travel ends by end-switch end-switch" in re.sub(" +", " ", done.stdout)
    path.write_text(boards.file(path.read_text()))
    bench.run("settings", "push")
    return bench


def to_end(bench: Bench, end: str, *words: str, code: int = 0) -> Any:
    """`move`, again where a loaded test machine kept the board waiting and the hold ended it."""
    said = ""
    for _ in range(4):
        done = bench.run("move", "1", end, "--yes", *words, code=None)
        said += done.stderr
        if "host fell silent" not in done.stderr:
            break
    done.stderr = said
    assert done.returncode == code, done.stderr
    return done


def test_commissioned_by_the_command_it_runs_to_its_ends(timed: Bench) -> None:
    file = tomllib.loads((timed.folder / "machine.toml").read_text())
    rod = file["rods"]["south"]
    assert rod["feedback"] == "none"
    assert rod["stroke_time_extend_s"] == pytest.approx(3.4, abs=0.5)  # 40 mm at about 12 mm/s
    assert "pot_retracted" not in rod
    assert "soft_stop_min_mm" not in file["axes"]["1"]["limits"]
    first = to_end(timed, "extended")
    assert "Place unknown since the board started" in first.stderr
    assert first.stdout.startswith("axis 1 is near the extended end, after ")
    assert timed.position_mm > 39.0
    assert "already: nothing moved" in to_end(timed, "extended").stdout
    back = json.loads(to_end(timed, "retracted", "--json").stdout)
    assert (back["ended"], back["place"]) == ("end_found", "retracted")
    assert 1.0 < back["seconds"] < rod["stroke_time_retract_s"] + 0.8
    assert "position_mm" not in back
    assert timed.position_mm < 1.0
    timed.board.rig.set_fault("jam", 1, 20.0)
    said = to_end(timed, "extended", code=8).stderr
    assert re.search(r"axis 1 stopped between the ends\. (over current|stall): the current", said)
    assert not LENGTH.search(said.replace("rodbench clear 1", ""))
    shown = timed.run("watch", "--for", "1.5 s").stdout.replace("\n    ", " ")
    assert "between the ends" in shown
    assert "see what" in shown
