"""A job and its candidates as files: what they mean, and every mistake in one list with lines."""

from __future__ import annotations

import json
import random
import re
from pathlib import Path

import pytest
from rodbench.cli.size import answer_of
from rodbench.errors import SettingsError
from rodbench.science.hinge import Flap
from rodbench.science.loads import Slope
from rodbench.settings.candidates_file import read_candidates
from rodbench.settings.job_file import Job, read_job
from rodbench.settings.job_keys import CANDIDATE, FACTORS_OF, JOB
from rodbench.settings.sheets import Field
from rodbench.show.sizing import as_data
from rodbench.show.sizing_text import text

EXAMPLES = Path(__file__).parents[2] / "host" / "rodbench" / "settings" / "examples"
LIFT = """\
job_file = 1
[load]
kind = "lift"
mass_kg = 20.0
[travel]
stroke_mm = 300.0
time_s = 30.0
cycles_per_hour = 6.0
[supply]
voltage_v = 12.0
"""
HINGE = """\
job_file = 1
[load]
kind = "hinge"
mass_kg = 20.0
[hinge]
hinge_to_frame_pin_mm = 300.0
hinge_to_vent_pin_mm = 150.0
hinge_to_weight_mm = 300.0
closed_tilt_deg = 0.0
opens_deg = 60.0
frame_pin_below_deg = 60.0
[travel]
time_s = 30.0
cycles_per_hour = 6.0
[supply]
voltage_v = 12.0
"""
ROD = """\
candidates_file = 1
[candidates.any]
stroke_mm = 320.0
dynamic_force_n = 400.0
speed_no_load_mm_s = 20.0
voltage_v = 12.0
"""


def job_of(text: str) -> Job:
    job, parsed = read_job(text, "job.toml")
    assert parsed.findings == []
    assert job is not None
    return job


def said(text: str) -> list[str]:
    return [str(finding) for finding in read_job(text, "job.toml")[1].findings]


def said_of_rods(text: str) -> list[str]:
    return [str(finding) for finding in read_candidates(text, "rods.toml")[1].findings]


# ---------------------------------------------------------------- what they mean


def test_the_example_is_read_and_says_that_it_is_invented() -> None:
    job = job_of((EXAMPLES / "job.toml").read_text())
    sheets, parsed = read_candidates((EXAMPLES / "candidates.toml").read_text(), "rods.toml")
    assert parsed.findings == []
    assert "invented" in job.name
    assert len(sheets) == 5
    assert isinstance(job.way, Flap)
    assert job.way.pins_mm()[0] == pytest.approx(309.0)


def test_units_of_a_data_sheet_mean_the_same_as_ours() -> None:
    ours = LIFT + "[rest]\nbrake = true\n[factors]\nduty_window_min = 10.0\nuneven = 1.5\n"
    theirs = ours.replace("mass_kg = 20.0", f'mass = "{20 / 0.45359237!r} lb"')
    theirs = theirs.replace("stroke_mm = 300.0", f'stroke = "{300 / 25.4!r} in"')
    theirs = theirs.replace("time_s = 30.0", 'time = "0.5 min"')
    one, other = job_of(ours), job_of(theirs)
    assert one.carried.mass_kg == pytest.approx(other.carried.mass_kg)
    assert isinstance(one.way, Slope)
    assert isinstance(other.way, Slope)
    assert one.way.way_mm == pytest.approx(other.way.way_mm)
    assert one.duty.extend_s == other.duty.extend_s == other.duty.retract_s == 30.0
    assert one.assumed.window_s == 600.0
    assert one.duty.brake
    assert one.carried.uneven == 1.5


def test_kinds_are_slopes_and_hinges() -> None:
    assert job_of(LIFT).way == Slope(300.0, 90.0)
    slope = LIFT.replace('"lift"', '"slope"\nslope_deg = 30.0\nraised_by = "retracting"')
    assert job_of(slope).way == Slope(300.0, 30.0, raises=-1)
    level = LIFT.replace('"lift"', '"push"\nfriction = 0.2')
    assert job_of(level).way == Slope(300.0, 0.0, friction=0.2)
    by_length = HINGE.replace("frame_pin_below_deg = 60.0", "closed_pin_to_pin_mm = 259.807621")
    way = job_of(by_length).way
    assert isinstance(way, Flap)
    assert way.below_deg == pytest.approx(60.0, abs=1e-6)


