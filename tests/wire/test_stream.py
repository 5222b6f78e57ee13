"""The fast path and the numpy dtypes give what the construct structures give."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rodbench_protocol import MessageError, bulk, framing, load_schema, stream
from rodbench_protocol.check import type_range
from rodbench_protocol.messages import pack_unasked, parse

PATHS = {
    "telemetry_axis": (stream.decode_axis, bulk.AXIS_DTYPE),
    "telemetry_board": (stream.decode_board, bulk.BOARD_DTYPE),
    "event": (stream.decode_event, bulk.EVENT_DTYPE),
}


def payloads_of(name):
    fields = load_schema().messages[name].body.fields
    values = st.fixed_dictionaries({f.name: st.integers(*type_range(f.type)) for f in fields})
    return st.builds(
        lambda session, counter, v: pack_unasked(name, session, counter, **v),
        st.integers(0, 255),
        st.integers(0, 255),
        values,
    )


@pytest.mark.parametrize("name", PATHS)
@settings(deadline=None)  # the first call builds the parser
@given(data=st.data())
def test_three_paths_agree(name, data):
    decode, kind = PATHS[name]
    payload = data.draw(payloads_of(name)) + data.draw(st.binary(max_size=10), label="tail")
    message = parse(payload)
    fast = decode(payload)
    assert fast._asdict() == {"counter": message.seq, **message.fields}
    row = bulk.to_array([payload], kind)[0]
    assert {n: int(row[n]) for n in kind.names[2:]} == fast._asdict()
    assert (row["id"], row["session"]) == (payload[0], message.session)


@pytest.mark.parametrize("name", PATHS)
@settings(deadline=None)  # the first call builds the parser
@given(data=st.data())
def test_fast_path_refuses_what_it_is_not(name, data):
    decode, kind = PATHS[name]
    payload = data.draw(payloads_of(name))
    for wrong in (payload[:-1], b"", bytes((payload[0] ^ 1,)) + payload[1:]):
        with pytest.raises(MessageError):
            decode(wrong)
    assert len(bulk.to_array([payload[:-1], b""], kind)) == 0


@given(st.lists(payloads_of("telemetry_axis"), max_size=20), st.binary(max_size=30))
def test_recorded_stream(some, noise):
    data = b"\0" + b"".join(framing.encode(p) for p in some)
    damaged = framing.encode(b"\x70" + bytes(36))[:-2] + b"\x55\0"
    good = bulk.split_good(damaged + data + damaged)
    rows = bulk.to_array(good.get(0x70, []), bulk.AXIS_DTYPE)
    assert [int(t) for t in rows["tick"]] == [stream.decode_axis(p).tick for p in some]
    assert rows["position_um"].dtype == np.dtype("<i4")
