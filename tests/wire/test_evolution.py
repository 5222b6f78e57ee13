"""The rules of change: what is fine passes, and each rule broken on purpose is caught."""

import copy
import json

import pytest
from rodbench_protocol import MessageError, SchemaError, load_schema
from rodbench_protocol import __main__ as generator
from rodbench_protocol.check import check_schema, evolution_problems
from rodbench_protocol.messages import pack, parse, parse_body
from rodbench_protocol.schema import build_schema, wire_part


@pytest.fixture
def raw():
    """The next minor, unchanged so far."""
    raw = copy.deepcopy(dict(load_schema().raw))
    raw["protocol"]["minor"] += 1
    return raw


def message(raw, name):
    return next(m for m in raw["message"] if m["name"] == name)


def problems(raw):
    old = wire_part(load_schema())
    schema = build_schema(raw)
    return evolution_problems(json.loads(json.dumps(old)), wire_part(schema))


NEXT = load_schema().protocol["minor"] + 1
LATE = {"name": "acceleration_um_s2", "type": "i32", "since": NEXT, "default": -7}
NEW_REQUEST = {
    "id": 0x5E, "name": "newcomer", "direction": "request", "since": NEXT, "doc": "", "fields": [],
    "reply": [],
}  # fmt: skip
NEW_KEY = {
    "scope": "board", "id": load_schema().keys("board")[-1].id + 1, "name": "late", "type": "u8",
    "min": 0, "max": 1, "default": 0, "doc": "",
}  # fmt: skip


def append_field(raw):
    message(raw, "move")["fields"].append(dict(LATE))


def append_reply_field(raw):
    message(raw, "hello")["reply"].append({"name": "late", "type": "u8", "since": NEXT})


def add_message(raw):
    raw["message"].append(dict(NEW_REQUEST))


def append_key(raw):
    raw["setting"].append(dict(NEW_KEY))


def add_status(raw):
    raw["enum"]["status"]["values"].append(["too_hot", 200, ""])


def add_bit(raw):
    raw["bits"]["features"]["values"].append(["cold", 15, ""])


def widen_range(raw):
    next(s for s in raw["setting"] if s["name"] == "trip_ma")["max"] = 40000


FINE = [append_field, append_reply_field, add_message, append_key, add_status, add_bit, widen_range]


@pytest.mark.parametrize("change", FINE)
def test_fine(raw, change):
    change(raw)
    check_schema(build_schema(raw))
    assert problems(raw) == []
    assert build_schema(raw).digest != load_schema().digest


def insert_field(raw):
    message(raw, "move")["fields"].insert(1, dict(LATE))


def append_without_since(raw):
    append_field(raw)
    del message(raw, "move")["fields"][-1]["since"]


def change_type(raw):
    message(raw, "telemetry_axis")["fields"][5]["type"] = "i16"


def swap_fields(raw):
    fields = message(raw, "seek")["fields"]
    fields.reverse()


def drop_field(raw):
    message(raw, "outcome")["reply"].pop()


def drop_message(raw):
    raw["message"].remove(message(raw, "seek"))


def reuse_id(raw):
    message(raw, "seek")["name"] = "newcomer"


def old_message_claims_to_be_new(raw):
    message(raw, "seek")["since"] = NEXT


def new_message_claims_to_be_old(raw):
    add_message(raw)
    raw["message"][-1]["since"] = 0


def renumber_status(raw):
    raw["enum"]["status"]["values"][9][1] = 30


def reuse_bit(raw):
    raw["bits"]["features"]["values"][0][0] = "one_axis"


def insert_key(raw):
    for entry in raw["setting"]:
        if entry["scope"] == "axis" and entry["id"] >= 46:
            entry["id"] += 1
    raw["setting"].append({**NEW_KEY, "scope": "axis", "id": 46})


def widen_key(raw):
    next(s for s in raw["setting"] if s["name"] == "trip_ma")["type"] = "u32"


def longer_frame(raw):
    raw["protocol"]["frame_max"] = 80


def other_tick(raw):
    raw["protocol"]["tick_us"] = 2500


def minor_goes_back(raw):
    raw["protocol"]["minor"] = -1


BROKEN = [
    insert_field, append_without_since, change_type, swap_fields, drop_field, drop_message,
    reuse_id, old_message_claims_to_be_new, new_message_claims_to_be_old, renumber_status,
    reuse_bit, insert_key, widen_key, longer_frame, other_tick, minor_goes_back,
]  # fmt: skip


@pytest.mark.parametrize("change", BROKEN)
def test_broken(raw, change):
    change(raw)
    assert problems(raw)
    raw["protocol"]["major"] += 1
    assert problems(raw) == []


def test_generator_holds_the_released_wire(raw, monkeypatch, tmp_path):
    released = tmp_path / "protocol/released.json"
    released.parent.mkdir()
    released.write_text(json.dumps(wire_part(load_schema())))
    monkeypatch.setattr(generator, "ROOT", tmp_path)
    generator.check_all(build_schema(raw))
    change_type(raw)
    with pytest.raises(SchemaError) as caught:
        generator.check_all(build_schema(raw))
    assert "fields are only appended" in str(caught.value)


def test_released_wire_is_kept():
    """The file of the last release is there and names this major."""
    released = json.loads(generator.released_path().read_text())
    assert released["protocol"]["major"] == load_schema().protocol["major"]
    assert evolution_problems(released, wire_part(load_schema())) == []


def test_old_receiver_ignores_the_new_tail():
    payload = pack("move", 1, 1, target_um=5, axis=1, speed_um_s=9)
    assert parse(payload + b"\x01\x02\x03").fields == parse(payload).fields


def test_new_receiver_fills_in_for_an_old_sender(raw):
    append_field(raw)
    body = build_schema(raw).messages["move"].body
    old = pack("move", 1, 1, target_um=5, axis=1, speed_um_s=9)[3:]
    assert parse_body("move", body, old)["acceleration_um_s2"] == -7
    whole = parse_body("move", body, old + b"\x05\0\0\0")
    assert whole == {"axis": 1, "target_um": 5, "speed_um_s": 9, "acceleration_um_s2": 5}
    for cut in (1, 2, 3):
        with pytest.raises(MessageError):
            parse_body("move", body, old + bytes(cut))


def test_shorter_than_the_first_version_is_malformed():
    for message_type in load_schema().messages.values():
        least = message_type.body.least
        for size in range(least):
            with pytest.raises(MessageError):
                parse_body(message_type.name, message_type.body, bytes(size))
        if not message_type.body.list_field:
            parse_body(message_type.name, message_type.body, bytes(least))


def test_digest_sees_wire_changes_and_no_words(raw):
    raw["protocol"]["minor"] -= 1
    assert build_schema(raw).digest == load_schema().digest
    message(raw, "jog")["doc"] = "other words"
    raw["rule"][0]["text"] = "other words"
    raw["enum"]["status"]["values"][0][2] = "other words"
    assert build_schema(raw).digest == load_schema().digest
    raw["rule"][0]["expr"] = "raw_extended - raw_retracted != 0"
    assert build_schema(raw).digest != load_schema().digest