def value_for(field: Field) -> str:
    key = field.key
    if key.kind == "number":
        value = 2.0 if field.high > 300.0 else field.high / 2.0
        return f"{key.name} = {max(value, field.low + 0.125)!r}"
    if key.kind == "word":
        return f'{key.name} = "{key.words[-1][0]}"'
    return f"{key.name} = " + ("true" if key.kind == "bool" else '"some"')


def other_value(field: Field, line: str) -> str:
    """Another value, still allowed."""
    key = field.key
    if key.kind == "number":
        return f"{key.name} = {0.9 * float(line.split(' = ')[1]) + 0.1 * max(field.low, 0.0)!r}"
    if key.kind == "word":
        return f'{key.name} = "{key.words[0][0]}"'
    return f"{key.name} = " + ("false" if key.kind == "bool" else '"other"')


@pytest.mark.parametrize("field", [f for t in JOB.values() for f in t if f.key.name != "kind"],
                         ids=lambda f: f"{f.key.table}.{f.key.name}")  # fmt: skip
def test_every_key_of_a_job_changes_the_job(field: Field) -> None:
    """Nothing is read and then forgotten."""
    table, name = field.key.table, field.key.name
    base = HINGE if table == "hinge" else LIFT.replace("[load]", "[load]\narea_m2 = 2.0")
    base = base.replace('"lift"', '"slope"\nslope_deg = 10.0')
    if name == "closed_pin_to_pin_mm":
        base = base.replace("frame_pin_below_deg = 60.0\n", "")
        lines = [f"{name} = 260.0", f"{name} = 270.0"]
    elif name in ("opens_deg", "closed_tilt_deg", "frame_pin_below_deg"):
        lines = [f"{name} = 50.0", f"{name} = 45.0"]
    elif name == "rods":
        lines = [f"{name} = 2", f"{name} = 3"]
    else:
        lines = [value_for(field)]
        lines.append(other_value(field, lines[0]))
    bare = re.sub(rf"^{name} = .*\n", "", base, flags=re.MULTILINE)
    if name == "uneven":
        bare = bare.replace("[load]", "[load]\nrods = 2")
    header = f"[{table}]\n"
    texts = [bare.replace(header, f"{header}{line}\n") if header in bare
             else f"{bare}{header}{line}\n" for line in lines]  # fmt: skip
    assert job_of(texts[0]) != job_of(texts[1])


@pytest.mark.parametrize("field", CANDIDATE, ids=lambda f: f.key.name)
def test_every_key_of_a_candidate_changes_it(field: Field) -> None:
    name = field.key.name
    more = {
        "screw_diameter_mm": "screw_lead_mm = 4.0\n",
        "screw_lead_mm": "screw_diameter_mm = 9.0\n",
        "screw_thread": "screw_diameter_mm = 9.0\nscrew_lead_mm = 4.0\n",
    }.get(name, "")
    bare = re.sub(rf"^{name} = .*\n", "", ROD, flags=re.MULTILINE) + more
    if name == "speed_no_load_mm_s":
        bare += "speed_rated_mm_s = 0.5\n"
    line = value_for(field)
    found = [read_candidates(f"{bare}{each}\n", "rods.toml")
             for each in (line, other_value(field, line))]  # fmt: skip
    assert [parsed.findings for _, parsed in found] == [[], []]
    assert found[0][0] != found[1][0]


def test_the_factors_are_named_as_the_fields_are() -> None:
    names = {field.key.name for field in JOB["factors"]} - {"uneven"}
    assert names == set(FACTORS_OF)


# ---------------------------------------------------------------- what is wrong

