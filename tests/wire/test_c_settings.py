"""The C made from the schema, compiled here: rules, defaults and layout equal Python's."""

import ctypes
import random
import subprocess

import pytest
from rodbench_protocol import load_schema, settings
from rodbench_protocol.__main__ import ROOT
from rodbench_protocol.rules import names_in

KINDS = load_schema().board_kinds
SOURCE = ROOT / "firmware_reference/src/generated/schema.c"


class Entry(ctypes.Structure):
    _fields_ = (
        *((n, ctypes.c_uint8) for n in ("key", "count", "offset", "width")),
        ("min", ctypes.c_int16),
        *((n, ctypes.c_int32) for n in ("max", "default")),
    )


@pytest.fixture(scope="module")
def libraries(tmp_path_factory):
    """The tables and rules of each kind of board."""
    return {name: built(tmp_path_factory.mktemp(name), name) for name in KINDS}


def built(folder, kind):
    target = folder / "schema.so"
    strict = ["-std=c11", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-O1", "-ftrapv"]
    command = ["gcc", *strict, f"-DCORE_KIND={kind.upper()}", "-shared", "-fPIC", "-o", target]
    subprocess.run([*command, SOURCE], check=True)
    library = ctypes.CDLL(str(target))
    for name in ("rule_check_axis", "change_check_axis", "rule_check_board", "peer_check_axis"):
        getattr(library, name).restype = ctypes.c_uint16
    return library


def sort_of(rule_id):
    """Plain rules look at one scope; others at the one in force before, or beside it."""
    (rule,) = [r for r in load_schema().rules if r.id == rule_id]
    return "change" if rule.change else "peer" if rule.peer else "plain"


def first_broken(live, values, peer, kind):
    """rule << 8 | key of the first plain, change and peer rule, as the C functions give."""
    ids = {k.name: k.id for k in settings.KEYS["axis"]}
    found = settings.check("axis", values, live, peer=peer, kind=kind)
    for sort in ("plain", "change", "peer"):
        codes = [p.rule_id << 8 | ids[p.key] for p in found if sort_of(p.rule_id) == sort]
        yield codes[0] if codes else 0


def of_a_rule(rng):
    """The keys that some rule reads, and a few others."""
    rule = rng.choice([r for r in load_schema().rules if r.scope == "axis"])
    read = names_in(settings.whole_expression(rule))
    return [k for k in settings.KEYS["axis"] if k.name in read] + rng.sample(
        settings.KEYS["axis"], 3
    )


def near(rng, key, values):
    """A value likely to sit at the edge of some rule."""
    entry = key.setting
    anchors = [entry.min, entry.max, entry.default, *rng.sample(list(values.values()), 3)]
    chosen = rng.choice(anchors) + rng.choice((-1, 0, 0, 1))
    chosen = rng.randint(entry.min, entry.max) if rng.random() < 0.3 else chosen
    return min(max(chosen, entry.min), entry.max)


@pytest.mark.parametrize("kind", KINDS)
def test_rules_give_the_same(libraries, kind):
    library = libraries[kind]
    rng = random.Random(11)
    seen = set()
    live = settings.defaults("axis")
    for _ in range(10_000):
        values = dict(live) if rng.random() < 0.5 else settings.defaults("axis")
        if rng.random() < 0.8:
            values |= {"feedback": 1, "calibrated": 1, "raw_retracted": 7410, "raw_extended": 612}
        for key in rng.sample(of_a_rule(rng), rng.randint(0, 3)):
            values[key.name] = near(rng, key, values)
        data, before = (settings.pack_scope("axis", v) for v in (values, live))
        axis = rng.choice((1, 2))
        # `live` stands beside as well: half of all are fitted, some take both PWM pins.
        plain, change, peer = first_broken(live, values, settings.Peer(axis, live), kind)
        assert library.rule_check_axis(data) == plain
        assert library.change_check_axis(before, data) == change
        assert library.peer_check_axis(axis, before, data) == peer
        seen |= {plain >> 8, change >> 8, peer >> 8}
        live = live if plain else values
    assert seen == {0} | {r.id for r in load_schema().rules if r.scope == "axis"}


@pytest.mark.parametrize(
    ("kind", "low"), [("atmega328p_5v", {1, 2903, 2904, 4399}), ("posix_3v3", {1, 2903})]
)
def test_board_rules_give_the_same(libraries, kind, low):
    """By hand: 22/25 of 5000 mV is 4400, of 3300 mV 2904."""
    ids = {k.name: k.id for k in settings.KEYS["board"]}
    for reading in (0, 1, 2903, 2904, 4399, 4400, 5000, 5500):
        values = settings.defaults("board") | {"board_5v_mv": reading}
        broken = settings.check("board", values, kind=kind)
        code = libraries[kind].rule_check_board(settings.pack_scope("board", values))
        assert code == sum(p.rule_id << 8 | ids[p.key] for p in broken)
        assert bool(broken) == (reading in low)


def test_supply_limits_give_the_same(libraries):
    """By hand: low must be below nominal, high above it or 0."""
    check = libraries["atmega328p_5v"].rule_check_board
    for changes, broken in (
        ({"supply_low_mv": 11999}, 0),
        ({"supply_low_mv": 12000}, 16 << 8 | 6),
        ({"supply_high_mv": 12001}, 0),
        ({"supply_high_mv": 12000}, 17 << 8 | 7),
        ({"supply_low_mv": 30000, "supply_high_mv": 1}, 16 << 8 | 6),
    ):
        values = settings.defaults("board") | changes
        assert check(settings.pack_scope("board", values)) == broken
        rules = [p.rule_id for p in settings.check("board", values)]
        assert rules[:1] == [broken >> 8] * bool(broken)


@pytest.mark.parametrize("scope", ["board", "axis"])
def test_tables_give_layout_limits_and_defaults(libraries, scope):
    entries = load_schema().settings[scope]
    table = (Entry * len(entries)).in_dll(libraries["atmega328p_5v"], f"setting_entries_{scope}")
    data = settings.pack_scope(scope, settings.defaults(scope))
    for row, entry in zip(table, entries, strict=True):
        assert (row.key, row.count, row.width) == (entry.id, entry.count, entry.width)
        assert (row.min, row.max, row.default) == (entry.min, entry.max, entry.default)
        value = data[row.offset : row.offset + row.width]
        assert int.from_bytes(value, "little", signed=entry.type[0] == "i") == entry.default
