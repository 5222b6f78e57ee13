"""vectors.json: run by the host's codec, and by a second reading that uses nothing of it."""

import binascii
import json
from collections import Counter

import pytest
from rodbench_protocol import FrameError, MessageError, framing, load_schema, settings
from rodbench_protocol.__main__ import ROOT, products, stale
from rodbench_protocol.messages import pack, pack_reply, pack_unasked, parse
from rodbench_protocol.names import Status

VECTORS = json.loads((ROOT / "protocol/vectors.json").read_text())


def by_name(entry):
    return entry["name"]


def uncobs(data: bytes) -> bytes:
    """COBS undone, from its description; for comparison."""
    out = bytearray()
    while data:
        code, run, data = data[0], data[1 : data[0]], data[data[0] :]
        assert len(run) == code - 1
        out += run
        if data and code < 255:
            out.append(0)
    return bytes(out)


def test_nothing_made_is_stale():
    assert stale(products(load_schema())) == []


@pytest.mark.parametrize("vector", VECTORS["frames"], ids=by_name)
def test_good_frame(vector):
    payload = bytes.fromhex(vector["payload"])
    frame = bytes.fromhex(vector["frame"])
    plain = uncobs(frame[:-1])
    assert plain == payload + bytes.fromhex(vector["crc"])
    assert binascii.crc_hqx(plain, 0xFFFF) == 0
    assert framing.encode(payload) == frame
    assert framing.decode(frame[:-1]) == payload
    message = parse(payload)
    assert (message.name, message.kind) == (vector["message"], vector["kind"])
    assert (message.session, message.seq) == (vector["session"], vector["seq"])
    assert message.fields == vector["fields"]
    assert repack(vector) == payload


def repack(vector):
    head = (vector["message"], vector["session"], vector["seq"])
    makers = {"reply": pack_reply, "unasked": pack_unasked}
    return makers.get(vector["kind"], pack)(*head, **vector["fields"])


def test_every_message_has_its_vectors():
    seen = Counter((v["message"], v["kind"]) for v in VECTORS["frames"])
    for message in load_schema().messages.values():
        assert seen[message.name, message.direction] == 1
        assert seen[message.name, "reply"] == 2 * (message.direction == "request")


@pytest.mark.parametrize("vector", VECTORS["bad_frames"], ids=by_name)
def test_bad_frame(vector):
    with pytest.raises(FrameError) as caught:
        framing.decode(bytes.fromhex(vector["frame"]))
    assert caught.value.reason == vector["reason"]


def test_every_reason_has_a_bad_frame():
    assert {v["reason"] for v in VECTORS["bad_frames"]} == {"empty", "cobs", "short", "long", "crc"}


@pytest.mark.parametrize("vector", VECTORS["bad_payloads"], ids=by_name)
def test_bad_payload(vector):
    payload = framing.decode(bytes.fromhex(vector["frame"])[:-1])
    with pytest.raises(MessageError):
        parse(payload)


@pytest.mark.parametrize("scope", ["board", "axis"])
def test_scope_bytes(scope):
    vector = VECTORS["settings"][scope]
    data = bytes.fromhex(vector["bytes"])
    assert settings.pack_scope(scope, vector["defaults"]) == data
    assert settings.unpack_scope(scope, data) == vector["defaults"] == settings.defaults(scope)
    assert binascii.crc32(data) == vector["digest"]


def test_digest_of_all_is_over_the_bytes_in_order():
    board, axis = (bytes.fromhex(VECTORS["settings"][s]["bytes"]) for s in ("board", "axis"))
    assert binascii.crc32(board + axis + axis) == VECTORS["settings"]["digest_all_defaults"]


def test_every_rule_is_broken_by_a_vector():
    """By hand: the rules that each change to the axis defaults must break, and no others."""
    expected = [[], [], [1], [], [2, 9], [3], [4], [5], [6], [7], [], [8], [9], [10], [], [12], [0]]
    expected += [[], [14], [14], [14]]
    expected += [[], [18], [18], [18], [], [19], [], [20]]
    expected += [[], [21], [], [21], [], [], [], [22], []]
    expected += [[], [], [23], [23], [23], [23], [23], [23], [], [], [23], [23], [], []]
    expected += [[], [], [], [15], [15], [15], []]
    found = [[p["rule"] for p in v["problems"]] for v in VECTORS["settings"]["problems"]]
    assert found == expected
    plain = {r.id for r in load_schema().rules if r.scope == "axis" and not r.change}
    assert plain <= {rule for rules in found for rule in rules}


def test_change_rule_looks_at_the_live_settings():
    live = settings.defaults("axis") | {
        "feedback": 1, "calibrated": 1, "raw_retracted": 7410, "raw_extended": 612,
    }  # fmt: skip
    for key, value in (("raw_extended", 700), ("stroke_um", 203000), ("motor_reversed", 1)):
        problems = settings.check("axis", live | {key: value}, live)
        assert [(p.key, p.rule_id) for p in problems] == [("calibrated", 11)]
        assert settings.check("axis", live | {key: value, "calibrated": 0}, live) == []
        assert settings.check("axis", live | {key: value}, live | {"calibrated": 0}) == []
    assert settings.check("axis", live | {"trip_ma": 900}, live) == []


def test_scope_with_missing_and_unknown_keys():
    values = settings.defaults("axis")
    del values["trip_ma"]
    values["trip_mA"] = 5
    found = settings.check("axis", values)
    assert [(p.key, p.text) for p in found] == [
        ("trip_ma", "is missing"),
        ("trip_mA", "is not a key"),
    ]


@pytest.mark.parametrize("session", VECTORS["sessions"], ids=by_name)
def test_session_can_be_sent(session):
    """Every frame of every session packs; every status is a name; every name is bound in time."""
    bound = {"$"}
    for step in session["steps"]:
        for frame in step["send"]:
            if "frame" in frame:
                assert bytes.fromhex(frame["frame"])[-1] == 0
                continue
            names = {v for v in frame["fields"].values() if isinstance(v, str)}
            assert {n.replace("-", "+").split("+")[0] for n in names} <= bound
            fields = {k: 0 if isinstance(v, str) else v for k, v in frame["fields"].items()}
            pack(frame["message"], frame["session"], frame["seq"] % 256, **fields)
        for reply in step["expect"]:
            assert reply["status"].upper() in Status.__members__
            bound |= {v for v in reply["fields"].values() if isinstance(v, str)}


def test_sessions_show_the_statuses():
    """Every status is seen in a session."""
    seen = {r["status"] for s in VECTORS["sessions"] for t in s["steps"] for r in t["expect"]}
    assert {s.name.lower() for s in Status} == seen
