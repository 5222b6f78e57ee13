"""Makes the firmware's schema.h and schema.c."""

from __future__ import annotations

from collections.abc import Iterator

from rodbench_protocol import rules
from rodbench_protocol.errors import SchemaError
from rodbench_protocol.schema import HEADER_SIZE, Body, MessageType, Names, Rule, Schema, Setting
from rodbench_protocol.settings import AXIS, LIVE, OTHER, key_ranges, whole_expression

_C_TYPES = {
    k: f"{'u' if k[0] == 'u' else ''}int{k[1:]}_t" for k in ("u8", "i8", "u16", "i16", "u32", "i32")
}
_KIND_FIGURES = (
    "id",
    "axes",
    "adc_full_scale",
    "adc_reference_mv",
    "current_full_scale",
    "supply_full_scale",
)
_OF_KIND = ("reference_mv", "full_scale", "current_full_scale")  # of core/port.h
_MADE = "/* Made by `python -m rodbench_protocol` from protocol/schema.toml. Do not edit. */"


def c_header(schema: Schema) -> str:
    """Text of schema.h."""
    lines = [_MADE, "#ifndef RODBENCH_SCHEMA_H", "#define RODBENCH_SCHEMA_H", ""]
    lines += ["#include <stdint.h>", '#include "../core/port.h"', ""]
    lines += _constants(schema)
    for names in schema.enums.values():
        lines += _enum(names)
    for names in schema.bits.values():
        lines += _bits(names)
    for message in schema.messages.values():
        lines += _message(message)
    for scope in schema.settings:
        lines += _scope(schema, scope)
    lines += _declarations(schema)
    return "\n".join([*lines, "#endif", ""])


def c_source(schema: Schema) -> str:
    """Text of schema.c: tables in ROM and the cross rules."""
    lines = [_MADE, '#include "schema.h"', ""]
    for scope in schema.settings:
        lines += _table(schema, scope)
    checks = [line for scope in schema.settings for line in _rule_functions(schema, scope)]
    lines += _absolutes(checks)
    return "\n".join([*lines, *checks])


def _absolutes(checks: list[str]) -> list[str]:
    lines: list[str] = []
    for bits, kind in ((16, "int"), (32, "int32_t")):
        if any(f"rule_abs_{bits}" in line for line in checks):
            lines += [
                f"static {kind} rule_abs_{bits}({kind} a)",
                "{",
                "    return a < 0 ? -a : a;",
                "}",
                "",
            ]
    return lines


def _constants(schema: Schema) -> list[str]:
    numbers = {k: v for k, v in schema.protocol.items() if isinstance(v, int)}
    lines = [f"#define {_proto(name)} {_number(value)}" for name, value in numbers.items()]
    lines += [
        f"#define SCHEMA_DIGEST UINT32_C(0x{schema.digest:08X})",
        f"#define HEADER_SIZE {HEADER_SIZE}u",
        f"#define BODY_MAX {schema.body_max}u",
        "",
    ]
    for kind in schema.board_kinds.values():
        for name in _KIND_FIGURES:
            figure = "axis_count" if name == "axes" else name
            lines.append(f"#define {kind.name.upper()}_{figure.upper()} {getattr(kind, name)}u")
    return [*lines, ""]


def _proto(name: str) -> str:
    return f"PROTOCOL_{name.upper()}" if name in ("major", "minor", "baud") else name.upper()


def _number(value: int) -> str:
    return f"UINT32_C({value})" if value > 65535 else f"{value}u"


def _enum(names: Names) -> list[str]:
    lines = [f"/* {names.doc} */"]
    lines += [
        f"#define {names.name.upper()}_{c.name.upper()} {c.value}u /* {c.doc} */"
        for c in names.values
    ]
    return [*lines, f"#define {names.name.upper()}_LAST {max(c.value for c in names.values)}u", ""]


def _bits(names: Names) -> list[str]:
    lines = [f"/* {names.doc} As bits. */"]
    suffix = "_BIT" if names.name == "fault" else ""
    lines += [
        f"#define {names.name.upper()}_{c.name.upper()}{suffix} {_number(1 << c.value)}"
        for c in names.values
    ]
    return [*lines, ""]


def _message(message: MessageType) -> list[str]:
    name = message.name.upper()
    lines = [
        f"/* {message.name}, {message.direction}. Offsets count from the body's first byte. */"
    ]
    lines.append(f"#define MSG_{name} 0x{message.id:02X}u")
    lines += _offsets(name, message.body)
    if message.reply.fields:
        lines += _offsets(f"{name}_REPLY", message.reply)
    return [*lines, ""]


def _offsets(prefix: str, body: Body) -> Iterator[str]:
    for field in body.fields:
        place = f"{prefix}_{field.name.upper()}"
        yield f"#define {place}_AT {field.offset}u"
        if field.is_text:
            yield f"#define {place}_SIZE {field.size}u"
        if field.items:
            yield f"#define {place}_ITEM_SIZE {field.size}u"
        for item in field.items:
            yield f"#define {place}_{item.name.upper()}_AT {item.offset}u"
    yield f"#define {prefix}_BODY_MIN {body.least}u"
    yield f"#define {prefix}_BODY_SIZE {body.size}u"


