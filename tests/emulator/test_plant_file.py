"""The plant file: strict, and every error names its line."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from rodbench.emulator.faults import KINDS
from rodbench.emulator.plant_file import Machine, default_machine, default_text, dump, load, parse
from rodbench.emulator.plant_keys import KEYS
from rodbench.emulator.random_plants import full_speed, random_machine
from rodbench.errors import SettingsError

HEAD = "plant_file = 1\n"


def test_the_packaged_plant_is_the_ridge_vent() -> None:
    machine = default_machine()
    north, south = machine.rods[1], machine.rods[2]
    assert (north.name, south.name) == ("north", "south")
    assert north.motor.reversed
    assert north.pot.extended < north.pot.retracted
    # bench figures: 8.1 and 8.6 mm/s at 12.4 V
    assert full_speed(north, 12.4, 1) == pytest.approx(8.1, abs=0.1)
    assert full_speed(north, 12.4, -1) == pytest.approx(8.6, abs=0.1)
    assert 5.5 < 12.4 / north.motor.resistance_ohm < 6.5
    assert "invented" in default_text()


@pytest.mark.parametrize("seed", range(20))
def test_what_is_written_reads_back(seed: int) -> None:
    machine = random_machine(seed, axes=2)
    assert parse(dump(machine), "dump") == machine


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("name = 'x'\n", 1, "plant_file = 1 is missing"),
        (HEAD + "[supply]\nvolt = 12\n", 3, "supply has no key 'volt'"),
        (HEAD + "\n[axes.1.motor]\nfriction_a = 1.0\n", 4, "no key 'friction_a'"),
        (HEAD + "[axes.1]\nstroke_mm = '200'\n", 3, "must be a number"),
        (HEAD + "[axes.1]\nstroke_mm = 1e9\n", 3, "outside 5 .. 2000 mm"),
        (HEAD + "[axes.1]\nstroke_mm = nan\n", 3, "outside"),
        (HEAD + "[axes.1.ends]\nkind = 'soft'\n", 3, "is not one of switch, hard, clutch"),
        (HEAD + "[axes.1.motor]\nreversed = 1\n", 3, "must be true or false"),
        (HEAD + "[axes.3]\nname = 'x'\n", 2, "there is no axis 3"),
        (HEAD + "seed = 1.5\n", 2, "must be a whole number"),
        (HEAD + "[axes.1]\nstart_mm = 300\n", 3, "beyond stroke_mm"),
        (HEAD + "[axes.1.pot]\nretracted = 0.5\nextended = 0.5\n", 4, "same at both ends"),
        (HEAD + "[[faults]]\nkind = 'pot_open'\n\n[[faults]]\nkind = 'jam'\n", 2, "axis of a rod"),
        (HEAD + "[axes.1]\n[[faults]]\nkind = 'jam'\naxis = 1\n", 3, "jam needs value"),
        (HEAD + "[axes.1]\n[[faults]]\naxis = 1\n", 3, "no kind"),
        (HEAD + "[axes.1]\n[[faults]]\nkind='jam'\naxis=1\nvalue=1\nat=3\n", 7, "no key 'at'"),
        (HEAD + "axes = 3\n", 2, "axes is not a table"),
        (HEAD + "[axes]\n1 = 5\n", 3, "is not a table"),
        (HEAD + "faults = 1\n", 2, "not a list"),
        (HEAD + "[supply]\nvolts = 12,4\n", 3, "not TOML"),
        (HEAD + "[engine]\n", 2, "no key 'engine'"),
    ],
)
def test_an_error_names_its_line(text: str, line: int, words: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse(text, "vent.toml")
    assert caught.value.message.startswith(f"vent.toml:{line}: ")
    assert words in caught.value.message
    assert caught.value.kept
    assert caught.value.hint or "start_mm" in text


def test_an_unknown_key_brings_its_neighbours() -> None:
    with pytest.raises(SettingsError) as caught:
        parse(HEAD + "[axes.1.motor]\nresistance = 2\n", "x.toml")
    assert "resistance_ohm" in (caught.value.hint or "")


def test_a_decimal_comma_is_told() -> None:
    with pytest.raises(SettingsError, match="volts = 12,4") as caught:
        parse(HEAD + "[supply]\nvolts = 12,4\n", "x.toml")
    assert "comma" in (caught.value.hint or "")


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        load(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b"name = '\xe9'\n")
    with pytest.raises(SettingsError, match="UTF-8"):
        load(tmp_path / "latin.toml")


def machine_value(machine: Machine, table: str, name: str) -> object:
    part: object = machine
    if table.startswith("axes.N"):
        part = machine.rods[1]
        for step in table.split(".")[2:]:
            part = getattr(part, step)
    elif table.endswith("[]"):
        part = getattr(machine, table[:-2])[0]
    elif table:
        part = getattr(machine, table)
    return getattr(part, name)


def test_every_documented_key_is_read_and_has_the_documented_default() -> None:
    steps = "[[faults]]\nkind = 'jam'\naxis = 1\nvalue = 5\n[[inputs]]\nkind = 'extend'\n"
    machine = parse(HEAD + "[axes.1]\n" + steps, "x")
    for key in KEYS:
        if key.name == "plant_file" or key.table == "faults[]":
            continue
        assert machine_value(machine, key.table, key.name) == key.default, key


@pytest.mark.parametrize("key", [k for k in KEYS if k.name != "plant_file"], ids=str)
def test_every_documented_key_reaches_the_machine(key: object) -> None:
    from rodbench.emulator.plant_keys import Key

    assert isinstance(key, Key)
    value: object
    if key.name == "kind" and key.table == "faults[]":
        value = "motor_open"
    elif key.choices:
        value = key.choices[-1]
    elif isinstance(key.default, bool):
        value = not key.default
    elif isinstance(key.default, str):
        value = "other"
    elif key.table == "faults[]" and key.name == "axis":
        value = 1
    elif key.table == "inputs[]" and key.name == "axis":
        value = 2
    else:
        step = 1 if isinstance(key.default, int) else 0.01
        value = key.default + (step if key.default + step <= key.high else -step)
    shown = str(value).lower() if isinstance(value, bool) else repr(value)
    table = key.table.replace("N", "1")
    is_list = table.endswith("[]")
    header = f"[[{table[:-2]}]]" if is_list else f"[{table}]" if table else ""
    text = HEAD + f"{header}\n{key.name} = {shown}\n"
    if key.table == "faults[]":
        text += "" if key.name == "kind" else "kind = 'motor_open'\n"
        text += "" if key.name == "axis" else "axis = 1\n"
    elif is_list and key.name != "kind":
        text += "kind = 'pulse'\n"
    text += "[axes.1]\nstart_mm = 0.0\n" if key.name == "max_mm" else ""
    if not key.table.startswith("axes"):
        text += "[axes.1]\n"
    assert machine_value(parse(text, "x"), key.table, key.name) == value


def test_the_printed_table_has_every_key_and_fault() -> None:
    from rodbench.cli.emulate import command

    printed = CliRunner().invoke(command, ["--keys"])
    assert printed.exit_code == 0
    for key in KEYS:
        assert f"  {key.name} " in printed.output
        assert key.doc in printed.output
    for kind in KINDS:
        assert kind in printed.output


def test_random_plants_keep_to_their_ranges() -> None:
    seen: dict[str, set[object]] = {"polarity": set(), "end": set(), "volts": set()}
    for seed in range(300):
        machine = random_machine(seed)
        rod, volts = machine.rods[1], machine.supply.volts
        motor, stall = rod.motor, machine.supply.volts / rod.motor.resistance_ohm
        assert 20 <= rod.stroke_mm <= 600
        for sense in (1, -1):
            speed = full_speed(rod, volts, sense)
            assert 5 <= speed <= 60
            assert 4 <= rod.stroke_mm / speed <= 40
        span = abs(rod.pot.extended - rod.pot.retracted)
        assert 0.399 <= span <= 0.981
        assert rod.pot.noise_lsb <= 2
        friction = (motor.friction_extend_a + motor.friction_retract_a) / 2 / stall
        assert 0.04 * 0.9 <= friction <= 0.20 * 1.1
        load = rod.load.at(rod.stroke_mm) / (rod.screw.efficiency * motor.constant_v_s_per_mm * 1e3)
        assert abs(load) <= 0.301 * stall
        source = machine.supply.source_ohm
        assert source / (source + motor.resistance_ohm) <= 0.1501
        assert 5.0 / rod.sensor.v_per_a >= stall  # the sensor sees a stall
        seen["polarity"].add((motor.reversed, rod.pot.extended > rod.pot.retracted))
        seen["end"].add(rod.ends.kind)
        seen["volts"].add(volts > 20)
    assert len(seen["polarity"]) == 4
    assert seen["end"] == {"switch", "hard"}
    assert seen["volts"] == {True, False}


def test_a_random_plant_repeats() -> None:
    assert random_machine(7) == random_machine(7)
    assert random_machine(7) != random_machine(8)
