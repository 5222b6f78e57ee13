"""rodbench wire: supply, fuse, wire, drivers and a first test on a switch."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from rodbench.cli.main import cli
from rodbench.errors import SettingsError, UsageError

# Invented: two rods that run with 1.4 A and stall at 6 A, 2 m to the bridges and 3 m to each motor.
MACHINE = """\
machine_file = 1
[board]
supply_nominal_v = 12.0
supply_rated_a = 3.0
supply_wire_length_m = 2.0
stop_input = "normally-closed"
[rods.north]
stroke_mm = 200
running_a = 1.4
stall_a = 6.0
pot_ohm = 10000
[rods.south]
stroke_mm = 200
running_a = 1.4
stall_a = 6.0
feedback = "none"
[axes.1]
rod = "north"
driver_continuous_a = 5.0
driver_peak_a = 10.0
motor_wire_length_m = 3.0
[axes.1.limits]
trip_a = 4.5
[axes.2]
rod = "south"
current_sensor = "none"
motor_wire_length_m = 3.0
"""


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    path = tmp_path / "machine.toml"
    path.write_text(MACHINE)
    return path


def run(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    cli.main(["wire", *words], standalone_mode=False)
    return capsys.readouterr().out


def as_json(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    return json.loads(run(capsys, *words, "--json"))


def test_a_machine_by_hand(machine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2.8 A / 0.75 = 3.7, the trip is 4.5: a fuse of 5 A. 1.5 mm2 loses 0.312 V of 12 V, hot, as
    1.0 mm2 would lose 0.457 V (tests/procedures has the sum). Supply 1.25 x 2.8 = 3.5 A."""
    data = as_json(capsys, str(machine))["motor_current"]
    assert data["fuse"] == {"take_a": 5.0, "least_a": 4.5, "fitted_a": None}
    assert (data["wires"]["mm2"]["name"], data["wires"]["awg"]["name"]) == ("1.5 mm2", "AWG 16")
    assert data["wires"]["mm2"]["drops"][1]["running_hot_v"] == pytest.approx(0.3119, abs=1e-4)
    assert data["supply"] == {"word": "too small", "least_a": 3.5, "least_peak_a": 12.0}
    words = [driver["word"] for driver in data["drivers"]]
    assert words == ["fits", "not known"]
    assert data["pots"][0]["at_pin_ohm"] == pytest.approx(1000 + 5220 * 5000 / 10220)
    text = run(capsys, str(machine))
    for said in ("1.5 mm2", "AWG 16", "3.5 A or more", "too small", "0.31 V 2.6 %", "1.04 V"):
        assert said in text
    assert max(map(len, text.split("motor current")[1].split("Axis 1 runs")[0].splitlines())) <= 80


