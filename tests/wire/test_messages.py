"""Packing and parsing: wrong fields are refused, what is ignored stays ignored."""

import pytest
from rodbench_protocol import MessageError, load_schema
from rodbench_protocol.messages import pack, pack_reply, pack_unasked, parse


@pytest.mark.parametrize(
    "fields",
    [
        {"axis": 1, "unit": 1},
        {"axis": 1, "unit": 1, "value": 0, "speed": 1},
        {"axis": 256, "unit": 1, "value": 0},
        {"axis": 1, "unit": 1, "value": 2**31},
        {"axis": 1, "unit": 1, "value": "fast"},
    ],
)
def test_wrong_fields(fields):
    with pytest.raises(MessageError):
        pack("jog", 1, 1, **fields)


@pytest.mark.parametrize(("session", "seq"), [(-1, 0), (256, 0), (0, 256)])
def test_wrong_header(session, seq):
    with pytest.raises(MessageError):
        pack("hello", session, seq)


def test_wrong_direction_and_unknown_names():
    for make in (
        lambda: pack("event", 1, 1),
        lambda: pack("nudge", 1, 1),
        lambda: pack_reply("alive", 1, 1, tick=0, status=0),
        lambda: pack_unasked("jog", 1, 1, axis=1, unit=1, value=1),
    ):
        with pytest.raises(MessageError):
            make()


def test_list_fills_the_frame_and_no_more():
    item = {"key": 1, "value": -1}
    assert len(pack("draft_set", 1, 1, scope=1, items=[item] * 11)) == 3 + 1 + 55
    for count in (0, 12):
        with pytest.raises(MessageError):
            pack("draft_set", 1, 1, scope=1, items=[item] * count)


def test_refused_reply_has_no_fields_and_its_tail_is_ignored():
    payload = pack_reply("jog", 1, 2, tick=5, status=13, detail=3)
    assert len(payload) == 3 + 7
    assert parse(payload + b"\x01\x02\x03").fields == {"tick": 5, "status": 13, "detail": 3}


def test_good_reply_needs_its_fields():
    payload = pack_reply("jog", 1, 2, tick=5, status=0, motion=9)
    assert parse(payload).fields["motion"] == 9
    with pytest.raises(MessageError):
        parse(payload[:-1])


def test_text_must_be_ascii():
    fields = load_schema().messages["hello"].reply.fields[3:]
    numbers = {f.name: 0 for f in fields if not f.is_text}
    payload = pack_reply("hello", 0, 0, tick=0, status=0, **numbers, name="rod")
    assert parse(payload).fields["name"] == "rod"
    with pytest.raises(MessageError):
        parse(payload.replace(b"rod", b"ro\xff"))
