"""Frames: whole, damaged, cut, run together, and anything that a line may bring."""

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st
from rodbench_protocol import FrameError, MessageError, framing
from rodbench_protocol.messages import parse

payloads = st.binary(min_size=3, max_size=62)


@given(payloads)
def test_round_trip(payload):
    frame = framing.encode(payload)
    assert frame.count(0) == 1
    assert frame[-1] == 0
    assert len(frame) == len(payload) + 4
    assert framing.decode(frame[:-1]) == payload


@pytest.mark.parametrize(("size", "reason"), [(0, "short"), (2, "short"), (63, "long")])
def test_payloads_that_are_no_frame(size, reason):
    with pytest.raises(FrameError) as caught:
        framing.encode(bytes(size))
    assert caught.value.reason == reason


@given(st.binary(max_size=80).filter(lambda b: 0 not in b))
def test_decoder_takes_anything(data):
    """Random bytes: a clean error, or a payload that encodes to the very same frame."""
    reasons = []
    try:
        payload = framing.decode(data)
    except FrameError as error:
        reasons.append(error.reason)
    if reasons:
        assert reasons[0] in {"empty", "cobs", "short", "long", "crc"}
    else:
        assert framing.encode(payload)[:-1] == data


@given(payloads, st.data())
def test_flipped_bits_never_give_another_payload(payload, data):
    """One to three wrong bits of the decoded frame are always seen (Hamming distance 4)."""
    checked = bytearray(payload + framing.crc16(payload).to_bytes(2, "big"))
    places = data.draw(
        st.sets(st.integers(0, len(checked) * 8 - 1), min_size=1, max_size=3), label="bits"
    )
    for place in places:
        checked[place // 8] ^= 1 << place % 8
    with pytest.raises(FrameError) as caught:
        framing.decode(cobs.encode(bytes(checked)))
    assert caught.value.reason == "crc"


@given(st.lists(payloads, max_size=8), st.lists(st.integers(1, 40), max_size=30))
def test_splitter_does_not_care_how_bytes_come(some, cuts):
    stream = b"".join(framing.encode(p) for p in some)
    splitter = framing.Splitter()
    frames = []
    for cut in cuts:
        frames += splitter.feed(stream[:cut])
        stream = stream[cut:]
    frames += splitter.feed(stream)
    assert [framing.decode(f) for f in frames] == some
    assert splitter.overlong == 0


@given(st.lists(st.binary(max_size=200), max_size=20))
def test_splitter_is_bounded_and_recovers(chunks):
    splitter = framing.Splitter()
    for chunk in chunks:
        for frame in splitter.feed(chunk):
            assert 0 < len(frame) <= framing.ENCODED_MAX
            assert 0 not in frame
        assert len(splitter._rest) <= framing.ENCODED_MAX
    good = framing.encode(b"\x01\x00\x00")
    assert splitter.feed(b"\0" + good)[-1:] == [good[:-1]]


@pytest.mark.parametrize("step", [1, 7, 100, 1000])
def test_overlong_run_is_dropped_once(step):
    data = b"\x02" * 300 + b"\0" + framing.encode(b"\x01\x00\x00")
    splitter = framing.Splitter()
    frames = [f for i in range(0, len(data), step) for f in splitter.feed(data[i : i + step])]
    assert frames == [framing.encode(b"\x01\x00\x00")[:-1]]
    assert splitter.overlong == 1


@given(st.binary(max_size=70))
def test_parser_takes_anything(payload):
    """Any payload: a message, or MessageError; never another exception."""
    try:
        message = parse(payload)
    except MessageError:
        return
    assert (message.session, message.seq) == (payload[1], payload[2])