CASES = [
    (LIFT, "mass_kg = 20.0", 'mass_kg = "20 kg"', "4: mass_kg = \"20 kg\": this is a number in kg"),
    (LIFT, "mass_kg = 20.0", 'mass = "20 m"', "4: mass = \"20 m\": 'm' cannot be turned into kg."),
    (LIFT, "mass_kg = 20.0", "mass = 20", "4: mass = 20 has no unit. Write mass_kg = 20"),
    (LIFT, "mass_kg = 20.0", "mass_lb = 44", "4: load has no key 'mass_lb'. 44 lb is mass_kg = 19"),
    (LIFT, "mass_kg = 20.0", "mass_kg = 2,0", "4: mass_kg = 2,0 is not TOML: a decimal comma"),
    (LIFT, "mass_kg = 20.0", "mass_kg = -2.0", "4: mass_kg = -2.0: this must be at least 0 kg"),
    (LIFT, "mass_kg = 20.0", "mass_kg = 1e9", "4: mass_kg = 1000000000.0: this must be at most 1"),
    (LIFT, "mass_kg = 20.0", "mass_kg = nan", "4: mass_kg = nan: this must be a number to work"),
    (LIFT, "mass_kg = 20.0", "mas_kg = 2.0", "4: load has no key 'mas_kg'. Did you mean 'mass_kg'"),
    (LIFT, "mass_kg = 20.0", "mass_kg = 0.0", "2: [load] loads nothing"),
    (LIFT, "mass_kg = 20.0", "force_n = 9\nsnow_pa = 5", "5: snow_pa = 5 presses on nothing"),
    (LIFT, "mass_kg = 20.0", "force = \"9 lb\"", "4: force = \"9 lb\": 'lb' is a mass: of a"),
    (LIFT, '"lift"', '"lifts"', '3: kind = "lifts" is not known. Did you mean "lift"?'),
    (LIFT, '"lift"', '"slope"', "2: [load] has no slope_deg"),
    (LIFT, '"lift"', '"lift"\nslope_deg = 9', '4: slope_deg = 9 has no meaning with kind = "lift"'),
    (LIFT, '"lift"', '"lift"\nrods = 1.5', "4: rods = 1.5: this is a whole number"),
    (LIFT, '"lift"', '"hinge"', "6: stroke_mm = 300.0 has no meaning with kind = \"hinge\""),
    (LIFT, "stroke_mm = 300.0\n", "", "5: [travel] has no stroke_mm"),
    (LIFT, "stroke_mm = 300.0", "stroke_mm = 0.0", "6: stroke_mm = 0.0: this must be above 0 mm"),
    (LIFT, "[supply]\nvoltage_v = 12.0\n", "", "1: [supply] has no voltage_v"),
    (LIFT, "[supply]", "[suply]", "9: there is no [suply] here. There are "),
    (LIFT, "job_file = 1", "job_file = 2", "1: job_file = 2: this rodbench reads version 1 only."),
    (LIFT, "job_file = 1", "job_file = true", "1: job_file = true: this rodbench reads version 1"),
    (LIFT, "job_file = 1\n", "", "1: 'job_file = 1' is missing"),
    (LIFT, "time_s = 30.0", "time_s = 30.0\ntime = \"1 s\"", "8: time and time_s (line 7) say the"),
    (HINGE, "opens_deg = 60.0", "opens_deg = 0", "10: opens_deg = 0: then nothing moves."),
    (HINGE, "opens_deg = 60.0", "opens_deg = 130", "10: this cannot turn from 0 by 130 deg: open,"),
    (HINGE, "frame_pin_below_deg = 60.0\n", "", "5: [hinge] has neither frame_pin_below_deg nor"),
    (HINGE, "closed_tilt_deg", "closed_pin_to_pin_mm = 1.0\nclosed_tilt_deg", "9: closed_pin_to_"),
    (HINGE, "frame_pin_below_deg = 60.0", "closed_pin_to_pin_mm = 460.0",
     "11: closed_pin_to_pin_mm = 460.0: only from 150.0 to 450.0 mm do the lengths make a"),
    (HINGE, "hinge_to_weight_mm = 300.0\n", "", "5: [hinge] has no hinge_to_weight_mm"),
]  # fmt: skip


@pytest.mark.parametrize(("base", "old", "new", "text"), CASES, ids=[c[3] for c in CASES])
def test_a_mistake_in_a_job_is_told_with_its_line(base: str, old: str, new: str, text: str) -> None:
    assert old in base
    found = said(base.replace(old, new, 1))
    assert any(line.startswith(f"job.toml:{text}") for line in found), found


RODS = [
    ("stroke_mm = 320.0\n", "", "2: [candidates.any] has no stroke_mm"),
    ("speed_no_load_mm_s = 20.0\n", "", "2: [candidates.any] has neither speed_no_load_mm_s nor"),
    ("voltage_v", "speed_rated_mm_s = 21.0\nvoltage_v",
     "6: speed_rated_mm_s = 21.0 is above speed_no_load_mm_s = 20.0 (line 5): no rod does that."),
    ("voltage_v", "current_no_load_a = 3.0\ncurrent_rated_a = 2.0\nvoltage_v",
     "6: current_no_load_a = 3.0 is above current_rated_a = 2.0 (line 7): no rod does that."),
    ("voltage_v", "screw_lead_mm = 2.0\nvoltage_v", "6: screw_lead_mm = 2.0: a screw is known by"),
    ("voltage_v", "duty_share = 25\nvoltage_v", "6: duty_share = 25: this must be at most 1. "
     'It is a share: duty_share = 0.25, or "25 %".'),
    ("voltage_v", 'duty = "25 %"\nvoltage_v', "6: candidates.any has no key 'duty'. Did you mean"),
    ('[candidates.any]', "[rods.any]", "2: there is no [rods] here. There are candidates."),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "text"), RODS, ids=[c[2] for c in RODS])
