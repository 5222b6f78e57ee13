"""Makes vectors.json: frames with all intermediates, expected failures, settings, sessions."""

from __future__ import annotations

import json
from typing import Any

from cobs import cobs

from rodbench_protocol import examples, framing, settings
from rodbench_protocol.messages import pack, pack_reply, pack_unasked
from rodbench_protocol.schema import Schema
from rodbench_protocol.script import Json
from rodbench_protocol.sessions import all_sessions

TICK = 4660


def vectors(schema: Schema) -> Json:
    """Everything that vectors.json holds."""
    return {
        "about": "Conformance vectors of the rodbench wire; the format is in SPEC.md. Made.",
        "schema_digest": schema.digest,
        "frames": example_frames(schema),
        "bad_frames": bad_frames(),
        "bad_payloads": bad_payloads(),
        "settings": settings_vectors(),
        "sessions": all_sessions(),
    }


def vectors_text(schema: Schema) -> str:
    """Text of vectors.json, one entry to a line."""
    lines = []
    for key, value in vectors(schema).items():
        if isinstance(value, list):
            inner = ",\n  ".join(json.dumps(v) for v in value)
            lines.append(f'"{key}": [\n  {inner}\n ]')
        else:
            lines.append(f'"{key}": {json.dumps(value)}')
    return "{\n " + ",\n ".join(lines) + "\n}\n"


def frame_vector(name: str, payload: bytes, **more: Any) -> Json:
    """A good frame with its intermediates."""
    return {
        "name": name,
        **more,
        "payload": payload.hex(),
        "crc": f"{framing.crc16(payload):04x}",
        "frame": framing.encode(payload).hex(),
    }


def example_frames(schema: Schema) -> list[Json]:
    """A request, its reply and a refusal for every request; all other messages once."""
    replies = examples.reply_fields(schema)
    found: list[Json] = []
    for number, message in enumerate(sorted(schema.messages.values(), key=lambda m: m.id)):
        if message.direction == "unasked":
            fields = examples.UNASKED[message.name]
            payload = pack_unasked(message.name, examples.SESSION, number, **fields)
            found.append(_entry(message.name, "unasked", number, payload, fields))
            continue
        fields = examples.REQUESTS[message.name]
        payload = pack(message.name, examples.SESSION, number, **fields)
        found.append(_entry(message.name, message.direction, number, payload, fields))
        if message.direction == "request":
            found += _replies(message.name, number, replies[message.name])
    return found


def _entry(name: str, kind: str, seq: int, payload: bytes, fields: Json) -> Json:
    label = name if kind != "reply" else f"{name}_reply"
    if kind == "reply" and fields["status"]:
        label = f"{name}_refused"
    more = {"message": name, "kind": kind, "session": examples.SESSION, "seq": seq}
    return frame_vector(label, payload, **more, fields=fields)


def _replies(name: str, seq: int, fields: Json) -> list[Json]:
    found = []
    for status, detail, own in ((0, 0, fields), (3, 0, {})):
        head = {"tick": TICK, "status": status, "detail": detail}
        payload = pack_reply(name, examples.SESSION, seq, **head, **own)
        found.append(_entry(name, "reply", seq, payload, {**head, **own}))
    return found


def bad_frames() -> list[Json]:
    """Frames without their closing zero that a receiver must drop, and why."""
    jog = framing.encode(pack("jog", 0x5A, 5, axis=1, unit=1, value=3000))[:-1]
    low_first = cobs.encode(b"\x01\x00\x00" + framing.crc16(b"\x01\x00\x00").to_bytes(2, "little"))
    long = cobs.encode(bytes(65))
    cases = [
        ("bad_crc", jog[:-1] + bytes((jog[-1] ^ 1,)), "crc"),
        ("one_bit", bytes((jog[0], jog[1] ^ 0x20)) + jog[2:], "crc"),
        ("crc_low_byte_first", low_first, "crc"),
        ("cut_off", jog[:-1], "cobs"),
        ("cut_off_between_runs", jog[:-3], "crc"),
        ("runs_past_the_end", b"\x09\x01\x02", "cobs"),
        ("empty", b"", "empty"),
        ("crc_only", cobs.encode(b"\xff\xff"), "short"),
        (
            "header_cut",
            cobs.encode(b"\x01\x00" + framing.crc16(b"\x01\x00").to_bytes(2, "big")),
            "short",
        ),
        ("too_long", long, "long"),
    ]
    return [{"name": n, "frame": f.hex(), "reason": r} for n, f, r in cases]


def bad_payloads() -> list[Json]:
    """Payloads in good frames that are no message, and why."""
    jog = pack("jog", 0x5A, 7, axis=1, unit=1, value=3000)
    cases = [
        ("unknown_request", bytes((0x5F, 0x5A, 7)), "unknown"),
        ("unknown_reply", bytes((0xDF, 0x5A, 7)), "unknown"),
        ("reply_to_one_way", bytes((0xE0, 0x5A, 7)), "unknown"),
        ("jog_short", jog[:-1], "short"),
        ("reply_without_detail", bytes((0x92, 0x5A, 7, 1, 0, 0, 0, 3)), "short"),
        ("draft_set_empty", bytes((0x21, 0x5A, 7, 1)), "short"),
        ("draft_set_cut", bytes((0x21, 0x5A, 7, 1, 1, 1, 0, 0, 0, 6, 1)), "cut"),
    ]
    return [frame_vector(n, payload, why=why) for n, payload, why in cases]