def _scope(schema: Schema, scope: str) -> list[str]:
    entries = schema.settings[scope]
    upper = scope.upper()
    lines = [f"#define KEY_{upper}_{s.name.upper()} {s.id}u" for s in entries]
    lines += [
        f"#define KEY_{upper}_LAST {schema.keys(scope)[-1].id}u",
        f"#define SETTINGS_{upper}_SIZE {schema.scope_size(scope)}u",
        f"#define SETTINGS_{upper}_ENTRIES {len(entries)}u",
        "",
        "/* In memory as digested and stored: keys in id order, packed, little-endian. */",
        "typedef struct __attribute__((packed)) {",
        *(_member(s) for s in entries),
        f"}} settings_{scope}_t;",
        "",
    ]
    return lines


def _member(entry: Setting) -> str:
    count = f"[{entry.count}]" if entry.count > 1 else ""
    return f"    {_C_TYPES[entry.type]} {entry.name}{count};"


def _declarations(schema: Schema) -> list[str]:
    lines = [
        "/* One settings entry: `count` keys from `key` on, each `width` bytes wide. */",
        "typedef struct {",
        "    uint8_t key, count, offset, width;",
        "    int16_t min;",
        "    int32_t max, def;",
        "} setting_entry_t;",
        "",
    ]
    for scope in schema.settings:
        entries = f"SETTINGS_{scope.upper()}_ENTRIES"
        lines += [
            f"extern const setting_entry_t setting_entries_{scope}[{entries}] CORE_ROM;",
            f"/* 0, or rule << 8 | key of the first broken rule. {scope.capitalize()} scope. */",
            f"uint16_t rule_check_{scope}(const settings_{scope}_t *s);",
            "/* The same for rules about the change from the live settings. */",
            f"uint16_t change_check_{scope}(const settings_{scope}_t *live,"
            f" const settings_{scope}_t *s);",
            "",
        ]
    lines += [
        "/* The same for rules about both axes: `axis` is this one's number, `other` in force. */",
        "uint16_t peer_check_axis(uint8_t axis, const settings_axis_t *other,"
        " const settings_axis_t *s);",
        "",
    ]
    return lines


def _table(schema: Schema, scope: str) -> list[str]:
    entries = schema.settings[scope]
    head = f"const setting_entry_t setting_entries_{scope}[SETTINGS_{scope.upper()}_ENTRIES]"
    size = f"sizeof(settings_{scope}_t) == SETTINGS_{scope.upper()}_SIZE"
    head = f'_Static_assert({size}, "packed");\n' + head
    return [head + " CORE_ROM = {", *(_row(s) for s in entries), "};", ""]


def _row(s: Setting) -> str:
    if s.type in ("i8", "i16"):
        raise SchemaError([f"setting {s.name}: the firmware reads signed settings of 32 bits only"])
    if not -32768 <= s.min <= 32767:
        raise SchemaError([f"setting {s.name}: the firmware's table holds a min of 16 bits"])
    numbers = f"{s.id}, {s.count}, {s.offset}, {s.width}"
    limits = ", ".join(f"INT32_C({v})" for v in (s.max, s.default))
    return f"    {{{numbers}, {s.min}, {limits}}}, /* {s.name} */"


def _rule_functions(schema: Schema, scope: str) -> list[str]:
    mine = [r for r in schema.rules if r.scope == scope]
    plain = [r for r in mine if not r.change and not r.peer]
    changes = [r for r in mine if r.change]
    peers = [r for r in mine if r.peer]
    struct = f"const settings_{scope}_t *"
    return [
        f"uint16_t rule_check_{scope}({struct}s)",
        *_rule_body(schema, scope, plain, ["s"]),
        f"uint16_t change_check_{scope}({struct}live, {struct}s)",
        *_rule_body(schema, scope, changes, ["live", "s"]),
        *(_peer_function(schema, scope, peers) if peers else []),
    ]


def _peer_function(schema: Schema, scope: str, peers: list[Rule]) -> list[str]:
    struct = f"const settings_{scope}_t *"
    return [
        f"uint16_t peer_check_{scope}(uint8_t axis, {struct}other, {struct}s)",
        *_rule_body(schema, scope, peers, []),
    ]


def _rule_body(schema: Schema, scope: str, some: list[Rule], arguments: list[str]) -> list[str]:
    unused = arguments if not some else []
    lines = ["{", *(f"    (void){name};" for name in unused)]
    ids = {k.name: k.id for k in schema.keys(scope)}
    for rule in some:
        test = rules.to_c(
            whole_expression(rule), _c_names(schema, scope), key_ranges(schema, scope)
        )
        code = f"{rule.id << 8 | ids[rule.key]}u"
        lines.append(f"    if (!{test}) {{ return {code}; }} /* {rule.name} */")
    return [*lines, "    return 0;", "}", ""]


def _c_names(schema: Schema, scope: str) -> dict[str, str]:
    names = {name: f"CORE_{name.upper()}" for name in _OF_KIND} | {AXIS: "axis"}
    for key in schema.keys(scope):
        place = "" if key.setting.count == 1 else f"[{key.id - key.setting.id}]"
        names[key.name] = f"s->{key.setting.name}{place}"
        names[LIVE + key.name] = f"live->{key.setting.name}{place}"
        names[OTHER + key.name] = f"other->{key.setting.name}{place}"
    return names
