"""SPEC.md against itself: its examples are decoded by its own tables, with no code of ours."""

import re

import pytest
from rodbench_protocol import SchemaError, load_schema
from rodbench_protocol.__main__ import ROOT
from rodbench_protocol.make_spec import fill, messages_told

TEXT = (ROOT / "protocol/SPEC.md").read_text()
SECTION = re.compile(r"^### 0x(?P<id>[0-9A-F]{2}) (?P<name>\w+)\n(?P<text>.*?)(?=<!-- end -->)",
                     re.DOTALL | re.MULTILINE)  # fmt: skip
EXAMPLE = re.compile(
    r"^    (?P<name>\w+)\n      means    (?P<means>.*)\n      payload  (?P<payload>.*)\n"
    r"      crc      (?P<crc>.*)\n      frame    (?P<frame>.*)$",
    re.MULTILINE,
)
ROW = re.compile(r"^\| (?P<at>[0-9 +nx]+) \| `(?P<name>\w+)` \| (?P<type>[\w\[\]]+) \|", re.M)
REPLY_HEAD = [("0", "tick", "u32"), ("4", "status", "u8"), ("5", "detail", "u16")]


def uncobs(data):
    out = []
    while data:
        run, data = data[1 : data[0]], data[data[0] :]
        out += [*run, 0]
    return bytes(out[:-1])


def crc(data):
    """Bit by bit, by the parameters in section 2."""
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1 ^ (0x1021 if value & 0x8000 else 0)) & 0xFFFF
    return value


def number(data, at, kind):
    if kind.startswith("char["):
        return data[at : at + int(kind[5:-1])].rstrip(b"\0").decode("ascii")
    size = int(kind[1:]) // 8
    assert at + size <= len(data)
    return int.from_bytes(data[at : at + size], "little", signed=kind[0] == "i")


def decode(body, rows):
    """The example's own notation: `axis 1, unit 1`, and `key 1 = 5; ...` or `item 3 4; ...`."""
    plain, items, names = [], [], []
    for at, name, kind in rows:
        if kind == "list":
            continue
        if "n" in at:
            first, size, offset = (int(n) for n in re.findall(r"\d+", at))
            count = (len(body) - first) // size
            names.append(name)
            items.append([number(body, first + n * size + offset, kind) for n in range(count)])
        else:
            plain.append(f"{name} {number(body, int(at), kind)}")
    shown = "key {} = {}" if names == ["key", "value"] else "item" + " {}" * len(names)
    pairs = "; ".join(shown.format(*item) for item in zip(*items, strict=True))
    return "; ".join(part for part in (", ".join(plain), pairs) if part)


def sections():
    for match in SECTION.finditer(TEXT):
        body, _, reply = match["text"].partition(f"Reply 0x{int(match['id'], 16) | 0x80:02X}")
        yield match["name"], int(match["id"], 16), body, reply


def examples():
    for name, number_, body, reply in sections():
        rows = [(m["at"], m["name"], m["type"]) for m in ROW.finditer(body)]
        yield pytest.param(number_, rows, EXAMPLE.search(body), id=name)
        if reply:
            rows = REPLY_HEAD + [(m["at"], m["name"], m["type"]) for m in ROW.finditer(reply)]
            yield pytest.param(number_ | 0x80, rows, EXAMPLE.search(reply), id=f"{name}_reply")


@pytest.mark.parametrize(("message_id", "rows", "found"), list(examples()))
def test_example(message_id, rows, found):
    payload, frame = bytes.fromhex(found["payload"]), bytes.fromhex(found["frame"])
    assert frame[-1] == 0
    assert 0 not in frame[:-1]
    assert uncobs(frame[:-1]) == payload + bytes.fromhex(found["crc"])
    assert crc(payload) == int.from_bytes(bytes.fromhex(found["crc"]), "big")
    assert crc(uncobs(frame[:-1])) == 0
    assert payload[0] == message_id
    said = f"session 0x{payload[1]:02x}, seq {payload[2]}"
    fields = decode(payload[3:], rows)
    assert found["means"] == said + (f"; {fields}" if fields else "")


def test_every_message_is_told():
    assert messages_told(TEXT) == set(load_schema().messages)
    assert {name for name, *_ in sections()} == set(load_schema().messages)


def test_bad_example_is_bad():
    data = bytes.fromhex(re.search(r"^    bad_crc +(.*)$", TEXT, re.M)[1])
    assert crc(uncobs(data[:-1])) != 0


def test_check_values_in_the_prose():
    assert crc(b"123456789") == 0x29B1
    assert "0x29B1" in TEXT
    assert "0xCBF43926" in TEXT


def test_names_in_the_prose_exist():
    """Every name in backquotes is a name of the schema, or one of the few words listed here."""
    schema = load_schema()
    known = set(schema.messages) | {k.name for s in schema.settings for k in schema.keys(s)}
    known |= {s.name for entries in schema.settings.values() for s in entries}
    for names in (*schema.enums.values(), *schema.bits.values()):
        known |= {names.name} | {c.name for c in names.values}
    for m in schema.messages.values():
        fields = (*m.body.fields, *m.reply.fields)
        known |= {f.name for f in fields} | {i.name for f in fields for i in f.items}
    vectors = {
        "frames", "bad_frames", "bad_payloads", "settings", "sessions", "payload", "crc", "frame",
        "message", "kind", "session", "seq", "fields", "reason", "empty", "cobs", "short", "long",
        "unknown", "cut", "start", "reset_flags", "nonce_seed", "readings", "steps", "pot",
        "current", "supply", "bandgap", "reset", "power_lost", "send", "ticks", "restarts",
        "expect", "events", "never", "at_least", "receive", "transmit", "why", "bad_crc",
        "other", "feature",
    }  # fmt: skip
    others = {"id", "rods", "axes", "limits", "since", "acceleration_um_s2", "current_ua", "live_"}
    others |= {"other_", "axis", "reference_mv", "full_scale", "table_good"}  # of cross rules
    prose = re.sub(r"<!-- made.*?<!-- end -->", "", TEXT, flags=re.DOTALL)
    words = set(re.findall(r"`([a-z_]+)`", prose))
    assert words - known - vectors - others == {"made", "end"}


def test_block_that_nothing_makes_is_refused():
    with pytest.raises(SchemaError):
        fill("<!-- made: nonsense -->\n<!-- end -->", load_schema())
