"""`move` by name and degrees, in virtual time; where a place cannot be meant, what is known."""

from __future__ import annotations

import math
from typing import Any

import pytest
from rodbench.errors import Refused, RodbenchError, SettingsError, UsageError
from rodbench.settings.units import Units
from rodbench.show.tables import facts

from tests.cli.conftest import MACHINE
from tests.cli.test_steps import Bench, bench

__all__ = ["bench"]

LINKED = (
    MACHINE.replace("stroke_mm = 40.0", "stroke_mm = 40.0\nretracted_pin_to_pin_mm = 100.0")
    + """
[linkage]
hinge_to_frame_pin_mm = 90
hinge_to_vent_pin_mm = 80
closed_at_mm = 2.0

[positions]
closed = "2.5 mm"
open = "20 deg"
"wide open" = "60 deg"
beyond = "39 mm"
"""
)


def on(bench: Bench, text: str) -> None:
    """The board with this machine file."""
    (bench.folder / "machine.toml").write_text(text)
    bench.run("settings", "push")


def move(bench: Bench, position: str) -> Any:
    return bench.run("move", "1", position, "--yes")


def error(bench: Bench, position: str, kind: type[RodbenchError]) -> RodbenchError:
    before = bench.emulated.rig.plants[1].position_mm
    with pytest.raises(kind) as caught:
        move(bench, position)
    assert bench.emulated.rig.plants[1].position_mm == pytest.approx(before, abs=0.01)
    return caught.value


def line(bench: Bench, name: str) -> str:
    """File and line of a position, as errors write it."""
    lines = (bench.folder / "machine.toml").read_text().splitlines()
    number = next(n for n, text in enumerate(lines, 1) if text.strip('"').startswith(name))
    return f"machine.toml:{number}"


def hinge_deg(rod_mm: float) -> float:
    """Law of cosines, by hand: 90 and 80 mm from the hinge to the pins."""
    return math.degrees(math.acos((90**2 + 80**2 - (100 + rod_mm) ** 2) / (2 * 90 * 80)))


@pytest.mark.parametrize("position", ["open", "20 deg", "20°"])
def test_degrees_by_name_and_by_number(bench: Bench, position: str) -> None:
    on(bench, LINKED)
    done = move(bench, position)
    assert done["ended"] == "reached"
    assert hinge_deg(done["target_mm"]) - hinge_deg(2.0) == pytest.approx(20.0, abs=1e-6)
    true = bench.emulated.rig.plants[1].position_mm
    assert true == pytest.approx(done["target_mm"], abs=1.0)
    assert done["angle_deg"] == pytest.approx(hinge_deg(done["position_mm"]) - hinge_deg(2.0))


def test_a_name_for_a_length(bench: Bench) -> None:
    on(bench, LINKED)
    assert move(bench, "closed")["target_mm"] == 2.5


def test_what_can_be_meant_is_said(bench: Bench) -> None:
    on(bench, LINKED)
    found = error(bench, "opne", UsageError)
    assert found.message == "'opne' is not a position"
    assert found.hint == (
        'closed, open, wide open, beyond, or for example "101.5 mm", "4 in" or "50 %". '
        "Did you mean 'open'?"
    )
    assert "names and degrees come from the machine file" in str(
        (on(bench, MACHINE), error(bench, "open", UsageError))[1].hint
    )


def test_angles_out_of_reach_say_the_reach(bench: Bench) -> None:
    on(bench, LINKED)
    most = hinge_deg(38.0) - hinge_deg(2.0)
    reach = (
        f"out of reach: between the soft stops there are 0.0 to {math.floor(10 * most) / 10} deg"
    )
    assert error(bench, "60 deg", UsageError).message == f"60 deg: {reach}"
    named = error(bench, "wide open", UsageError).message
    assert named == f'wide open = "60 deg" ({line(bench, "wide open")}): {reach}'


def test_degrees_without_a_linkage_and_with_half_of_one(bench: Bench) -> None:
    on(bench, MACHINE)
    assert error(bench, "20 deg", UsageError).message == (
        "20 deg: degrees need a [linkage] in the machine file"
    )
    on(bench, LINKED.replace("retracted_pin_to_pin_mm = 100.0", ""))
    assert error(bench, "20 deg", UsageError).message == (
        "20 deg: degrees need retracted_pin_to_pin_mm in [rods.north]"
    )
    assert move(bench, "closed")["target_mm"] == 2.5  # lengths do without


def test_a_place_outside_the_soft_stops_says_where_they_are(bench: Bench) -> None:
    on(bench, LINKED)
    found = error(bench, "beyond", Refused)
    assert found.hint == (
        f'beyond = "39 mm" ({line(bench, "beyond")}): the soft stops are at 2.0 .. 38.0 mm'
    )
    assert error(bench, "-3 mm", Refused).hint == "-3 mm: the soft stops are at 2.0 .. 38.0 mm"


def test_inches_throughout_where_the_file_says_so(
    bench: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    from rodbench.cli.main import cli

    on(bench, LINKED.replace('name = "bench"', 'name = "bench"\nshow_units = "in"'))
    assert move(bench, "0.9")["target_mm"] == pytest.approx(22.86)
    assert "0.079 .. 1.496 in" in str(error(bench, "39 mm", Refused).hint)
    cli.main(["move", "1", "open", "--yes"], standalone_mode=False)
    out = capsys.readouterr().out
    assert " in, 20." in out.splitlines()[-1]
    assert "mm" not in out


def test_a_file_that_does_not_hold_matters_only_to_names(bench: Bench) -> None:
    on(bench, LINKED)
    path = bench.folder / "machine.toml"
    path.write_text(LINKED.replace("trip_a = 3.0", "trip_a = 3,0"))
    error(bench, "open", SettingsError)
    assert move(bench, "10 mm")["target_mm"] == 10.0


def test_check_says_what_holds_but_does_less(bench: Bench) -> None:
    gang = "\n[gang]\naxes = [1, 2]\napart_trip_mm = 3\n"
    on(bench, LINKED + gang)
    remarks = bench.run("settings", "check")["remarks"]
    assert len(remarks) == 3
    assert remarks[0].startswith(
        f'{line(bench, "wide open")}: wide open = "60 deg": axis 1: out of reach'
    )
    assert remarks[1].startswith(f'{line(bench, "beyond")}: beyond = "39 mm": outside the soft')
    assert "a gang moves with two that are: commission each first" in remarks[2]


def test_a_minus_is_no_option(bench: Bench) -> None:
    """`-3 mm/s` was read as the options -3 and -m, so that the logbook was looked for elsewhere."""
    on(bench, MACHINE)
    done = bench.run("jog", "1", "-3 mm/s", "--for", "1 s", "--yes")
    assert done["ended"] == "stopped"
    assert "jog" in (bench.folder / "logbook" / "log.jsonl").read_text()


def test_a_step_tells_what_it_found_in_the_units_of_the_file() -> None:
    found = {"stroke_mm": 203.2, "creep_mm_s": [2.54, 5.08], "spread_mm": None, "quiet": True}
    found |= {"current_zero_raw4": 102, "line_mm_per_raw": 0.25, "force_n": 12.0}
    rows = [row.split() for row in facts(found, Units("in")).splitlines()[2:]]
    assert rows == [
        ["stroke", "8.000", "in"],
        ["creep", "0.100", "in/s,", "0.200", "in/s"],
        ["quiet", "yes"],
        ["current", "zero", "25.5", "raw"],
        ["line", "0.25", "mm/raw"],
        ["force", "12", "N"],
    ]
