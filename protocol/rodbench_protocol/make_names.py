"""Makes names.py: enumerations, bit fields and stream tuples as typed Python."""

from __future__ import annotations

from rodbench_protocol.schema import Body, Names, Schema

_TUPLES = (
    ("AxisTelemetry", "telemetry_axis"),
    ("BoardTelemetry", "telemetry_board"),
    ("Event", "event"),
)
_RENAMED = {"fault": "FaultBits"}


def names_module(schema: Schema) -> str:
    """Text of names.py."""
    parts = [
        '"""Names and numbers of the wire. Made by `python -m rodbench_protocol`."""',
        "from __future__ import annotations",
        "from enum import IntEnum, IntFlag\nfrom typing import Final, NamedTuple",
        _constants(schema),
        _message_ids(schema),
    ]
    parts += [_int_enum(n) for n in schema.enums.values()]
    parts += [_int_flag(n) for n in schema.bits.values()]
    parts += [_tuple(cls, schema.messages[name].body, name) for cls, name in _TUPLES]
    return (
        "\n\n\n".join(parts)
        .replace("annotations\n\n\nfrom", "annotations\n\nfrom")
        .replace('protocol`."""\n\n\n', 'protocol`."""\n\n')
        .replace("NamedTuple\n\n\n", "NamedTuple\n\n")
        + "\n"
    )


def _constants(schema: Schema) -> str:
    numbers = {k: v for k, v in schema.protocol.items() if isinstance(v, int)}
    lines = [f"{name.upper()}: Final = {value}" for name, value in numbers.items()]
    return "\n".join([*lines, f"SCHEMA_DIGEST: Final = 0x{schema.digest:08X}"])


def _message_ids(schema: Schema) -> str:
    lines = [f"    {m.name.upper()} = 0x{m.id:02X}" for m in schema.messages.values()]
    head = 'class MessageId(IntEnum):\n    """Message ids without the reply flag."""\n\n'
    return head + "\n".join(lines)


def class_name(name: str) -> str:
    """axis_state -> AxisState."""
    return "".join(part.capitalize() for part in name.split("_"))


def _sentence(text: str) -> str:
    """The first sentence, so that docstrings stay on one line."""
    return text.split(". ")[0].rstrip(".") + "."


def _int_enum(names: Names) -> str:
    lines = [f"    {c.name.upper()} = {c.value}" for c in names.values]
    head = f'class {class_name(names.name)}(IntEnum):\n    """{_sentence(names.doc)}"""\n\n'
    return head + "\n".join(lines)


def _int_flag(names: Names) -> str:
    lines = [f"    {c.name.upper()} = 0x{1 << c.value:X}" for c in names.values]
    title = _RENAMED.get(names.name, class_name(names.name))
    doc = "Faults as bits." if names.name in _RENAMED else _sentence(names.doc)
    return f'class {title}(IntFlag):\n    """{doc}"""\n\n' + "\n".join(lines)


def _tuple(title: str, body: Body, name: str) -> str:
    lines = [f"    {f.name}: int" for f in body.fields]
    head = f'class {title}(NamedTuple):\n    """{name}; `counter` is the header\'s."""\n\n'
    return head + "    counter: int\n" + "\n".join(lines)