def test_what_is_not_known_is_asked_for_by_its_key(
    machine: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    missing = as_json(capsys, str(machine))["motor_current"]["not_known"]
    assert [each["give_it_as"] for each in missing] == [
        "driver_continuous_a under [axes.2]",
        "driver_peak_a under [axes.2]",
    ]
    for line in (
        "running_a = 1.4\n",
        "stall_a = 6.0\n",
        "motor_wire_length_m = 3.0\n",
        "supply_wire_length_m = 2.0\n",
        "supply_rated_a = 3.0\n",
        "pot_ohm = 10000\n",
    ):
        machine.write_text(MACHINE.replace(line, "", 1))
        data = as_json(capsys, str(machine))["motor_current"]
        key = line.split(" ")[0]
        assert any(key in each["give_it_as"] for each in data["not_known"]), key
        lines = run(capsys, str(machine)).splitlines()
        assert [line for line in lines if line.startswith("not known: ") and f"{key} " in line]
        if key == "running_a":
            assert data["fuse"]["take_a"] is None
            assert data["wires"]["mm2"] is None


def test_a_gap_is_filled_from_the_command_line(
    machine: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    machine.write_text(MACHINE.replace("running_a = 1.4\n", "", 1))
    words = ("1", "-m", str(machine), "--running", "2.9 A", "--length", "10 ft")
    data = as_json(capsys, *words)["motor_current"]
    assert data["fuse"]["take_a"] == 7.5, "(2.9 + 1.4) / 0.75 = 5.7"
    # 10 ft carry both: 2 x 3.048 m x 4.3 A, hot: 1.5 mm2 0.417 V, 3.5 %; 2.5 mm2 0.250 V.
    assert data["wires"]["mm2"]["name"] == "2.5 mm2"
    assert data["wires"]["mm2"]["drops"][0]["running_hot_v"] == pytest.approx(0.2503, abs=1e-4)
    with pytest.raises(UsageError, match="of one axis: which"):
        run(capsys, "-m", str(machine), "--running", "1 A")


def test_without_a_file(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--driver", "two-pwm-inputs", "--supply", "12", "--running", "1.5 A", "--stall", "6 A"]
    words += ["--length", "3 m", "--pot", "47 kohm", "--drop", "5 %", "--ambient", "45 degC"]
    data = as_json(capsys, *words)["motor_current"]
    assert data["fuse"]["take_a"] == 2.0
    assert data["wires"]["ambient_c"] == 45.0
    assert {each["give_it_as"].split(" ")[0] for each in data["not_known"]} == {
        "supply_rated_a", "driver_continuous_a", "driver_peak_a",
    }  # fmt: skip
    text = run(capsys, *words)
    assert "ABOVE the 10 kohm advised" in text
    bare = run(capsys, "--driver", "two-pwm-inputs")
    for option in ("--supply", "--running", "--stall", "--length", "--pot"):
        assert option in bare
    assert bare.count("not known:") == 9


def test_what_a_figure_means_for_others(machine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sentences that stand only where they are true."""
    cases = [  # words, a change of the file, and whether they stand before and after it
        ("reads up to 28.5 V", "supply_nominal_v = 12.0", "supply_nominal_v = 24.0", False),
        (
            "it may limit before the fuse opens",
            "supply_rated_a = 3.0",
            "supply_rated_a = 7.0",
            True,
        ),
        ("bears that for minutes or for ever", "stall_a = 6.0", "stall_a = 7.0", True),
        ("A fuse of 5 A would do", "[board]", "[board]\nfuse_a = 10.0", False),
        ("draw 2.4 times the fuse", "stall_a = 6.0", "stall_a = 5.0", True),
        ("supply sags or limits", "supply_rated_a = 3.0", "supply_rated_a = 12.0", True),
        ("ratings hold with the cooling", "driver_continuous_a = 5.0\n", "", True),
    ]
    plain = run(capsys, str(machine))
    for words, old, new, before in cases:
        machine.write_text(MACHINE.replace(old, new))
        assert (words in plain) == before, words
        assert (words in run(capsys, str(machine))) != before, words


def test_another_kind_of_board_is_told(machine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one_axis = MACHINE.replace("[board]", '[board]\nkind = "posix-3v3"', 1).split("[axes.2]")[0]
    machine.write_text(one_axis)
    cli.main(["wire", str(machine)], standalone_mode=False)
    assert "are those of a board atmega328p-5v" in capsys.readouterr().err


def test_inches_for_whoever_wants_them(machine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    machine.write_text(MACHINE.replace("[board]", 'show_units = "in"\n[board]', 1))
    assert "6.56 ft from the supply, then 9.84 ft to motor 1" in run(capsys, "-m", str(machine))


def test_what_does_not_go_together_is_said(
    machine: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def problems(old: str, new: str) -> list[str]:
        machine.write_text(MACHINE.replace(old, new))
        data = as_json(capsys, str(machine))["motor_current"]
        for line in data["does_not_go_together"]:
            assert f"! Does not go together: {line}." in run(capsys, str(machine))
        return list(data["does_not_go_together"])

    assert problems("[board]", "[board]\nfuse_a = 5.0") == []
    (small,) = problems("[board]", "[board]\nmotor_wire_mm2 = 0.5\nwire_drop_max = 0.5")
    assert small.startswith("no fuse does both: what runs takes 4.5 A or more, and the wire (0.5")
    burns = problems("[board]", "[board]\nfuse_a = 10.0\nmotor_wire_awg = 18\nwire_drop_max = 0.5")
    assert burns == ["the wire (AWG 18) carries 6 A and burns before the fuse of 10 A opens"]
    (lost,) = problems("supply_wire_length_m = 2.0", "supply_wire_length_m = 200.0")
    assert lost.startswith("no wire up to 10 mm2 keeps the drop")
    machine.write_text(MACHINE)
    much = as_json(capsys, "1", "-m", str(machine), "--running", "31 A")["motor_current"]
    # (31 + 1.4) / 0.75 = 43.2
    assert much["does_not_go_together"][0].startswith("no fuse of the series bears it: 43.2 A")


def test_where_the_stop_goes(machine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = " ".join(run(capsys, "-m", str(machine)).split())
    for said in (
        "in supply +, behind the fuse and ahead of every bridge",
        "stop input (D8) is no emergency stop",
        "breaks direct current",
        "Local codes and those licensed",
    ):
        assert said in text
    data = as_json(capsys, "1", "-m", str(machine))["axes"][0]
    assert any(row["pin"] == "D8" for row in data["connections"])
    machine.write_text(MACHINE.replace('stop_input = "normally-closed"\n', ""))
    data = as_json(capsys, "1", "-m", str(machine))["axes"][0]
    assert not any(row["pin"] == "D8" for row in data["connections"])


def test_the_picture_has_the_figures(machine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    svg = machine.with_name("one.svg")
    run(capsys, str(machine), "1", "--svg", str(svg))
    drawn = svg.read_text("utf-8")
    for figure in (">5 A<", ">wire 1.5 mm2 or AWG 16<", ">100 u<", ">22 n<", ">D8<"):
        assert figure in drawn


def test_a_first_test_on_a_switch(
    machine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: Any
) -> None:
    svg = tmp_path / "first.svg"
    data = as_json(capsys, "--switch-only", "2", "-m", str(machine), "--svg", str(svg))
    current = data["motor_current"]
    assert current["fuse"]["take_a"] == 2.0, "one rod alone, 1.4 A / 0.75, and no trip"
    assert "drivers" not in current
    assert any("hand on the switch" in line for line in data["switch_only"]["cautions"])
    assert any("Local codes" in line for line in data["switch_only"]["cautions"])
    assert ">2 A<" in svg.read_text("utf-8")
    monkeypatch.chdir(tmp_path / "..")
    text = run(capsys, "--switch-only")
    assert "double-pole double-throw" in text
    assert "--running" in text
    assert "driver" not in text.lower().replace("driver_", "")


def test_a_first_test_takes_the_supply_of_a_new_machine_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "machine.toml"
    file.write_text("machine_file = 1\n[board]\nsupply_nominal_v = 24.0\nsupply_rated_a = 10.0\n")
    text = run(capsys, "--switch-only", "-m", str(file), "--running", "1.5 A")
    assert "45 W" in text  # for good: 1.5 A / 0.8 at 24 V
    assert "10 A" in text
    assert "give it as --supply" not in text


def test_words_that_cannot_be_meant(machine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words, said in (
        (("--length", "3,5 m"), "decimal comma"),
        (("--length", "3 kg"), "'kg' cannot be turned into m"),
        (("--length", "0 m"), "must be above 0"),
        (("--running", "nan"), "must be above 0"),
        (("--drop", "60 %"), "at most 50 %"),
        (("3",), "'3' is no axis"),
        (("1", "2"), "'2' is no axis"),
        (("--wires", "a, b"), "belongs to --identify"),
        (("--sensor", "none"), "goes with --driver"),
    ):
        with pytest.raises(UsageError, match=said.replace("(", r"\(")) as caught:
            run(capsys, *words, "-m", str(machine))
        assert caught.value.kept == "nothing was written"
    with pytest.raises(SettingsError, match="is a folder"):
        run(capsys, str(machine.parent))
    with pytest.raises(UsageError, match="there is no"):
        run(capsys, str(machine.with_name("other.toml")))
    with pytest.raises(UsageError, match="cannot write"):
        run(capsys, "1", "-m", str(machine), "--svg", str(machine / "x.svg"))
