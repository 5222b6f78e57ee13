"""What makes a schema sound by itself, and a fit successor of the released one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

from rodbench_protocol import rules
from rodbench_protocol.errors import SchemaError
from rodbench_protocol.schema import WIDTHS, Field, MessageType, Names, Rule, Schema, Setting
from rodbench_protocol.settings import key_ranges, whole_expression

_ID_RANGES = {"request": (0x00, 0x5F), "one_way": (0x60, 0x6F), "unasked": (0x70, 0x7F)}
SCOPE_MAX = {"board": 23, "axis": 148}
"""Room in a settings slot of 328 bytes, with its head of 9 and both axes."""


def check_schema(schema: Schema) -> None:
    """SchemaError with everything that is wrong in the schema itself."""
    problems = [
        *_doubles("message name", [m["name"] for m in schema.raw["message"]]),
        *_doubles("message id", [m["id"] for m in schema.raw["message"]]),
        *_doubles("rule id", [rule.id for rule in schema.rules]),
    ]
    for message in schema.messages.values():
        problems += _message_problems(schema, message)
    for names in (*schema.enums.values(), *schema.bits.values()):
        problems += _names_problems(names)
    for scope, entries in schema.settings.items():
        problems += _scope_problems(schema, scope, entries)
    for rule in schema.rules:
        problems += _rule_problems(schema, rule)
    if problems:
        raise SchemaError(problems)


def _doubles(what: str, values: Iterable[Any]) -> list[str]:
    return [f"{what} {v} is used {n} times" for v, n in Counter(values).items() if n > 1]


def _message_problems(schema: Schema, message: MessageType) -> list[str]:
    low, high = _ID_RANGES[message.direction]
    problems = []
    if not low <= message.id <= high:
        problems.append(f"{message.name}: id 0x{message.id:02X} is outside {low:#x}..{high:#x}")
    for what, body in (("", message.body), ("reply of ", message.reply)):
        where = what + message.name
        if body.size > schema.body_max:
            problems.append(f"{where}: {body.size} bytes do not fit {schema.body_max}")
        problems += _doubles(f"{where}: field", [f.name for f in body.fields])
        problems += [p for f in body.fields for p in _field_problems(schema, where, f)]
        problems += _order_problems(where, body.fields)
    return problems


def _field_problems(schema: Schema, where: str, field: Field) -> list[str]:
    problems = []
    if field.enum and field.enum not in schema.enums:
        problems.append(f"{where}: {field.name} has no enumeration {field.enum}")
    if field.bits and field.bits not in schema.bits:
        problems.append(f"{where}: {field.name} has no bit field {field.bits}")
    if field.items and any(i.items for i in field.items):
        problems.append(f"{where}: {field.name} is a list of lists")
    return problems


def _order_problems(where: str, fields: Sequence[Field]) -> list[str]:
    problems = []
    for before, after in pairwise(fields):
        if before.items:
            problems.append(f"{where}: nothing can follow the list {before.name}")
        if after.since < before.since:
            problems.append(f"{where}: {after.name} is older than {before.name} before it")
    return problems


def _names_problems(names: Names) -> list[str]:
    return _doubles(f"{names.name}: value", [c.value for c in names.values]) + _doubles(
        f"{names.name}: name", [c.name for c in names.values]
    )


def _scope_problems(schema: Schema, scope: str, entries: Sequence[Setting]) -> list[str]:
    keys = schema.keys(scope)
    problems = _doubles(f"{scope}: key", [k.id for k in keys])
    problems += _doubles(f"{scope}: name", [k.name for k in keys])
    if schema.scope_size(scope) > SCOPE_MAX[scope]:
        problems.append(f"{scope}: {schema.scope_size(scope)} bytes do not fit the slot")
    for entry in entries:
        problems += _setting_problems(schema, entry)
    return problems


def _setting_problems(schema: Schema, entry: Setting) -> list[str]:
    where = f"{entry.scope}.{entry.name}"
    low, high = type_range(entry.type)
    high = min(high, 2**31 - 1)  # values travel as i32
    problems = []
    if not low <= entry.min <= entry.default <= entry.max <= high:
        problems.append(f"{where}: needs {low} <= min <= default <= max <= {high}")
    if entry.enum and entry.enum not in schema.enums:
        problems.append(f"{where}: no enumeration {entry.enum}")
    return problems


def type_range(kind: str) -> tuple[int, int]:
    """Least and greatest value of an integer type."""
    bits = 8 * WIDTHS[kind]
    return (0, 2**bits - 1) if kind[0] == "u" else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)


def _rule_problems(schema: Schema, rule: Rule) -> list[str]:
    ranges = key_ranges(schema, rule.scope)
    problems = [] if rule.key in ranges else [f"rule {rule.name}: no key {rule.key}"]
    if not 1 <= rule.id <= 255:
        problems.append(f"rule {rule.name}: id {rule.id} is not 1..255")
    try:
        rules.check_ranges(whole_expression(rule), ranges)
    except SchemaError as error:
        problems += error.problems
    return problems


# ------------------------------------------------------------------ evolution


def evolution_problems(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    """What `new` breaks of `old`; both are wire parts (see `schema.wire_part`)."""
    if new["protocol"]["major"] != old["protocol"]["major"]:
        return []
    problems: list[str] = []
    if new["protocol"]["minor"] < old["protocol"]["minor"]:
        problems.append("the protocol minor went back")
    for key in ("header", "reply_flag", "frame_max", "tick_us", "stop_frame_max"):
        if new["protocol"][key] != old["protocol"][key]:
            problems.append(f"protocol.{key} changed: that needs a new major")
    minor = int(old["protocol"]["minor"])
    problems += _message_changes(old, new, minor)
    for kind in ("enum", "bits"):
        for name, values in old[kind].items():
            problems += _name_changes(f"{kind} {name}", values, new[kind].get(name, []))
    for scope, entries in old["setting"].items():
        problems += _setting_changes(scope, entries, new["setting"].get(scope, []))
    return problems


def _message_changes(old: Mapping[str, Any], new: Mapping[str, Any], minor: int) -> list[str]:
    by_id = {m["id"]: m for m in new["message"]}
    problems = []
    for before in old["message"]:
        after = by_id.get(before["id"])
        where = f"message 0x{before['id']:02X} {before['name']}"
        if after is None:
            problems.append(f"{where} is gone: ids are kept for ever")
            continue
        if any(after[k] != before[k] for k in ("name", "direction", "session", "since")):
            problems.append(f"{where} became another message: ids are never reused")
        for part in ("fields", "reply"):
            problems += _field_changes(f"{where} {part}", before[part], after[part], minor)
    old_ids = {m["id"] for m in old["message"]}
    for after in new["message"]:
        if after["id"] not in old_ids and after["since"] <= minor:
            problems.append(f"message {after['name']} is new: it needs since > {minor}")
    return problems


def _field_changes(
    where: str, before: Sequence[Any], after: Sequence[Any], minor: int
) -> list[str]:
    if list(after[: len(before)]) != list(before):
        return [f"{where}: a field was inserted, removed or changed: fields are only appended"]
    return [
        f"{where}: {f['name']} was appended: it needs since > {minor}"
        for f in after[len(before) :]
        if f["since"] <= minor
    ]


def _name_changes(where: str, before: Sequence[Any], after: Sequence[Any]) -> list[str]:
    kept = {value: name for name, value in after}
    return [
        f"{where}: {name} = {value} is gone or means something else"
        for name, value in before
        if kept.get(value) != name
    ]


def _setting_changes(scope: str, before: Sequence[Any], after: Sequence[Any]) -> list[str]:
    def layout(entries: Sequence[Any]) -> list[Any]:
        return [list(e[:4]) for e in entries]  # id, name, type, count

    if layout(after)[: len(before)] != layout(before):
        return [f"{scope} settings: keys are only appended at the end of a scope"]
    return []
