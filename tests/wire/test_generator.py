"""The generator refuses a schema that is unsound, and says what is wrong."""

import copy

import pytest
from rodbench_protocol import SchemaError, load_schema, rules
from rodbench_protocol import __main__ as generator
from rodbench_protocol.check import check_schema
from rodbench_protocol.make_c import c_source
from rodbench_protocol.schema import build_schema


@pytest.fixture
def raw():
    return copy.deepcopy(dict(load_schema().raw))


def message(raw, name):
    return next(m for m in raw["message"] if m["name"] == name)


def setting(raw, name):
    return next(s for s in raw["setting"] if s["name"] == name)


def refused(raw):
    with pytest.raises(SchemaError) as caught:
        check_schema(build_schema(raw))
    return "\n".join(caught.value.problems)


def test_the_schema_itself_is_sound(raw):
    check_schema(build_schema(raw))


def test_message_that_just_fits_and_one_byte_more(raw):
    hello = message(raw, "hello")["reply"]
    size = build_schema(raw).messages["hello"].reply.size
    hello.append({"name": "filler", "type": f"char[{59 - size}]", "since": 1})
    check_schema(build_schema(raw))
    hello[-1]["type"] = f"char[{60 - size}]"
    assert "reply of hello: 60 bytes do not fit 59" in refused(raw)


def test_doubled_ids(raw):
    message(raw, "seek")["id"] = message(raw, "run")["id"]
    assert "message id 19 is used 2 times" in refused(raw)


def test_id_in_another_direction_s_range(raw):
    message(raw, "alive")["id"] = 0x71
    assert "alive: id 0x71" in refused(raw)


def test_doubled_names(raw):
    message(raw, "seek")["fields"][1]["name"] = "axis"
    raw["message"].append({**message(raw, "run"), "id": 0x40})
    text = refused(raw)
    assert "seek: field axis is used 2 times" in text
    assert "message name run is used 2 times" in text


def test_reused_key(raw):
    setting(raw, "trip_ms")["id"] = 20
    assert "axis: key 20 is used 2 times" in refused(raw)


def test_key_inside_an_array(raw):
    setting(raw, "table_raw")["count"] = 9
    assert "axis: key 46 is used 2 times" in refused(raw)


def test_overlapping_values(raw):
    raw["enum"]["status"]["values"][3][1] = 2
    assert "status: value 2 is used 2 times" in refused(raw)


def test_list_with_something_behind_it(raw):
    message(raw, "draft_set")["fields"].append({"name": "late", "type": "u8"})
    assert "nothing can follow the list items" in refused(raw)


def test_unknown_enumeration(raw):
    message(raw, "jog")["fields"][1]["enum"] = "jog_mode"
    assert "jog: unit has no enumeration jog_mode" in refused(raw)


def test_scope_that_outgrows_its_slot(raw):
    """A slot has 328 bytes: head 9, board 23, twice an axis of 148, which is full."""
    assert build_schema(raw).scope_size("axis") == 148
    setting(raw, "apart_trip_um")["count"] = 3
    check_schema(build_schema(raw))
    setting(raw, "apart_trip_um")["count"] = 4
    setting(raw, "local_loss_ms")["type"] = "u32"
    text = refused(raw)
    assert "axis: 150 bytes do not fit the slot" in text
    assert "board: 24 bytes do not fit the slot" in text


@pytest.mark.parametrize(
    "change", [{"default": 30001}, {"min": 40000}, {"max": 70000}, {"min": -1}]
)
def test_setting_limits(raw, change):
    setting(raw, "trip_ma").update(change)
    assert "axis.trip_ma: needs 0 <= min <= default <= max <= 65535" in refused(raw)


@pytest.mark.parametrize(
    ("expr", "why"),
    [
        ("trip_mA > 0", "no key trip_mA"),
        ("stroke_um * speed_max_um_s > 0", "may leave 32 bits"),
        ("trip_ma // duty_share_permille // running_ma > 0", "divisor above 0"),
        ("(trip_ma - running_ma) // 2 > 0", "numerator of at least 0"),
        ("trip_ma / 2 > 0", "is not allowed"),
        ("__import__('os')", "is not allowed"),
        ("0 < trip_ma < 5", "is not allowed"),
        ("trip_ma >", "invalid syntax"),
    ],
)
def test_rules_that_are_not_allowed(raw, expr, why):
    raw["rule"][0]["expr"] = expr
    assert why in refused(raw)


