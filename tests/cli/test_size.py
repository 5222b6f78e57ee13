"""rodbench size: verdicts with reasons, in 80 columns, as JSON and as a picture."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rodbench.cli import talk
from rodbench.cli.main import _run, cli
from rodbench.cli.size import EXAMPLES, answer_of, draw, write_examples
from rodbench.show.sizing import Answer
from rodbench.show.sizing_text import text

from tests.cli.drawings import saved

JOB, RODS = EXAMPLES


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_examples(tmp_path)
    return tmp_path


def change(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    before = path.read_text("utf-8")
    assert old in before
    path.write_text(before.replace(old, new), "utf-8")


def answer(folder: Path) -> Answer:
    return answer_of(*(folder / name for name in EXAMPLES))


def as_json(capsys: pytest.CaptureFixture[str], code: int = 0) -> Any:
    assert _run(["size", *EXAMPLES, "--json"]) == code
    return json.loads(capsys.readouterr().out)


def rod(data: Any, name: str) -> Any:
    return next(each for each in data["candidates"] if each["name"] == name)


def reasons(data: Any, name: str) -> str:
    one = rod(data, name)
    return " | ".join([one["verdict"], *one["fails"], *one["cautions"], *one["notes"]])


def test_the_example_in_80_columns(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run(["size", *EXAMPLES, "--plot", "size.png"]) == 0
    out = capsys.readouterr().out
    assert (folder / "size.png").read_bytes().startswith(b"\x89PNG")
    lines = [part for line in out.splitlines() for part in talk.folded(line)]
    assert max(map(len, lines)) <= 80
    assert "all figures for one" in lines[0]
    assert "no one under the load" in out
    assert "quick: does not fit" in out
    assert 'Motor "A" (quick, even, strong)' in out
    rows = [line for line in lines if line.startswith("quick ")]
    assert "1.13 !" in rows[0]


def test_json_says_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = as_json(capsys)
    least = [
        min(
            c["margin"] / c["wanted"]
            for n, c in each["checks"].items()
            if c["margin"] and c["wanted"]
        )
        for each in data["candidates"]
    ]
    assert least[:3] == sorted(least[:3], reverse=True)
    assert least[3:] == sorted(least[3:], reverse=True)
    assert [each["verdict"] for each in data["candidates"]] == ["fits"] * 3 + ["does not fit"] * 2
    even, strong = rod(data, "even"), rod(data, "strong")
    assert even["checks"]["force"]["holds"] is True
    assert even["checks"]["force"]["margin"] == pytest.approx(
        even["checks"]["force"]["have"] / even["checks"]["force"]["need"]
    )
    assert even["power_w"] == pytest.approx(strong["power_w"], rel=0.05)
    assert strong["extend_s"] > even["extend_s"]
    assert even["on_time_s"] == pytest.approx(even["extend_s"] + even["retract_s"])
    assert even["duty"] == pytest.approx(4 * even["on_time_s"] / 3600)
    assert data["need"]["extend_at_mm"] == 0.0
    assert rod(data, "salvaged")["checks"]["buckling"]["margin"] is None
    assert rod(data, "salvaged")["checks"]["buckling"]["holds"] is None
    assert data["same_motor"] == {"A": ["quick", "even", "strong"]}
    assert "stroke: 150.0 mm, the way is 160.0 mm" in reasons(data, "salvaged")
    assert "its screw (20 deg lead angle) does not lock" in reasons(data, "salvaged")
    assert "12 V on a rod for 24 V" in reasons(data, "from-24-V")


def test_24_v_on_a_12_v_rod_is_warned_about(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(folder, "job.toml", "voltage_v = 12.0", "voltage_v = 24.0")
    data = as_json(capsys)
    assert rod(data, "even")["verdict"] == "fits, but"
    assert "times as fast; hotter, its life shorter" in reasons(data, "even")
    assert rod(data, "from-24-V")["verdict"] == "fits"
    assert data["candidates"][0]["name"] == "from-24-V"
    change(folder, "job.toml", "voltage_v = 24.0", "voltage_v = 13.8")
    assert rod(as_json(capsys), "even")["verdict"] == "fits"  # a battery that is being charged


def test_nothing_that_fits_is_an_answer_of_its_own(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(folder, "job.toml", "mass_kg = 22.0 ", "mass_kg = 2200.0 ")
    data = as_json(capsys, code=1)
    assert {each["verdict"] for each in data["candidates"]} == {"does not fit"}


@pytest.mark.parametrize(
    ("name", "old", "new", "who", "what"),
    [
        (JOB, "time_s = 40.0", "time_s = 9.0", "even", "time: 9.0 s allowed, 14.2 s needed"),
        (JOB, "cycles_per_hour = 4.0", "cycles_per_hour = 60.0", "even", "duty: 25 % rated"),
        (JOB, "cycles_per_hour = 4.0", "cycles_per_hour = 600.0", "even", "do not fit into"),
        (JOB, "current_a = 5.0", "current_a = 1.0", "even", "current: 1.48 A drawn, 1 A"),
        (JOB, "= 309.0", "= 290.0", "even", "too long: 304.8 mm retracted, the pins come"),
        (JOB, "opens_deg = 26.0", "opens_deg = 40.0", "even", "stroke: 203.2 mm, the way is"),
        (JOB, "voltage_v = 12.0", "voltage_v = 1.0", "even", "it stalls on the way"),
        (JOB, "voltage_v = 12.0", "voltage_v = 4.0", "quick", "force: it stalls at"),
        (RODS, "rod_diameter_mm = 10.0", "rod_diameter_mm = 6.0", "even", "buckling:"),
        (RODS, "static_force_n = 1300.0", "self_locking = false\nstatic_force_n = 1300",
         "even", "its maker does not call it self-locking"),
        (RODS, "static_force_n = 1300.0\n", "", "even", "static force not given"),
        (RODS, "pot_ohm = 10000.0", "pot_ohm = 50000.0", "even", "a pot of 50 kohm"),
        (RODS, 'retracted_pin_to_pin = "12 in"\n', "", "even", "is not known: its ret"),
        (RODS, 'retracted_pin_to_pin = "12 in"', 'retracted_pin_to_pin = "12.15 in"',
         "even", "tight: 0.4 mm left at an end, 3.0 mm wanted"),
        (RODS, 'retracted_pin_to_pin = "12 in"', 'retracted_pin_to_pin = "7 in"',
         "even", "telescopic"),
        (RODS, "duty_share = 0.25", "duty_window_min = 1.0", "even", "in 1 min assumed"),
        (RODS, "speed_no_load_mm_s = 13.0\n", "", "even", "to run no faster than under"),
        (RODS, "current_rated_a = 2.9\n", "", "even", "current not given: current, en"),
    ],
)  # fmt: skip
def test_each_reason_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str, old: str, new: str, who: str,
    what: str,
) -> None:  # fmt: skip
    change(folder, name, old, new)
    _run(["size", *EXAMPLES, "--json"])
    assert what in reasons(json.loads(capsys.readouterr().out), who)


def test_a_brake_settles_what_would_drive_the_rod(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(folder, "candidates.toml", "pot_ohm", "self_locking = false\npot_ohm")
    assert "self-locking" in reasons(as_json(capsys), "strong")
    change(folder, "job.toml", "[rest]", "[rest]\nbrake = true")
    data = as_json(capsys)
    assert rod(data, "strong")["verdict"] == "fits"
    assert "does not lock" not in reasons(data, "salvaged")


def test_inches_and_pounds_where_the_job_says_so(folder: Path) -> None:
    change(folder, "job.toml", 'show_units = "mm"', 'show_units = "in"')
    shown = text(answer(folder))
    assert "travel of the rod 6.301 in, 12.165 .. 18.467 in" in shown
    assert "35.72 lbf" in shown  # 158.912 N / 4.4482216
    assert " mm" not in shown


def test_the_picture_shows_need_and_rating_with_units(folder: Path) -> None:
    found = answer(folder)
    with saved() as figures:
        draw(found, folder / "size.png")
    top, bottom = figures[0].axes[:2]
    lines = {str(line.get_label()): line for line in top.get_lines()}
    np.testing.assert_allclose(lines["needed to extend"].get_ydata(), found.asked.travel.extend_n)
    assert lines["even: rated 450 N"].get_ydata()[0] == pytest.approx(450.0)
    assert top.get_ylabel().startswith("force on one rod, N")
    assert bottom.get_ylabel() == "speed extending, mm/s"
    assert bottom.get_xlabel().endswith("mm")
    assert len({line.get_linestyle() + str(line.get_marker()) for line in bottom.get_lines()}) == 5


def test_mistakes_are_said_and_nothing_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(folder, "job.toml", "mass_kg = 22.0", "mass_kg = 22,0")
    assert _run(["size", *EXAMPLES, "--plot", "size.png"]) == 7
    said = capsys.readouterr()
    assert said.out == ""
    assert "a decimal comma. Write 22.0." in said.err
    assert "Nothing was computed." in said.err
    assert not (folder / "size.png").exists()
    assert _run(["size"]) == 2
    assert "which job" in capsys.readouterr().err
    assert _run(["size", "--example"]) == 2
    assert "are there already" in capsys.readouterr().err


def test_a_picture_that_cannot_be_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run(["size", *EXAMPLES, "--plot", "no/size.png"]) == 2
    assert "cannot write no/size.png: No such file" in capsys.readouterr().err
    assert _run(["size", *EXAMPLES, "--plot", "size.wrong"]) == 2
    assert "cannot write size.wrong" in capsys.readouterr().err


def test_keys_lists_every_key(capsys: pytest.CaptureFixture[str]) -> None:
    cli.main(["size", "--keys"], standalone_mode=False)
    shown = capsys.readouterr().out
    for key in ("hinge_to_weight_mm", "cycles_per_hour", "self_locking", "rod_yield_mpa"):
        assert key in shown
    assert "1.5 when left out" in shown
