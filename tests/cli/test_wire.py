"""rodbench wire: the tables, the pictures, and a rod whose wires nobody knows."""

from __future__ import annotations

import json
import re
import tomllib
import xml.etree.ElementTree as ElementTree
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rodbench.bench.ask import Answers, Asker, Question
from rodbench.bench.identify import identify, ohm, wire_names
from rodbench.cli.main import cli
from rodbench.errors import NeedsPerson, ProcedureError, UsageError
from rodbench.science import wiring
from rodbench.show import identified
from rodbench.show.schematic import picture

from tests.procedures.meter import Wires, wrong

TOP = Path(__file__).resolve().parents[2]
PINS = tomllib.loads((TOP / "firmware_reference" / "pins.toml").read_text("utf-8"))["pin"]
COLOURS = ("red", "black", "blue", "white", "green")
MACHINE = """\
machine_file = 1
[rods.north]
stroke_mm = 200
[rods.south]
stroke_mm = 200
feedback = "none"
[axes.1]
rod = "north"
driver = "pwm-input-and-line"
current_sensor = "centred"
current_zero = 0.5
current_sensor_ratiometric = true
[axes.2]
rod = "south"
"""


def run(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    cli.main(["wire", *words], standalone_mode=False)
    return capsys.readouterr().out


def as_json(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    return json.loads(run(capsys, *words, "--json"))


# ---------------------------------------------------------------- tables


def test_pins_are_those_of_the_firmware() -> None:
    by_name = {pin["c"]: pin for pin in PINS}
    assert {name: by_name[name]["pin"] for name in wiring.PINS} == wiring.PINS
    for axis, kind in ((1, wiring.DRIVERS[0]), (2, wiring.DRIVERS[0]), (1, wiring.DRIVERS[2])):
        for row in wiring.wired(axis, kind, "one-sided", False, True).connections:
            found = next((pin for pin in PINS if pin["pin"] == row.pin), None)
            if found is not None:
                assert found["at_reset"].startswith("input")
                assert ("held low" in row.in_reset) == ("pull-down" in found["at_reset"])
                for value in re.findall(r"\d+ (?:kohm|nF)", row.through):
                    assert value in found["wire"], f"{row.pin}: {value}"


@pytest.mark.parametrize("kind", wiring.DRIVERS)
def test_each_driver_has_its_table(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    data = as_json(capsys, "--driver", kind)["axes"][0]
    states = {state["name"]: state for state in data["states"]}
    assert set(states) == {"off", "brake", "drive +", "drive -"}
    lines = [row for row in data["connections"] if "H-bridge 1, " in row["to"] and row["in_reset"]]
    assert all(len(state["levels"]) == len(lines) for state in states.values())
    assert all("10 kohm to ground" in row["through"] for row in lines)
    assert all(set(states["off"]["levels"]) <= {"low", "any"} for _ in states)
    assert "stop switch" in str(data["connections"])
    text = run(capsys, "--driver", kind)
    for row in data["connections"]:
        assert row["pin"] in text
    assert max(map(len, text.splitlines()[:25])) <= 80


def firmware_table(kind: str) -> list[list[str]]:
    """Rows of a driver's table in the firmware's README, which tests/board holds to the pins."""
    text = (TOP / "firmware_reference" / "README.md").read_text("utf-8")
    part = text.split(f"**`{kind}`**")[1].split("\n**`")[0]
    rows = [[cell.strip() for cell in line.strip("| ").split("|")]
            for line in part.splitlines() if line.startswith("|")]  # fmt: skip
    return rows[:1] + rows[2:6]


@pytest.mark.parametrize("kind", wiring.DRIVERS)
def test_levels_are_those_of_the_firmware(kind: str) -> None:
    heads, *rows = firmware_table(kind)
    driver = wiring.driver_of(kind, 1)
    for (pin, _), head in zip(driver.lines, heads[-len(driver.lines) - 1 : -1], strict=True):
        assert re.search(rf"\b{pin}\b", head), f"{pin}: {head}"
    words = {"output, 20 kHz": "PWM", "inverted output, 20 kHz": "PWM inverted", "as it was": "any"}
    theirs = {
        name.strip(): (tuple(words.get(c, c) for c in cells), motor.replace("**", ""))
        for names, *cells, motor in rows
        for name in names.replace("−", "-").split(",")
    }
    for state in driver.states:
        levels, motor = theirs[state.name]
        assert state.levels == levels
        if kind != "pwm-and-one-direction-line":  # there it is up to the bridge
            for doing in ("coasts", "brakes"):
                assert (doing in state.motor) == (doing in motor), state


def test_what_each_costs_and_refuses(capsys: pytest.CaptureFixture[str]) -> None:
    assert "costs the second axis" in run(capsys, "--driver", "two-pwm-inputs")
    with pytest.raises(UsageError, match="axis 1 alone"):
        run(capsys, "2", "--driver", "two-pwm-inputs")
    with pytest.raises(UsageError, match="nothing can creep"):
        run(capsys, "--driver", "relays")
    with pytest.raises(UsageError, match="no driver known"):
        run(capsys, "--driver", "three-wires")
    with pytest.raises(UsageError, match="no current sensor known"):
        run(capsys, "--driver", "two-pwm-inputs", "--sensor", "clamp")


def test_a_machine_file_says_it_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(MACHINE)
    data = as_json(capsys, "-m", str(path))
    north, south = data["axes"]
    assert (north["rod"], north["driver"], north["current_sensor"]) == (
        "north", "pwm-input-and-line", "centred",
    )  # fmt: skip
    assert any("Ratiometric" in line for line in north["remarks"])
    assert (south["pot"], south["driver"]) == (False, "pwm-and-two-direction-lines")
    assert not [row for row in south["connections"] if "wiper" in row["to"]]
    assert [axis["axis"] for axis in as_json(capsys, "2", "-m", str(path))["axes"]] == [2]
    with pytest.raises(UsageError, match="one picture shows one axis"):
        run(capsys, "-m", str(path), "--svg", str(tmp_path / "both.svg"))
    run(capsys, "1", "-m", str(path), "--svg", str(tmp_path / "north.svg"))
    assert "rod north" in (tmp_path / "north.svg").read_text()


# ---------------------------------------------------------------- the series resistor


def board_current_a(place: float, pot_ohm: float, swapped: str, series_ohm: float) -> float:
    """What the board's 5 V gives, by node voltages: feed - series - lead of one end, ground on the
    lead of the other; the wiper's lead changed with one of them. Nodes: 5 V, end, wiper, end."""
    upper, lower = max((1 - place) * pot_ohm, 1e-3), max(place * pot_ohm, 1e-3)
    fed, grounded = {"right": (0, 2), "supply": (1, 2), "ground": (0, 1)}[swapped]
    matrix, right = np.zeros((3, 3)), np.zeros(3)
    for one, two, ohms in ((0, 1, upper), (1, 2, lower)):
        for a, b in ((one, two), (two, one)):
            matrix[a, a] += 1 / ohms
            matrix[a, b] -= 1 / ohms
    matrix[fed, fed] += 1 / series_ohm
    right[fed] += 5.0 / series_ohm
    matrix[grounded] = 0.0
    matrix[grounded, grounded], right[grounded] = 1.0, 0.0
    volts = np.linalg.solve(matrix, right)
    return float((5.0 - volts[fed]) / series_ohm)


@pytest.mark.parametrize("pot_ohm", [1_000.0, 5_000.0, 10_000.0, 100_000.0])
def test_a_swapped_wiper_cannot_short_the_board(pot_ohm: float) -> None:
    worst = 0.0
    for place, swapped in product(np.linspace(0, 1, 41), ("supply", "ground")):
        drawn = board_current_a(place, pot_ohm, swapped, wiring.SERIES_OHM)
        said = wiring.swapped_current_a(float(place), pot_ohm, swapped)
        assert said == pytest.approx(drawn, rel=1e-4)
        worst = max(worst, drawn)
    assert worst == pytest.approx(wiring.short_current_a(), rel=1e-4)
    assert worst < 0.04, "an ATmega board's 5 V pin gives ten times that"
    assert wiring.series_power_w() < 0.5 * 0.25, "a quarter-watt resistor at half its rating"


@pytest.mark.parametrize(("pot_ohm", "kept"), [(10_000.0, 0.97847), (5_000.0, 0.95785)])
def test_the_span_it_costs(pot_ohm: float, kept: float) -> None:
    # By hand: 10 000 / 10 220 and 5 000 / 5 220.
    assert wiring.span_kept(pot_ohm) == pytest.approx(kept, abs=1e-5)
    current = board_current_a(0.5, pot_ohm, "right", wiring.SERIES_OHM)
    assert current * pot_ohm / 5.0 == pytest.approx(kept, abs=1e-5)
    said = wiring.wired(1, wiring.DRIVERS[0], "none", False, True).remarks
    assert any(f"{100 * (1 - kept):.1f} %" in line and "23 mA" in line for line in said)


# ---------------------------------------------------------------- pictures


def words_of(svg: str) -> list[str]:
    root = ElementTree.fromstring(svg)
    return ["".join(node.itertext()).strip() for node in root.iter() if node.tag.endswith("}text")]


@pytest.mark.parametrize("kind", wiring.DRIVERS)
@pytest.mark.parametrize("sensor", wiring.SENSORS)
@pytest.mark.parametrize("pot", [True, False])
def test_the_picture_matches_the_table(kind: str, sensor: str, pot: bool) -> None:
    plan = wiring.wired(1, kind, sensor, False, pot)
    words = words_of(picture(plan, "north"))
    pins = [row.pin for row in plan.connections if row.in_reset or row.pin in ("5V", "GND")]
    drawn = [word for word in words if re.fullmatch(r"[AD]\d+|5V|GND", word)]
    assert sorted(drawn) == sorted(pins), "each pin once, and no other"
    for _, use in plan.driver.lines:
        assert use in words
    values = " ".join(row.through for row in plan.connections)
    for unit, short in (("kohm", "k"), ("nF", "n")):
        wanted = re.findall(rf"(\d+) {unit}", values)
        assert sorted(w for w in words if re.fullmatch(rf"\d+ {short}", w)) == sorted(
            f"{number} {short}" for number in wanted
        )
    assert ("220" in words) == pot
    assert {"fuse", "stop switch: cuts motor power", "rod north"} <= set(words)
    assert (sensor in words) == (sensor != "none")


def test_no_words_of_a_picture_lie_on_one_another() -> None:
    for kind, sensor, pot in product(wiring.DRIVERS, wiring.SENSORS, (True, False)):
        svg = picture(wiring.wired(1, kind, sensor, False, pot), "north")
        boxes = []
        for node in ElementTree.fromstring(svg).iter():
            if node.tag.endswith("}text"):
                text, size = "".join(node.itertext()).strip(), float(node.get("font-size", "11"))
                x, y, wide = float(node.get("x", "0")), float(node.get("y", "0")), 0.62 * size
                left = {"start": 0.0, "middle": 0.5, "end": 1.0}[node.get("text-anchor", "start")]
                x -= left * wide * len(text)
                boxes.append((x, y - size, x + wide * len(text), y, text))
        for number, one in enumerate(boxes):
            for two in boxes[:number]:
                apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
                assert apart, f"{kind} {sensor}: '{one[4]}' on '{two[4]}'"


# ---------------------------------------------------------------- unknown wires


class Person:
    """Answers the questions of a dialogue from the circuit, as a person with a meter would."""

    def __init__(self, wires: Wires, names: tuple[str, ...]) -> None:
        self.wires, self.names, self.asked = wires, names, list[str]()

    def answer(self, question: Question) -> str | None:
        self.asked.append(question.id)
        kind, *rest = question.id.split("_")
        if kind == "ohm":
            true = self.wires.ohm(self.names.index(rest[0]), self.names.index(rest[1]))
            return "OL" if true > 20e6 else f"{(true + 0.2) / 1000:.3f}k" if true > 999 else "5.2"
        if kind == "battery":
            pair = [self.names.index(name) for name in rest]
            return "yes" if self.wires.battery_moves(pair) else "no"
        if kind == "moved":
            self.wires.move()
            return "moved"
        return "yes"


@pytest.mark.parametrize("place", [0.3, 1.0])
def test_a_dialogue_names_every_wire(place: float) -> None:
    roles = ("W", "m", "B", "M", "A")
    person, said = Person(Wires(roles, place=place, at_end="open"), COLOURS), list[str]()
    found = identify(COLOURS, Asker(person), said.append)
    assert wrong(found.verdict, roles) == []
    data = identified.as_data(COLOURS, found.verdict, 2)
    assert data["decided"]
    assert (data["motor"], data["pot_ends"], data["wiper"]) == (
        ["black", "white"], ["blue", "green"], "red",
    )  # fmt: skip
    text = identified.text(COLOURS, found.verdict, 2)
    assert "A1 through 1 kohm" in text
    assert "either way, polarity settles it later" in " ".join(text.split())
    moved = place == 1.0
    assert ("caution_battery" in person.asked) == moved
    assert any("can crush a hand" in line for line in said) == moved
    assert len(person.asked) == len(set(person.asked)), "no question twice"


def test_the_answers_of_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    roles = ("A", "M", "W", "m", "B")
    person = Person(Wires(roles, place=0.4), COLOURS)
    found = identify(COLOURS, Asker(person), lambda _: None)
    path = tmp_path / "answers.toml"
    lines = ['motor_among = "yes"', *(f'{name} = "{answer}"' for name, answer in found.readings)]
    path.write_text("\n".join(lines))
    words = ("--identify", "--wires", ", ".join(COLOURS), "--answers", str(path))
    data = as_json(capsys, *words)
    assert data["wires"]["blue"]["is"] == "pot, wiper"
    assert data["wires"]["blue"]["goes_to"].startswith("A0")
    assert data["decided"]
    path.write_text("\n".join(lines[:-1]))
    with pytest.raises(NeedsPerson, match="ohm_"):
        run(capsys, *words)


def test_a_powered_sensor_is_not_guessed() -> None:
    names = COLOURS
    found = identify(names, Asker(Person(Wires("VMGmO"), names)), lambda _: None)
    text = identified.text(names, found.verdict, 1)
    data = identified.as_data(names, found.verdict, 1)
    assert set(data["powered_sensor"]) == {"red", "blue", "green"}
    assert "do not guess" in text
    assert "5V through" not in text


def test_readings_that_fit_nothing_end_as_such(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "answers.toml"
    pairs = [(a, b) for a in COLOURS for b in COLOURS if a != b]
    path.write_text("\n".join(["motor_among = true", *(f'ohm_{a}_{b} = "5"' for a, b in pairs)]))
    with pytest.raises(ProcedureError, match="no wiring known here"):
        run(capsys, "--identify", "--wires", ",".join(COLOURS), "--answers", str(path))


@pytest.mark.parametrize(
    ("typed", "value", "half"),
    [("0.5", 0.5, 0.05), ("4.7k", 4700, 50), ("4k7", 4700, 50), ("5 kohm", 5000, 500),
     ("470", 470, 0.5), ("470R", 470, 0.5), ("1.2M", 1.2e6, 5e4), ("10.02 kΩ", 10020, 5),
     ("5ohm", 5, 0.5), ("open", np.inf, 0), ("OL", np.inf, 0), ("O.L", np.inf, 0)],
)  # fmt: skip
def test_ohm_as_a_person_types_it(typed: str, value: float, half: float) -> None:
    assert (ohm(typed).ohm, ohm(typed).half) == (pytest.approx(value), pytest.approx(half))


@pytest.mark.parametrize("typed", ["", "4,7k", "-5", "k", "4k7k", "ten", "5 V"])
def test_what_is_no_reading(typed: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        ohm(typed)


def test_a_bad_reading_is_refused_with_its_id() -> None:
    answers = Answers({"ohm_red_black": "4,7k", "motor_among": "yes"})
    with pytest.raises(UsageError, match=r"ohm_red_black.*decimal comma"):
        identify(("red", "black"), Asker(answers), lambda _: None)


@pytest.mark.parametrize("names", ["red", "red, Red", "a,b,c,d,e,f,g,h,i", "", "red, ++"])
def test_names_that_do_not_do(names: str) -> None:
    with pytest.raises(UsageError):
        wire_names(names)
