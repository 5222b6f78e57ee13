"""The C made from the schema, compiled here: rules, defaults and layout equal Python's."""

import ctypes
import random
import subprocess

import pytest
from rodbench_protocol import load_schema, settings
from rodbench_protocol.__main__ import ROOT

SOURCE = ROOT / "firmware_reference/src/generated/schema.c"


class Entry(ctypes.Structure):
    _fields_ = (
        *((n, ctypes.c_uint8) for n in ("key", "count", "offset", "width")),
        ("min", ctypes.c_int16),
        *((n, ctypes.c_int32) for n in ("max", "default")),
    )


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    target = tmp_path_factory.mktemp("schema") / "schema.so"
    strict = ["-std=c11", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-O1", "-ftrapv"]
    command = ["gcc", *strict, "-shared", "-fPIC", "-o", str(target), str(SOURCE)]
    subprocess.run(command, check=True)
    return ctypes.CDLL(str(target))


def first_broken(live, values):
    """rule << 8 | key of the first plain and the first change rule, as the C functions give."""
    ids = {k.name: k.id for k in settings.KEYS["axis"]}
    change = {r.id for r in load_schema().rules if r.change}
    found = settings.check("axis", values, live)
    for in_change in (False, True):
        codes = [p.rule_id << 8 | ids[p.key] for p in found if (p.rule_id in change) == in_change]
        yield codes[0] if codes else 0


def near(rng, key, values):
    """A value likely to sit at the edge of some rule."""
    entry = key.setting
    anchors = [entry.min, entry.max, entry.default, *rng.sample(list(values.values()), 3)]
    chosen = rng.choice(anchors) + rng.choice((-1, 0, 0, 1))
    chosen = rng.randint(entry.min, entry.max) if rng.random() < 0.3 else chosen
    return min(max(chosen, entry.min), entry.max)


def test_rules_give_the_same(library):
    rng = random.Random(11)
    seen = set()
    live = settings.defaults("axis")
    for _ in range(20_000):
        values = dict(live) if rng.random() < 0.5 else settings.defaults("axis")
        if rng.random() < 0.8:
            values |= {"feedback": 1, "calibrated": 1, "raw_retracted": 7410, "raw_extended": 612}
        for key in rng.sample(settings.KEYS["axis"], rng.randint(0, 4)):
            values[key.name] = near(rng, key, values)
        data, before = (settings.pack_scope("axis", v) for v in (values, live))
        plain, change = first_broken(live, values)
        assert library.rule_check_axis(data) == plain
        assert library.change_check_axis(before, data) == change
        seen |= {plain >> 8, change >> 8}
        live = live if plain else values
    assert seen == {0} | {r.id for r in load_schema().rules if r.scope == "axis"}


def test_board_rules_give_the_same(library):
    (rule,) = [r for r in load_schema().rules if r.scope == "board"]
    ids = {k.name: k.id for k in settings.KEYS["board"]}
    for reading in (0, 1, 4399, 4400, 5000, 5500):
        values = settings.defaults("board") | {"board_5v_mv": reading}
        broken = settings.check("board", values)
        code = library.rule_check_board(settings.pack_scope("board", values))
        assert code == sum(p.rule_id << 8 | ids[p.key] for p in broken)
        assert bool(broken) == (reading in (1, 4399)), rule.text


@pytest.mark.parametrize("scope", ["board", "axis"])
def test_tables_give_layout_limits_and_defaults(library, scope):
    entries = load_schema().settings[scope]
    table = (Entry * len(entries)).in_dll(library, f"setting_entries_{scope}")
    data = settings.pack_scope(scope, settings.defaults(scope))
    for row, entry in zip(table, entries, strict=True):
        assert (row.key, row.count, row.width) == (entry.id, entry.count, entry.width)
        assert (row.min, row.max, row.default) == (entry.min, entry.max, entry.default)
        value = data[row.offset : row.offset + row.width]
        assert int.from_bytes(value, "little", signed=entry.type[0] == "i") == entry.default
