"""The C made from the schema, compiled here: rules, defaults and layout equal Python's."""

import ctypes
import random
import struct
import subprocess

import pytest
from rodbench_protocol import load_schema, rules, settings
from rodbench_protocol.__main__ import ROOT

KINDS = load_schema().board_kinds
C = ROOT / "firmware_reference/src"
SOURCES = (
    C / "generated/schema.c",
    *(C / f"core/{name}.c" for name in ("bytes", "key", "rule", "number", "position", "div")),
)


@pytest.fixture(scope="module")
def libraries(tmp_path_factory):
    """The tables and rules of each kind of board."""
    return {name: built(tmp_path_factory.mktemp(name), name) for name in KINDS}


def built(folder, kind):
    target = folder / "schema.so"
    strict = ["-std=c11", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-O1", "-ftrapv"]
    command = ["gcc", *strict, f"-DCORE_KIND={kind.upper()}", "-shared", "-fPIC", "-o", target]
    assertion = folder / "assertion.c"
    assertion.write_text("#include <stdlib.h>\nvoid core_assert_failed(void) { abort(); }\n")
    subprocess.run([*command, *SOURCES, assertion, f"-I{C}"], check=True)
    library = ctypes.CDLL(str(target))
    library.rule_broken.restype = ctypes.c_uint16
    library.key_value.restype = ctypes.c_int32
    for name in ("key_last", "key_at", "key_width", "key_allows"):
        getattr(library, name).restype = ctypes.c_uint8
    return library


PLAIN = {r.id for r in load_schema().rules if not r.change and not r.peer}


def sort_of(rule_id):
    """Plain rules look at one scope; others at the one in force before, or beside it."""
    (rule,) = [r for r in load_schema().rules if r.id == rule_id]
    return "change" if rule.change else "peer" if rule.peer else "plain"


def first_broken(live, values, peer, kind):
    """rule << 8 | key of the first plain, change or peer rule, as the C function gives."""
    ids = {k.name: k.id for k in settings.KEYS["axis"]}
    found = settings.check("axis", values, live, peer=peer, kind=kind)
    sorts = ("plain", "change", "peer")
    found = sorted(found, key=lambda p: sorts.index(sort_of(p.rule_id)))
    return found[0].rule_id << 8 | ids[found[0].key] if found else 0


def of_a_rule(rng):
    """The keys that some rule reads, and a few others."""
    rule = rng.choice([r for r in load_schema().rules if r.scope == "axis"])
    read = rules.names_in(settings.whole_expression(rule))
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
    for _ in range(30_000):
        values = dict(live) if rng.random() < 0.5 else settings.defaults("axis")
        if rng.random() < 0.8:
            values |= {"feedback": 1, "calibrated": 1, "raw_retracted": 7410, "raw_extended": 612}
        for key in rng.sample(of_a_rule(rng), rng.randint(0, 3)):
            values[key.name] = near(rng, key, values)
        data, before = (settings.pack_scope("axis", v) for v in (values, live))
        axis = rng.choice((1, 2))
        # `live` stands beside as well: half of all are fitted, some take both PWM pins.
        broken = first_broken(live, values, settings.Peer(axis, live), kind)
        assert library.rule_broken(axis, data, before, before) == broken
        seen.add(broken >> 8)
        live = live if broken >> 8 in PLAIN else values
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
        data = settings.pack_scope("board", values)
        code = libraries[kind].rule_broken(0, data, data, data)
        assert code == sum(p.rule_id << 8 | ids[p.key] for p in broken)
        assert bool(broken) == (reading in low)


def test_supply_limits_give_the_same(libraries):
    """By hand: low must be below nominal, high above it or 0."""
    check = libraries["atmega328p_5v"].rule_broken
    for changes, broken in (
        ({"supply_low_mv": 11999}, 0),
        ({"supply_low_mv": 12000}, 16 << 8 | 6),
        ({"supply_high_mv": 12001}, 0),
        ({"supply_high_mv": 12000}, 17 << 8 | 7),
        ({"supply_low_mv": 30000, "supply_high_mv": 1}, 16 << 8 | 6),
    ):
        values = settings.defaults("board") | changes
        data = settings.pack_scope("board", values)
        assert check(0, data, data, data) == broken
        found = [p.rule_id for p in settings.check("board", values)]
        assert found[:1] == [broken >> 8] * bool(broken)


@pytest.mark.parametrize(("number", "scope"), [(0, "board"), (1, "axis"), (2, "axis")])
def test_keys_give_layout_and_limits(libraries, number, scope):
    library = libraries["atmega328p_5v"]
    values = {k.name: max(k.setting.max - k.id % 2, 0) for k in settings.KEYS[scope]}
    data = settings.pack_scope(scope, values)
    assert library.key_last(number) == len(values)
    assert library.key_at(number, len(values) + 1) == len(data)
    for key in settings.KEYS[scope]:
        entry = key.setting
        place = library.key_at(number, key.id), library.key_width(number, key.id)
        assert place == (key.offset, entry.width)
        assert library.key_value(number, key.id, data) == values[key.name]
        for value in (entry.min - 1, entry.min, entry.max, entry.max + 1):
            good = entry.min <= value <= entry.max
            if -(2**31) <= value < 2**31:
                assert library.key_allows(number, key.id, value) == good


@pytest.mark.parametrize("scope", ["board", "axis"])
def test_tables_end_with_the_defaults(libraries, scope):
    data = settings.pack_scope(scope, settings.defaults(scope))
    keys = len(settings.KEYS[scope])
    table = (ctypes.c_uint8 * (2 + keys + 3 * len(data))).in_dll(
        libraries["atmega328p_5v"], f"key_table_{scope}"
    )
    assert bytes(table)[-len(data) :] == data


OPERATORS = (
    "a + b - c == 7",
    "a * b // b * 3 <= c * c + 14",
    "abs(c - a) >= b and not a == c",
    "a != 3 and b > 1 or c < 0",
    "a > 0 and c != 0 or b == 1 and t == 1",
    "(a == 0 or t != 1) and (abs(c) * 20000 - 45000 - b * 9000 < a * 30000 or axis == 2)",
    "live_a <= a and other_b + 64 > b + live_a * 7 + 65",
    "a * 7001 - 63 >= b * 16384 - c",
    "table_good == 1 or a > 4",
)


def test_every_operator_gives_what_python_gives(tmp_path):
    """A schema of its own, whose axis has four keys; the C is built from what the rules become."""
    ranges = {"a": (0, 9), "b": (1, 5), "c": (-3, 3), "t": (0, 1), "axis": (1, 2)}
    ranges |= {f"{where}_{name}": ranges[name] for where in ("live", "other") for name in "abct"}
    places = {name: str(1 + "abct".index(name)) for name in "abct"}
    ranges["table_good"] = ranges["t"]
    places |= {"axis": "RULE_AXIS", "table_good": "RULE_TABLE"}
    for where in ("live", "other"):
        places |= {f"{where}_{n}": f"RULE_{where.upper()}({places[n]})" for n in "abct"}
    codes = [rules.to_code(expr, places, ranges) for expr in OPERATORS]
    library = rules_library(tmp_path, codes)
    rng = random.Random(7)
    goods = [rules.to_python(expr, ranges) for expr in OPERATORS]
    seen = set()
    for _ in range(4000):
        values = {name: rng.randint(*ranges[name]) for name in ranges}
        values["table_good"] = values["t"]
        sets = [
            struct.pack("<BBiB", *(values[where + n] for n in "abct"))
            for where in ("", "live_", "other_")
        ]
        for number, good in enumerate(goods):
            library.select(number)
            broken = library.rule_broken(values["axis"], *sets) == 0x0908
            assert broken != good(values), (OPERATORS[number], values)
            seen.add((number, broken))
    assert seen == {(n, b) for n in range(len(OPERATORS)) for b in (True, False)}


def rules_library(folder, codes):
    """core/rule.c over programs of one rule each; `select` takes one of them."""
    depth = 1 + max(rules.depth(code) for code in codes)
    longest = max(len(", ".join(code)) for code in codes)
    rows = ",\n".join(f"{{{', '.join(code)}, RULE_CHECK, 9, 8, RULE_END}}" for code in codes)
    source = folder / "programs.c"
    source.write_text(f"""
#include <string.h>
#include "core/rule.h"
#include "core/key.h"
#include "core/position.h"
static const uint8_t programs[][{longest}] = {{ {rows} }};
uint8_t rules_board[{longest}], rules_axis[{longest}];
void select(int number) {{ memcpy(rules_axis, programs[number], sizeof rules_axis); }}
int32_t key_value(uint8_t scope, uint8_t key, const void *data)
{{
    const uint8_t *at = data;
    int32_t wide;
    (void)scope;
    memcpy(&wide, at + 2, sizeof wide);
    return key == 3 ? wide : at[key == 4 ? 6 : key - 1];
}}
""")
    # its own schema.h and position.h stand in for the real ones
    (folder / "generated").mkdir()
    (folder / "core").mkdir()
    for name in ("rule.h", "rule.c", "key.h", "number.h", "number.c", "port.h"):
        (folder / "core" / name).write_bytes((C / "core" / name).read_bytes())
    (folder / "core/position.h").write_text(
        "#define position_table_good(set) (((const uint8_t *)(set))[6])\n"
    )
    (folder / "generated/schema.h").write_text(
        f"#include <stdint.h>\n#define RULE_DEPTH {depth}\n"
        "extern uint8_t rules_board[], rules_axis[];\n"
    )
    target = folder / "rules.so"
    command = ["gcc", "-std=c11", "-Wall", "-Wextra", "-Werror", "-O1", "-ftrapv", f"-I{folder}"]
    files = [source, folder / "core/rule.c", folder / "core/number.c"]
    subprocess.run([*command, "-shared", "-fPIC", *files, "-o", target], check=True)
    library = ctypes.CDLL(str(target))
    library.rule_broken.restype = ctypes.c_uint16
    return library
