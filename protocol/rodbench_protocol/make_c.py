"""Makes the firmware's schema.h and schema.c."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rodbench_protocol import rules
from rodbench_protocol.errors import SchemaError
from rodbench_protocol.schema import HEADER_SIZE, Body, MessageType, Names, Rule, Schema, Setting
from rodbench_protocol.settings import AXIS, LIVE, OTHER, TABLE_GOOD, key_ranges

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
KEYS_MAX = 126  # numbers above are operators in core/rule.h
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
    lines = [_MADE, '#include "../core/rule.h"', ""]
    for scope in schema.settings:
        lines += _table(schema, scope)
    for scope in schema.settings:
        lines += _program(schema, scope)
    return "\n".join(lines)


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
        "/* Keys run from 1 to `keys`. Key k lies at at[k - 1]; the scope's size comes last. */"
    ]
    for scope in schema.settings:
        lines += [
            "typedef struct __attribute__((packed)) {",
            "    uint8_t keys;",
            f"    uint8_t at[KEY_{scope.upper()}_LAST + 1u];",
            f"    settings_{scope}_t least, most, initial;",
            f"}} key_table_{scope}_t;",
            f"extern const key_table_{scope}_t key_table_{scope} CORE_ROM;",
            "",
        ]
    lines += [
        "/* The cross rules, for core/rule.c: plain ones, then of changes, then of both axes. */"
    ]
    lines += [f"extern const uint8_t rules_{scope}[] CORE_ROM;" for scope in schema.settings]
    return [*lines, f"#define RULE_DEPTH {_depth(schema)}u", ""]


def _table(schema: Schema, scope: str) -> list[str]:
    entries, keys = schema.settings[scope], schema.keys(scope)
    if [key.id for key in keys] != list(range(1, len(keys) + 1)) or len(keys) > KEYS_MAX:
        raise SchemaError([f"{scope}: keys run from 1 to {KEYS_MAX} at most, without a gap"])
    for entry in entries:
        if entry.type in ("i8", "i16"):
            why = "the firmware reads signed settings of 32 bits only"
            raise SchemaError([f"setting {entry.name}: {why}"])
    size = schema.scope_size(scope)
    places = ", ".join(str(place) for place in (*(key.offset for key in keys), size))
    return [
        f'_Static_assert(sizeof(settings_{scope}_t) == SETTINGS_{scope.upper()}_SIZE, "packed");',
        f"const key_table_{scope}_t key_table_{scope} CORE_ROM = {{",
        f"    KEY_{scope.upper()}_LAST,",
        f"    {{{places}}},",
        *(f"    {{{_values(entries, figure)}}}," for figure in ("min", "max", "default")),
        "};",
        "",
    ]


def _values(entries: Sequence[Setting], figure: str) -> str:
    return ", ".join(_value(entry, getattr(entry, figure)) for entry in entries)


def _value(entry: Setting, value: int) -> str:
    return str(value) if entry.count == 1 else f"{{{', '.join([str(value)] * entry.count)}}}"


def _program(schema: Schema, scope: str) -> list[str]:
    lines = [f"const uint8_t rules_{scope}[] CORE_ROM = {{"]
    for rule in _in_order(schema, scope):
        code = ", ".join(_code(schema, rule))
        key = _places(schema, scope)[rule.key]
        lines.append(f"    {code}, RULE_CHECK, {rule.id}, {key}, /* {rule.name} */")
    return [*lines, "    RULE_END,", "};", ""]


def _in_order(schema: Schema, scope: str) -> list[Rule]:
    mine = [rule for rule in schema.rules if rule.scope == scope]
    return sorted(mine, key=lambda rule: (rule.peer, rule.change))


def _code(schema: Schema, rule: Rule) -> list[str]:
    """The condition, if there is one, and what must then be true."""
    places, ranges = _places(schema, rule.scope), key_ranges(schema, rule.scope)
    parts = [part for part in (rule.when, rule.expr) if part]
    return [step for part in parts for step in rules.to_code(part, places, ranges)]


def _depth(schema: Schema) -> int:
    """With the 1 below all, which stands for a condition that there is not."""
    return 1 + max(rules.depth(_code(schema, rule)) for rule in schema.rules)


def _places(schema: Schema, scope: str) -> dict[str, str]:
    places = {AXIS: "RULE_AXIS", TABLE_GOOD: "RULE_TABLE"}
    for key in schema.keys(scope):
        first = f"KEY_{scope.upper()}_{key.setting.name.upper()}"
        place = first if key.setting.count == 1 else f"{first} + {key.id - key.setting.id}"
        places[key.name] = place
        places[LIVE + key.name] = f"RULE_LIVE({place})"
        places[OTHER + key.name] = f"RULE_OTHER({place})"
    return places