def test_rule_without_its_key(raw):
    raw["rule"][0]["key"] = "raw_extendet"
    raw["rule"][1]["id"] = 1
    text = refused(raw)
    assert "no key raw_extendet" in text
    assert "rule id 1 is used 2 times" in text


def test_rules_become_short_programs():
    ranges = {"a": (0, 20000), "b": (-5, 12767), "t": (0, 1), "full_scale": (1023, 4095)}
    places = {name: name.upper() for name in "abt"}
    for expr, code in (
        ("t == 1 and a > 0", "T, A, RULE_AND"),
        ("b > 0", "RULE_SMALL(0), B, RULE_LESS"),
        ("a <= b", "B, A, RULE_NOT_LESS"),
        ("not a == 64", "A, RULE_WORD(INT32_C(64)), RULE_EQUAL, RULE_SMALL(0), RULE_EQUAL"),
        ("a < full_scale * 3", "A, RULE_WORD((CORE_FULL_SCALE * INT32_C(3))), RULE_LESS"),
    ):
        assert ", ".join(rules.to_code(expr, places, ranges)) == code


@pytest.mark.parametrize(
    ("expr", "most"),
    [
        ("a == 1", 2),
        ("a + b + a + b == 1", 2),
        ("a == b - (a - abs(b))", 4),
        ("a == 1 or b == 1", 3),
    ],
)
def test_depth_is_what_lies_on_the_stack_at_most(expr, most):
    places = {"a": "1", "b": "2"}
    assert rules.depth(rules.to_code(expr, places, dict.fromkeys(places, (0, 9)))) == most


def test_constants_that_the_firmware_cannot_hold():
    places, ranges = {"a": "1"}, {"a": (0, 9)}
    rules.to_code("a == 65535", places, ranges)
    for constant in ("65536", "(1 - 2)"):
        with pytest.raises(SchemaError, match=r"within 0\.\.65535"):
            rules.to_code(f"a == {constant}", places, ranges)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"type": "i16"}, "signed settings of 32 bits only"),
        ({"id": 128}, "without a gap"),
    ],
)
def test_settings_that_the_firmware_cannot_hold(raw, change, why):
    raw["setting"].sort(key=lambda s: s["name"] == "trip_ma")
    setting(raw, "trip_ma").update(max=32767, **change)
    with pytest.raises(SchemaError) as caught:
        c_source(build_schema(raw))
    assert why in str(caught.value)


def checkout(path):
    """A folder that looks like a checkout to the generator."""
    (path / "protocol").mkdir()
    (path / "protocol/schema.toml").touch()
    return path


def test_installed_package_makes_nothing(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(generator, "ROOT", tmp_path)
    assert generator.main([]) == 1
    assert "in a checkout only" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_refusal_makes_nothing(raw, monkeypatch, capsys, tmp_path):
    message(raw, "seek")["id"] = 0x13
    monkeypatch.setattr(generator, "load_schema", lambda: build_schema(raw))
    monkeypatch.setattr(generator, "ROOT", checkout(tmp_path))
    assert generator.main([]) == 1
    assert "refused, nothing was made" in capsys.readouterr().err
    assert [p.name for p in tmp_path.rglob("*")] == ["protocol", "schema.toml"]


def test_stale_file_is_told(monkeypatch, capsys, tmp_path):
    kept = tmp_path / "schema.h"
    kept.write_text("old")
    monkeypatch.setattr(generator, "ROOT", checkout(tmp_path))
    monkeypatch.setattr(generator, "products", lambda _: {kept: "new"})
    assert generator.main(["--check"]) == 1
    assert "stale: schema.h" in capsys.readouterr().out
    assert kept.read_text() == "old"
    assert generator.main([]) == 0
    assert kept.read_text() == "new"
    assert generator.main(["--check"]) == 0