def test_a_mistake_in_a_candidate_is_told_with_its_line(old: str, new: str, text: str) -> None:
    assert old in ROD
    found = said_of_rods(ROD.replace(old, new, 1))
    assert any(line.startswith(f"rods.toml:{text}") for line in found), found


def test_all_mistakes_of_both_files_stand_in_one_list(tmp_path: Path) -> None:
    job, rods = tmp_path / "job.toml", tmp_path / "rods.toml"
    job.write_text(
        LIFT.replace("mass_kg = 20.0", "mass_kg = -1.0\nwind_pa = 50.0")
        .replace("time_s = 30.0\n", "").replace("voltage_v = 12.0", "voltage_v = 0")
    )  # fmt: skip
    rods.write_text(
        ROD.replace("stroke_mm = 320.0", "stroke_mm = 0")
        + '[candidates.other]\nstroke_mm = 5.0\ndynamic_force = "9 kg"\nvoltage_v = 12.0\n'
    )
    with pytest.raises(SettingsError) as caught:
        answer_of(job, rods)
    lines = [line.split(": ")[0].rpartition("/")[2] for line in str(caught.value).splitlines()]
    assert lines == ["job.toml:4", "job.toml:5", "job.toml:6", "job.toml:10",
                     "rods.toml:3", "rods.toml:7", "rods.toml:9"]  # fmt: skip
    assert caught.value.kept == "Nothing was computed."


VALUES = ("0", "1e300", "-5", "nan", "inf", "true", "[]", "{}", '""', '"5"', '"5 mm"', '"lift"',
          '"hinge"', "1979-05-27", "{a=1}", "12", "0.5", "180", "90", '"1e999 mm"', '"5 lb"',
          "1e6", "1e-6", "1e4")  # fmt: skip


def spoilt(text: str, rng: random.Random) -> str:
    """The text with up to two of its lines lost, cut, doubled, or with another value."""
    lines = text.splitlines()
    for _ in range(rng.choice((0, 1, 1, 2))):
        at, what = rng.randrange(len(lines)), rng.random()
        if what < 0.1:
            lines[at] = ""
        elif what < 0.9 and "=" in lines[at]:
            lines[at] = f"{lines[at].split('=')[0]}= {rng.choice(VALUES)}"
        elif what < 0.95:
            lines[at] += f"\n{rng.choice(lines)}"
        else:
            lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)]
    return "\n".join(lines)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.filterwarnings("error")
def test_whatever_a_file_says_is_answered_or_told(seed: int, tmp_path: Path) -> None:
    """No crash, no warning of the arithmetic, and nothing in the answer that is no number."""
    rng, ends = random.Random(seed), {"answered": 0, "told": 0}
    job, rods = tmp_path / "job.toml", tmp_path / "rods.toml"
    for _ in range(20):
        job.write_text(spoilt(rng.choice(((EXAMPLES / "job.toml").read_text(), LIFT)), rng))
        rods.write_text(spoilt((EXAMPLES / "candidates.toml").read_text(), rng))
        try:
            answer = answer_of(job, rods)
        except SettingsError as error:
            ends["told"] += all(".toml:" in line for line in str(error).splitlines())
            continue
        assert "nan" not in text(answer)
        json.dumps(as_data(answer), allow_nan=False)
        ends["answered"] += 1
    assert sum(ends.values()) == 20
    assert min(ends.values()) > 0


def test_a_file_that_is_no_toml_or_not_there(tmp_path: Path) -> None:
    broken = tmp_path / "job.toml"
    broken.write_text("job_file = 1\n[load\n")
    assert said(broken.read_text())[0].startswith("job.toml:2: this is not TOML")
    assert said_of_rods("candidates_file = 1\n") == [
        "rods.toml:1: there is no candidate: write [candidates.NAME], one for each."
    ]
    assert said_of_rods("candidates_file = 1\ncandidates = 3\n") == [
        "rods.toml:2: there is no candidate: write [candidates.NAME], one for each."
    ]
    with pytest.raises(SettingsError, match="cannot be read: No such file"):
        answer_of(broken, tmp_path / "none.toml")
