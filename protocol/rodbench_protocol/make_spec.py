"""Fills SPEC.md: what stands between `<!-- made: NAME -->` and `<!-- end -->`."""

from __future__ import annotations

import re
from collections.abc import Callable

from rodbench_protocol.errors import SchemaError
from rodbench_protocol.examples import SESSION
from rodbench_protocol.schema import HEADER_SIZE, Body, Field, MessageType, Names, Schema, Setting
from rodbench_protocol.script import Json
from rodbench_protocol.vectors import bad_frames, example_frames

_BLOCK = re.compile(r"(<!-- made: (?P<what>[a-z0-9_ ]+) -->\n).*?(<!-- end -->)", re.DOTALL)
_FRAME_EXTRA = HEADER_SIZE + 4
"""Header, CRC, COBS byte and closing zero."""
_RATES = (250_000, 115_200)


def fill(text: str, schema: Schema) -> str:
    """The text with every made block renewed; SchemaError for a block that nothing makes."""

    def renew(match: re.Match[str]) -> str:
        what = match["what"]
        kind, _, name = what.partition(" ")
        if kind == "index":
            return f"{match[1]}{_index(schema, _sections(text))}\n{match[3]}"
        if kind not in _MAKERS:
            raise SchemaError([f"SPEC.md: nothing makes {what!r}"])
        return f"{match[1]}{_MAKERS[kind](schema, name)}\n{match[3]}"

    return _BLOCK.sub(renew, text)


def messages_told(text: str) -> set[str]:
    """Names of the messages that have a block."""
    blocks = (m["what"].partition(" ") for m in _BLOCK.finditer(text))
    return {name for kind, _, name in blocks if kind == "message"}


def _sections(text: str) -> dict[str, str]:
    """The number of the section that tells of each message."""
    found, section = {}, ""
    for m in re.finditer(r"^## (\d+) |<!-- made: message (\w+) -->", text, re.MULTILINE):
        section = m[1] or section
        if m[2]:
            found[m[2]] = section
    return found


def _index(schema: Schema, sections: dict[str, str]) -> str:
    rows = [
        [f"0x{m.id:02X}", f"`{m.name}`", m.direction.replace("_", "-"), _size(schema, m.body),
         _size(schema, m.reply) if m.direction == "request" else "none", sections.get(m.name, "")]
        for m in sorted(schema.messages.values(), key=lambda m: m.id)
    ]  # fmt: skip
    return table(["id", "name", "direction", "body, bytes", "reply's body, bytes", "section"], rows)


def _size(schema: Schema, body: Body) -> str:
    """Length of a body: a number, or what stands before the list and how many items may follow."""
    if not body.fields:
        return "0"
    last = body.fields[-1]
    if not body.list_field:
        return str(last.offset + last.size)
    most = (schema.body_max - last.offset) // last.size
    return f"{last.offset} + {last.size} n, n {last.min_items} to {most}"