def settings_vectors() -> Json:
    """Default scopes as bytes with digests, and changes from them with the problem they bring."""
    board, axis = settings.defaults("board"), settings.defaults("axis")
    return {
        "board": _scope("board", board),
        "axis": _scope("axis", axis),
        "digest_all_defaults": settings.digest_all(board, axis, axis),
        "problems": [_problem_vector(changes) for changes in PROBLEM_CHANGES]
        + [_peer_vector(*peers) for peers in PEER_CHANGES],
    }


def _scope(kind: str, values: dict[str, int]) -> Json:
    data = settings.pack_scope(kind, values)
    return {"defaults": values, "bytes": data.hex(), "digest": settings.digest_scope(kind, values)}


_GOOD = {"feedback": 1, "calibrated": 1, "raw_retracted": 7410, "raw_extended": 612}
_TABLES = (  # of 6798 raw from 7410 down
    ((7010, 7712), (1010, 58500)),
    tuple((7410 - 700 * n, 7000 * n) for n in range(1, 9)),
    ((7410, 7712),),
    ((612, 58500),),
    ((611, 65000),),
    ((5010, 20000), (5010, 30000)),
    ((5010, 30000), (4010, 30000)),
    ((7010, 9),),
    ((7010, 10),),
    ((7010, 7722),),
    ((7010, 7723),),
    ((1012, 57818),),
    ((1013, 57818),),
)


def _table(*points: tuple[int, int]) -> dict[str, int]:
    """A linearity table of (raw, place)."""
    raws = {f"table_raw_{n}": raw for n, (raw, _) in enumerate(points, 1)}
    places = {f"table_place_{n}": place for n, (_, place) in enumerate(points, 1)}
    return {"table_points": len(points), **raws, **places}


PROBLEM_CHANGES: tuple[dict[str, int], ...] = (
    {},
    _GOOD,
    {**_GOOD, "raw_extended": 7011},
    {**_GOOD, "raw_extended": 7010},
    {**_GOOD, "soft_stop_min_um": 94001},
    {**_GOOD, "soft_stop_max_um": 100001},
    {"calibrated": 1},
    {"output_max_permille": 299},
    {**_GOOD, "creep_speed_um_s": 10001},
    {"running_ma": 1500},
    {"current_uv_per_ma": 2867},
    {"current_uv_per_ma": 2868},
    {**_GOOD, "run_on_extend_um": 60000, "soft_stop_min_um": 40000},
    {**_GOOD, "raw_retracted": 8145},
    {**_GOOD, "deceleration_um_s2": 1000},
    {**_GOOD, "deceleration_um_s2": 999},
    {"stroke_um": 4999},
    {"current_sensor": 2, "current_zero": 2046, "trip_ma": 11897},
    {"current_sensor": 2, "current_zero": 2046, "trip_ma": 11898},
    {"current_sensor": 2, "current_zero": 472},
    {"current_sensor": 2, "current_zero": 3621},
    {"fold_back_ma": 1499},
    {"fold_back_ma": 1500},
    {"running_ma": 900, "fold_back_ma": 900},
    {"current_sensor": 0, "fold_back_ma": 500},
    {"thermal_warn_percent": 109},
    {"thermal_warn_percent": 110},
    {"rated_ma": 800},
    {"rated_ma": 800, "current_sensor": 0},
    {"local_source": 2, "local_rest": 1041},
    {"local_source": 2, "local_rest": 1040},
    {"local_source": 3, "local_rest": 1959},
    {"local_source": 3, "local_rest": 1960},
    {"local_source": 2, "local_low_end": 2000, "local_high_end": 1000},
    {"local_source": 1, "local_rest": 4000},
    {"local_source": 1, "local_as": 1, "feedback": 1},
    {"local_source": 1, "local_as": 1, "feedback": 2},
    {"local_as": 1},
    *({**_GOOD, **_table(*points)} for points in _TABLES),
    {"calibrated": 0, **_table((0, 0))},
)
PEER_CHANGES: tuple[tuple[int, dict[str, int], dict[str, int]], ...] = (
    (1, {"feedback": 1, "driver": 2}, {}),
    (1, {"feedback": 1, "driver": 2}, {"driver": 2}),
    (2, {"driver": 2}, {"feedback": 1}),
    (2, {"feedback": 1, "driver": 2}, {}),
    (1, {"feedback": 2, "driver": 2}, {"feedback": 1}),
    (2, {"feedback": 1}, {"feedback": 2, "driver": 2}),
    (2, {"feedback": 1}, {"driver": 2}),
)
"""Axis, changes to it, and changes to the axis beside it; both from the defaults."""


def _problem_vector(changes: dict[str, int]) -> Json:
    found = settings.check("axis", settings.defaults("axis") | changes)
    return {"changes": changes, "problems": _told(found)}


def _peer_vector(axis: int, changes: dict[str, int], other: dict[str, int]) -> Json:
    peer = settings.Peer(axis, settings.defaults("axis") | other)
    found = settings.check("axis", settings.defaults("axis") | changes, peer=peer)
    return {"axis": axis, "changes": changes, "other": other, "problems": _told(found)}


def _told(found: list[settings.Problem]) -> list[Json]:
    return [{"key": p.key, "rule": p.rule_id} for p in found]