def table(head: list[str], rows: list[list[str]]) -> str:
    """A table in Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def spaced(data: str) -> str:
    """Hexadecimal with a blank between bytes."""
    return bytes.fromhex(data).hex(" ")


def _constants(schema: Schema, _: str) -> str:
    words = {
        "major": "protocol major",
        "minor": "protocol minor",
        "frame_max": "longest decoded frame, bytes",
        "reply_flag": "added to a request's id in its reply",
        "tick_us": "tick, us",
        "baud": "line rate, bit/s",
        "alive_period_ms": "period of alive, ms",
        "hold_ms": "hold of jog, run and seek, ms",
        "reply_timeout_ms": "host's wait for a reply, ms",
        "tries": "host's tries of one request",
        "stop_frame_max": "longest encoded stop that has a place beside the queue, bytes",
    }
    rows = [[words[k], str(schema.protocol[k])] for k in words]
    rows.append(["schema digest of this text", f"0x{schema.digest:08X}"])
    return table(["constant", "value"], rows)


def _framing_example(schema: Schema, _: str) -> str:
    good = next(v for v in example_frames(schema) if v["name"] == "jog")
    bad = next(v for v in bad_frames() if v["name"] == "bad_crc")
    return (
        f"{example(good)}\n\nThe last CRC bit wrong, so dropped and counted (`bad_crc`):\n\n"
        f"    bad_crc   {spaced(bad['frame'])} 00"
    )


def example(vector: Json) -> str:
    """A vector as an indented block: payload, CRC, frame, meaning."""
    fields = ", ".join(f"{k} {v}" for k, v in vector["fields"].items() if k != "items")
    items = "; ".join(_item(i) for i in vector["fields"].get("items", ()))
    means = f"session 0x{SESSION:02x}, seq {vector['seq']}"
    means += "".join(f"; {part}" for part in (fields, items) if part)
    return "\n".join(
        [
            f"    {vector['name']}",
            f"      means    {means}",
            f"      payload  {spaced(vector['payload'])}",
            f"      crc      {spaced(vector['crc'])}",
            f"      frame    {spaced(vector['frame'])}",
        ]
    )


def _item(item: Json) -> str:
    """A setting as `key 1 = 5`; an item of another list as its numbers in order."""
    if "key" in item:
        return f"key {item['key']} = {item['value']}"
    return "item " + " ".join(str(value) for value in item.values())


def _message(schema: Schema, name: str) -> str:
    message = schema.messages[name]
    vectors = {v["name"]: v for v in example_frames(schema)}
    origin = f"{message.direction.replace('_', '-')}, since {schema.protocol['major']}"
    parts = [f"### 0x{message.id:02X} {name}", f"({origin}.{message.since}) {message.doc}"]
    parts += _body_part(schema, "Body", message.body)
    parts.append(example(vectors[name]))
    if message.direction == "request":
        parts += _reply_part(schema, message, vectors)
    return "\n\n".join(parts)


def _reply_part(schema: Schema, message: MessageType, vectors: dict[str, Json]) -> list[str]:
    head = f"Reply 0x{message.id | 0x80:02X}"
    own = Body(message.reply.fields[3:], message.since)
    if not own.fields:
        parts = [f"{head}: `tick`, `status`, `detail` and no more, 7 bytes."]
    else:
        title = f"{head}, with `tick`, `status` and `detail` in its first 7 bytes"
        parts = _body_part(schema, title, own)
    return [*parts, example(vectors[f"{message.name}_reply"])]


def _body_part(schema: Schema, title: str, body: Body) -> list[str]:
    if not body.fields:
        return [f"{title}: empty."]
    rows = [row for f in body.fields for row in _field_rows(f)]
    last = body.fields[-1]
    size = f"{last.offset + (last.least_size if last.items else last.size)} bytes"
    if body.list_field:
        most = (schema.body_max - last.offset) // last.size
        size = f"{last.offset} bytes and {last.min_items} to {most} items of {last.size}"
    return [f"{title}: {size}.", table(["offset", "field", "type", "unit", "meaning"], rows)]


def _field_rows(field: Field, base: str = "") -> list[list[str]]:
    names = f"[{field.enum}](#{field.enum})" if field.enum else ""
    names = f"bits of [{field.bits}](#{field.bits})" if field.bits else names
    meaning = "; ".join(part for part in (field.doc, names) if part)
    place = f"{base}{field.offset}"
    rows = [[place, f"`{field.name}`", field.type, field.unit, meaning or "as its name says"]]
    for item in field.items:
        rows += _field_rows(item, f"{field.offset} + n x {field.size} + ")
    return rows


def _enums(schema: Schema, _: str) -> str:
    return "\n\n".join(_names_part(n, "value") for n in schema.enums.values())


def _bits(schema: Schema, _: str) -> str:
    shown = [n for n in schema.bits.values() if n.name != "fault"]
    return "\n\n".join(_names_part(n, "bit") for n in shown)


def _names_part(names: Names, what: str) -> str:
    rows = [[str(c.value), f"`{c.name}`", c.doc] for c in names.values]
    return f"### {names.name}\n\n{names.doc}\n\n" + table([what, "name", "meaning"], rows)


def _settings(schema: Schema, scope: str) -> str:
    head = ["key", "name", "at", "type", "unit", "least", "greatest", "default", "in the file"]
    rows = [_setting_row(s) for s in schema.settings[scope]]
    words = "\n".join(f"- `{s.name}`: {s.doc}" for s in schema.settings[scope])
    size = schema.scope_size(scope)
    return f"{size} bytes; `at` is the offset.\n\n{table(head, rows)}\n\n{words}"


def _setting_row(s: Setting) -> list[str]:
    keys = str(s.id) if s.count == 1 else f"{s.id} - {s.id + s.count - 1}"
    kind = s.type if s.count == 1 else f"{s.type} x {s.count}"
    limits = [str(s.min), str(s.max), str(s.default)]
    return [keys, f"`{s.name}`", str(s.offset), kind, s.unit, *limits, _file_place(s)]


def _file_place(s: Setting) -> str:
    if not s.file:
        return "not in the file"
    if s.enum:
        return f"`{s.file}`, by name"
    if s.file_bool:
        return f"`{s.file}`, true or false"
    if s.file_fraction:
        return f"`{s.file}`, fraction of {4092 if s.unit == 'raw4' else 8184}"
    return f"`{s.file}`" + (f" x {s.scale}" if s.scale != 1 else "")


def _rules(schema: Schema, _: str) -> str:
    rows = [
        [str(r.id), r.name, f"`{r.key}`", _code(r.when) or "always", _code(r.expr), r.text]
        for r in schema.rules
    ]
    return table(["rule", "name", "key", "where", "must hold", "else"], rows)


def _code(expr: str) -> str:
    return f"`{expr}`" if expr else ""


def _kinds(schema: Schema, _: str) -> str:
    rows = [
        [str(k.id), f"`{k.word}`", str(k.axes), str(k.adc_full_scale), str(k.adc_reference_mv),
         str(k.current_full_scale), str(k.supply_full_scale)]
        for k in schema.board_kinds.values()
    ]  # fmt: skip
    head = ["kind", "word", "axes", "full scale of raw", "reference, mV"]
    head += ["full scale of current", "full scale of supply"]
    return table(head, rows)


def _line_load(schema: Schema, _: str) -> str:
    axis = schema.messages["telemetry_axis"].body.size + _FRAME_EXTRA
    board = schema.messages["telemetry_board"].body.size + _FRAME_EXTRA
    alive = schema.messages["alive"].body.size + _FRAME_EXTRA
    rows = [
        _load_row("telemetry_axis, both axes, every 10 ms", axis, 200),
        _load_row("telemetry_board, every 100 ms", board, 10),
        _load_row("both together", 0, 0, total=axis * 200 + board * 10),
        _load_row("telemetry_axis, both axes, every 20 ms", axis, 100),
        _load_row("alive, every 50 ms (host to board)", alive, 20),
    ]
    head = ["what", "bytes on the line", "a second", "bytes/s", "of 250 000 baud", "of 115 200"]
    return table(head, rows)


def _load_row(what: str, size: int, count: int, total: int = 0) -> list[str]:
    load = total or size * count
    shares = [f"{1000 * load / rate:.1f} %" for rate in _RATES]  # ten bits to a byte
    sizes = ["", ""] if total else [str(size), str(count)]
    return [what, *sizes, str(load), *shares]


def _round_trip(schema: Schema, _: str) -> str:
    longest = int(schema.protocol["frame_max"]) + 2
    rows = []
    for rate in _RATES:
        byte_ms = 10_000 / rate
        frame = longest * byte_ms
        ring = 128 * byte_ms
        rows.append(
            [f"{rate}", f"{frame:.1f}", "5", "5", f"{ring:.1f}", f"{2 * frame + 10 + ring:.1f}"]
        )
    head = [
        "baud",
        "longest frame",
        "wait for the tick",
        "one request ahead",
        "frames ahead of the reply",
        "all, with the longest reply",
    ]
    return table(head, rows)


_MAKERS: dict[str, Callable[[Schema, str], str]] = {
    "constants": _constants,
    "framing_example": _framing_example,
    "message": _message,
    "enums": _enums,
    "bits": _bits,
    "settings": _settings,
    "rules": _rules,
    "board_kinds": _kinds,
    "line_load": _line_load,
    "round_trip": _round_trip,
}
