"""Scripted sessions: what a fresh board must answer. Written to vectors.json, replayed by tests.

The format is in SPEC.md, "Vectors". A name with a dollar sign stands for a value that differs
from boot to boot: its first use in what is expected binds it.
"""

from __future__ import annotations

from typing import Any

from rodbench_protocol import framing, sessions_alone, sessions_heat, sessions_local, settings
from rodbench_protocol.messages import pack
from rodbench_protocol.names import (
    Ended,
    EventKind,
    Fault,
    FaultBits,
    JogUnit,
    ResetCause,
    Status,
    Which,
)
from rodbench_protocol.schema import load_schema
from rodbench_protocol.script import (
    CALIBRATED,
    EXTERNAL,
    FITTED,
    POWER_ON,
    WATCHDOG,
    Json,
    Script,
    answer,
    axis_digest,
    items_of,
    live_digest,
    plain_hello,
    raw,
)

_NONE_OF_BOARD = settings.KEYS["board"][-1].id + 1


def _hello() -> Json:
    s = Script("hello_always", "hello is answered before any session, whatever session and seq")
    schema = load_schema()
    fields = {
        "protocol_major": schema.protocol["major"],
        "protocol_minor": schema.protocol["minor"],
        "schema_digest": schema.digest,
        "board_kind": 1,
        "axis_count": 2,
        "reset_cause": int(ResetCause.POWER_ON),
        "adc_full_scale": 8184,
        "adc_reference_mv": 5000,
        "board_id": 0,
        "digest_live": live_digest(),
        "digest_stored": 0,
        "boot_nonce": "$nonce",
    }
    for session, seq in ((0, 9), (77, 200), (0, 9)):
        sent = {"message": "hello", "session": session, "seq": seq, "fields": {}}
        s.step(sent, expect=(answer(sent, **fields),))
    s.open()
    sent = s.frame("hello", seq=99)
    s.step(sent, expect=(answer(sent, boot_nonce="$nonce"),))
    s.ask("digests", reply={"live": live_digest(), "stored": 0, "storing": 0})
    return s.done()


def _no_session() -> Json:
    s = Script("no_session", "requests before open, and of another session, do nothing")
    for session in (0, 5):
        sent: Json = {"message": "counters", "session": session, "seq": 1, "fields": {}}
        s.step(sent, expect=(answer(sent, Status.NO_SESSION),))
    s.begin()
    for session in (0, 4, 6):
        sent = {**s.frame("digests", seq=s.seq + 1), "session": session}
        s.step(sent, expect=(answer(sent, Status.NO_SESSION),))
    s.ask("digests")
    return s.done()


def _open_refused() -> Json:
    s = Script("open_refused", "open is refused for nonce, major, session 0 and a short body")
    hello = plain_hello()
    s.step(hello, expect=(answer(hello, boot_nonce="$nonce"),))
    good: Json = {"boot_nonce": "$nonce", "protocol_major": 1, "protocol_minor": 0}
    for change, status in (
        ({"boot_nonce": "$nonce+1"}, Status.WRONG_NONCE),
        ({"boot_nonce": "$nonce+1", "protocol_major": 2}, Status.WRONG_NONCE),
        ({"protocol_major": 2}, Status.PROTOCOL_MAJOR),
        ({"protocol_major": 0}, Status.PROTOCOL_MAJOR),
    ):
        sent = s.frame("open", seq=7, **(good | change))
        s.step(sent, expect=(answer(sent, status),))
    zero = {**s.frame("open", seq=7, **good), "session": 0}
    s.step(zero, expect=(answer(zero, Status.BAD_VALUE),))
    short = {"message": "open", "session": 5, "seq": 7}
    s.step(raw(b"\x02\x05\x07\0\0\1"), expect=(answer(short, Status.MALFORMED),))
    sent = s.frame("digests", seq=8)
    s.step(sent, expect=(answer(sent, Status.NO_SESSION),))
    s.ask("open", **(good | {"protocol_minor": 200}))
    s.ask("digests")
    return s.done()


def _sequence() -> Json:
    s = Script("sequence", "new, repeated, skipped, old and changed requests; seq wraps", seq=253)
    s.begin()
    first = s.frame("counters")
    reply = {**answer(first), "frame": "$first"}
    s.step(first, expect=(reply,))
    s.step(first, expect=(reply,), ticks=5)
    for seq, message in ((s.seq + 2, "counters"), (s.seq - 1, "counters"), (s.seq, "digests")):
        sent = s.frame(message, seq=seq % 256)
        s.step(sent, expect=(answer(sent, Status.SEQUENCE),))
    s.step(first, expect=(reply,))
    s.ask("digests")  # seq 0
    sent = s.frame("counters")
    s.step(sent, expect=(answer(sent, repeats=2, frames_bad=0, frames_dropped=0),))
    return s.done()


def _counted() -> Json:
    s = Script(
        "counted", "requests_done counts what is taken in sequence, refused or not, repeats not"
    )
    s.begin()
    s.ask("counters", reply={"requests_done": "$done"})
    sent = s.frame("digests")
    s.step(sent, expect=(answer(sent),))
    s.step(sent, expect=(answer(sent),))
    s.ask("jog", Status.NOT_FITTED, axis=1, unit=0, value=10)
    s.ask("counters", reply={"requests_done": "$done+3", "repeats": 1})
    return s.done()


_V1: Json = {"protocol_major": 1, "protocol_minor": 0}


def _open_again() -> Json:
    s = Script("open_again", "a repeated open is answered from memory, a late copy does nothing")
    hello = plain_hello()
    s.step(hello, expect=(answer(hello, boot_nonce="$nonce"),))
    sent = s.frame("open", boot_nonce="$nonce", protocol_major=1, protocol_minor=0)
    reply = {**answer(sent), "frame": "$open"}
    s.step(sent, expect=(reply,))
    s.step(sent, expect=(reply,))
    other = {**sent, "seq": 77}
    s.step(other, expect=(answer(other, Status.SESSION_IN_USE),))
    s.ask("draft_begin", scope=0)
    s.step(sent, expect=(answer(sent, Status.SESSION_IN_USE),))
    s.ask("draft_check", scope=0)
    return s.done()


def _take_over() -> Json:
    s = Script("take_over", "a new session drops the draft and ends the old session")
    s.begin()
    s.ask("draft_begin", scope=1)
    old = s.frame("draft_check", scope=1)
    s.session, s.seq = 6, 40
    s.open()
    s.step(old, expect=(answer(old, Status.NO_SESSION),))
    s.ask("draft_check", Status.NO_DRAFT, scope=1)
    return s.done()


def _late_open() -> Json:
    s = Script("late_open", "the numbers of the last four opens cannot be opened again")
    s.begin()
    for number in (6, 7, 8):
        s.session = number
        s.open()
    for number in (5, 6, 7, 8):
        late = {**s.frame("open", seq=9, boot_nonce="$nonce", **_V1), "session": number}
        s.step(late, expect=(answer(late, Status.SESSION_IN_USE),))
    s.session = 9
    s.open()
    s.session = 5
    s.open()
    return s.done()


def _unknown() -> Json:
    s = Script("unknown_ids", "unknown requests are answered, other unknown ids ignored")
    s.begin()
    sent = {"message": "0x5F", "session": s.session, "seq": s.seq + 1}
    for _ in range(2):
        s.step(
            raw(bytes((0x5F, s.session, s.seq + 1, 1, 2))),
            expect=(answer(sent, Status.UNKNOWN_MESSAGE),),
        )
    s.seq += 1
    wrong = {"message": "0x5F", "session": 9, "seq": 9}
    s.step(raw(b"\x5f\x09\x09"), expect=(answer(wrong, Status.NO_SESSION),))
    for number in (0x61, 0x6F, 0x70, 0x7F, 0x81, 0x92, 0xDF, 0xFF):
        s.step(raw(bytes((number, s.session, s.seq + 1, 0, 0, 0, 0))))
    s.ask("digests")
    return s.done()


def _malformed() -> Json:
    s = Script("body_length", "short bodies are malformed, longer ones are taken, tails ignored")
    s.begin()
    jog = pack("jog", s.session, 0, axis=1, unit=0, value=100)
    for message, body in (
        ("jog", jog[3:-1]),
        ("jog", b""),
        ("draft_begin", b""),
        ("draft_set", b"\x01"),
        ("draft_set", b"\x01\x01\x01\0\0\0\x02"),
        ("subscribe", b"\0\0\0"),
    ):
        s.seq += 1
        head = bytes((load_schema().messages[message].id, s.session, s.seq))
        sent = {"message": message, "session": s.session, "seq": s.seq}
        s.step(raw(head + body), expect=(answer(sent, Status.MALFORMED),))
    s.seq += 1
    sent = {"message": "digests", "session": s.session, "seq": s.seq}
    s.step(raw(bytes((0x27, s.session, s.seq, 1, 2, 3))), expect=(answer(sent),))
    s.seq += 1
    sent = {"message": "jog", "session": s.session, "seq": s.seq}
    longer = jog[:2] + bytes((s.seq,)) + jog[3:] + b"\x09"
    s.step(raw(longer), expect=(answer(sent, Status.NOT_FITTED),))
    return s.done()


def _bad_frames() -> Json:
    s = Script("bad_frames", "damaged frames are dropped and counted, and never answered")
    s.begin()
    good = framing.encode(pack("hello", 0, 0))
    hello = {"message": "hello", "session": 0, "seq": 0}
    for data in (
        bytes((good[0], good[1] ^ 0x40)) + good[2:],  # CRC wrong
        b"\x03\x01\x02\0",  # too short
        b"\x09\x01\x02\x03\0",  # COBS runs past the end
        b"\x02" * 66 + b"\0",  # too long
        b"\x02" * 200 + b"\0",
    ):
        s.step({"frame": data.hex()}, ticks=2)
    s.step({"frame": "000000"})
    s.step({"frame": (b"\x05\x01" + b"\0" + good).hex()}, expect=(answer(hello),), ticks=2)
    s.ask("counters", reply={"frames_bad": 6, "frames_dropped": 0})
    return s.done()


def _queue() -> Json:
    s = Script("queue", "two frames wait, a third is dropped, one request is done per tick")
    s.begin()
    hellos: list[Json] = [
        {"message": "hello", "session": 0, "seq": n, "fields": {}} for n in (1, 2, 3)
    ]
    s.step(*hellos, expect=(answer(hellos[0]),))
    s.step(expect=(answer(hellos[1]),))
    s.step(ticks=5)
    s.ask("counters", reply={"frames_dropped": 1})
    return s.done()


def _stop() -> Json:
    s = Script("stop_always", "stop is never refused, stands outside the sequence, needs no room")
    for session, seq, axis, category in ((0, 0, 0, 1), (99, 3, 1, 0), (99, 3, 9, 7)):
        sent: Json = {"message": "stop", "session": session, "seq": seq}
        s.step(sent | {"fields": {"axis": axis, "category": category}}, expect=(answer(sent),))
    sent = {"message": "stop", "session": 1, "seq": 1}
    s.step(raw(b"\x10\x01\x01"), expect=(answer(sent),))
    s.begin()
    stop = s.frame("stop", seq=200, axis=2, category=1)
    s.step(stop, expect=(answer(stop),))
    hellos: list[Json] = [
        {"message": "hello", "session": 0, "seq": n, "fields": {}} for n in (1, 2)
    ]
    s.step(*hellos, stop, expect=(answer(stop), answer(hellos[0])))
    s.step(expect=(answer(hellos[1]),))
    s.ask("counters", reply={"frames_dropped": 0})
    return s.done()


def _stop_covers() -> Json:
    s = Script("stop_covers", "a stop also ends motions that were sent before it and still wait")
    s.begin()
    s.set_axis(**FITTED)
    resting = {"driving": [False, False]}
    jog = s.frame("jog", axis=1, unit=0, value=100)
    stop = s.frame("stop", seq=0, axis=1, category=1)
    refused = answer(jog, Status.STOP_STANDING)
    s.step(jog, stop, expect=(answer(stop), refused), outputs=resting)
    s.step(ticks=5, outputs=resting)
    digests = s.frame("digests")
    jog = s.frame("jog", axis=1, unit=0, value=100)
    s.step(digests, jog, stop, expect=(answer(stop), answer(digests)), outputs=resting)
    s.step(expect=(answer(jog, Status.STOP_STANDING),), ticks=5, outputs=resting)
    s.ask("jog", axis=1, unit=0, value=100, reply={"motion": 1}, ticks=4)
    return s.done()


def _not_fitted() -> Json:
    s = Script("not_fitted", "motion needs a fitted axis; fields out of range are named")
    s.begin()
    s.ask("jog", Status.NOT_FITTED, axis=1, unit=0, value=100)
    s.ask("run", Status.NOT_FITTED, axis=2, output_permille=100)
    s.ask("seek", Status.NOT_FITTED, axis=1, direction=1)
    s.ask("move", Status.NOT_FITTED, axis=1, target_um=0, speed_um_s=0)
    s.ask("jog", Status.BAD_VALUE, 1, axis=0, unit=0, value=100)
    s.ask("jog", Status.BAD_VALUE, 1, axis=3, unit=0, value=100)
    s.ask("jog", Status.BAD_VALUE, 2, axis=1, unit=2, value=100)
    s.ask("outcome", Status.BAD_VALUE, 1, axis=0)
    s.ask("outcome", axis=1, reply={"axis": 1, "motion": 0, "ended": int(Ended.NONE)})
    s.ask("clear", Status.BAD_VALUE, 1, axis=3)
    s.ask("clear", axis=0, reply={"cleared": 0})
    return s.done()


def _uncalibrated() -> Json:
    s = Script("uncalibrated", "an uncalibrated axis only jogs by output and seeks")
    s.begin()
    s.set_axis(**FITTED)
    s.ask("jog", Status.UNCALIBRATED, axis=1, unit=1, value=1000)
    s.ask("run", Status.UNCALIBRATED, axis=1, output_permille=100)
    s.ask("move", Status.UNCALIBRATED, axis=1, target_um=10000, speed_um_s=0)
    s.ask("jog", Status.BAD_VALUE, 3, axis=1, unit=0, value=1001)
    s.ask("seek", Status.BAD_VALUE, 2, axis=1, direction=0)
    s.ask("seek", Status.BAD_VALUE, 2, axis=1, direction=2)
    s.set_axis(**CALIBRATED)
    s.ask("jog", Status.CALIBRATED, axis=1, unit=0, value=100)
    s.ask("seek", Status.CALIBRATED, axis=1, direction=1)
    s.ask("jog", Status.BAD_VALUE, 3, axis=1, unit=1, value=5001)
    s.ask("run", Status.BAD_VALUE, 2, axis=1, output_permille=-1001)
    s.ask("move", Status.OUTSIDE, axis=1, target_um=200001, speed_um_s=0)
    s.ask("move", Status.OUTSIDE, axis=1, target_um=2999, speed_um_s=0)
    s.ask("move", Status.BAD_VALUE, 3, axis=1, target_um=10000, speed_um_s=5001)
    s.ask("move", Status.BAD_VALUE, 3, axis=1, target_um=10000, speed_um_s=-1)
    return s.done()


def _draft() -> Json:
    s = Script("draft", "begin, set, check, commit, discard, with good and bad keys and values")
    s.begin()
    s.ask("draft_begin", Status.BAD_VALUE, 1, scope=3)
    for name in ("draft_check", "draft_commit", "draft_discard"):
        s.ask(name, Status.NO_DRAFT, scope=1)
    s.ask("draft_set", Status.NO_DRAFT, scope=1, items=items_of(feedback=1))
    s.ask("settings_get", Status.NO_DRAFT, which=int(Which.DRAFT), scope=1, first_key=1)
    s.ask("draft_begin", scope=1)
    s.ask("draft_set", Status.NO_DRAFT, scope=2, items=items_of(feedback=1))
    none = settings.KEYS["axis"][-1].id + 1
    s.ask("draft_set", Status.UNKNOWN_SETTING, none, scope=1, items=[{"key": none, "value": 0}])
    s.ask("draft_set", Status.UNKNOWN_SETTING, 0, scope=1, items=[{"key": 0, "value": 0}])
    half = [*items_of(feedback=1), *items_of(stroke_um=4999)]
    s.ask("draft_set", Status.SETTING_RANGE, 6, scope=1, items=half)
    s.ask("draft_check", scope=1, reply={"digest": axis_digest()})
    values = {"feedback": 1, "stroke_um": 203000, "table_place_8": 65535}
    s.ask("draft_set", scope=1, items=items_of(**values))
    s.ask("draft_check", scope=1, reply={"digest": axis_digest(**values)})
    s.ask("digests", reply={"axis_1": axis_digest(), "live": live_digest()})
    behind = settings.KEYS["axis"][items_of(table_place_8=0)[0]["key"] :][:9]
    plain = {key.name: key.setting.default for key in behind}
    got = {"scope": 1, "items": items_of(table_place_8=65535, **plain)}
    s.ask("settings_get", which=int(Which.DRAFT), scope=1, first_key=53, reply=got)
    s.ask("draft_commit", scope=1, reply={"digest": axis_digest(**values)})
    s.ask("draft_commit", Status.NO_DRAFT, scope=1)
    s.ask("digests", reply={"axis_1": axis_digest(**values), "live": live_digest(**values)})
    s.ask("draft_begin", scope=1)
    s.ask("draft_discard", scope=1)
    s.ask("draft_check", Status.NO_DRAFT, scope=1)
    return s.done()


def _draft_order() -> Json:
    s = Script("draft_order", "one draft at a time; which fault of a request is told first")
    s.begin()
    s.ask("draft_begin", scope=1)
    s.ask("draft_begin", scope=2)
    s.ask("draft_check", Status.NO_DRAFT, scope=1)
    s.ask("draft_check", scope=2, reply={"digest": axis_digest()})
    for body in (b"\x09", b"\x02", b"\x09\x01\x01\x00"):  # no scope of ours, and no whole item
        s.seq += 1
        cut: Json = {"message": "draft_set", "session": s.session, "seq": s.seq}
        frame = raw(bytes((0x21, s.session, s.seq)) + body)
        s.step(frame, expect=(answer(cut, Status.MALFORMED),))
    unknown = [{"key": 99, "value": 0}]
    for items, status, key in (
        ([*items_of(stroke_um=1), *unknown], Status.SETTING_RANGE, 6),
        ([*unknown, *items_of(stroke_um=1)], Status.UNKNOWN_SETTING, 99),
    ):
        s.ask("draft_set", status, key, scope=2, items=items)
    s.ask("draft_set", scope=2, items=[*items_of(trip_ms=60), *items_of(trip_ms=70)])
    s.ask("draft_check", scope=2, reply={"digest": axis_digest(trip_ms=70)})
    first = settings.KEYS["board"]
    items = [{"key": k.id, "value": settings.defaults("board")[k.name]} for k in first]
    got = {"scope": 0, "items": items}
    s.ask("settings_get", which=int(Which.LIVE), scope=0, first_key=0, reply=got)
    none: Json = {"which": int(Which.LIVE), "scope": 0, "first_key": _NONE_OF_BOARD}
    s.ask("settings_get", **none, reply=got | {"items": []})
    return s.done()


def _nothing_to_end() -> Json:
    s = Script("nothing_to_end", "value 0 at rest starts no motion; the refusals hold for it too")
    s.begin()
    empty: Json = {"motion": 0, "ended": int(Ended.NONE), "cause": 0, "raw": 0, "on_ticks": 0}
    s.ask("outcome", axis=2, reply=empty)
    s.ask("jog", Status.NOT_FITTED, axis=1, unit=int(JogUnit.OUTPUT), value=0)
    s.set_axis(**FITTED)
    s.ask("jog", Status.UNCALIBRATED, axis=1, unit=int(JogUnit.SPEED), value=0)
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=0, reply={"motion": 0}, ticks=10)
    s.ask("clear", axis=0, reply={"cleared": 0})
    s.ask("outcome", axis=1, reply=empty)
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=100, reply={"motion": 1}, ticks=10)
    s.ask("seek", Status.IN_MOTION, axis=1, direction=1)
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=0, reply={"motion": 1})
    s.ask("jog", Status.STOP_STANDING, axis=1, unit=int(JogUnit.OUTPUT), value=100)
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=0, reply={"motion": 1}, ticks=10)
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=-100, reply={"motion": 2}, ticks=5)
    ended = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "value_a": 2}
    stop = s.frame("stop", seq=9, axis=7, category=0)
    at_rest = {"driving": [False, False]}
    s.step(stop, expect=(answer(stop),), ticks=300, events=[ended], outputs=at_rest)
    return s.done()


def _cross_rules() -> Json:
    s = Script("cross_rules", "a draft that contradicts itself is not put in force")
    s.begin()
    bad = dict(CALIBRATED) | {"soft_stop_max_um": 203001}
    s.ask("draft_begin", scope=1)
    s.ask("draft_set", scope=1, items=items_of(**bad))
    s.ask("draft_check", Status.CROSS_RULE, 3 << 8 | 8, scope=1)
    s.ask("draft_commit", Status.CROSS_RULE, 3 << 8 | 8, scope=1)
    s.ask("digests", reply={"live": live_digest()})
    s.ask("draft_set", scope=1, items=items_of(soft_stop_max_um=200000))
    s.ask("draft_commit", scope=1, reply={"digest": axis_digest(**CALIBRATED)})
    s.ask("draft_begin", scope=1)
    s.ask("draft_set", scope=1, items=items_of(raw_extended=700))
    s.ask("draft_check", Status.CROSS_RULE, 11 << 8 | 2, scope=1)
    s.ask("draft_commit", Status.CROSS_RULE, 11 << 8 | 2, scope=1)
    s.ask("draft_set", scope=1, items=items_of(calibrated=0))
    s.ask("draft_commit", scope=1)
    s.set_axis(**(CALIBRATED | {"raw_extended": 700}))
    return s.done()


def _settings_get() -> Json:
    s = Script("settings_get", "settings come in key order, ten to a frame")
    s.begin()
    defaults = settings.defaults("axis")
    for first in (1, 45, 66):
        some = [k for k in settings.KEYS["axis"] if k.id >= first][:10]
        items = [{"key": k.id, "value": defaults[k.name]} for k in some]
        s.ask(
            "settings_get",
            which=int(Which.LIVE),
            scope=2,
            first_key=first,
            reply={"scope": 2, "items": items},
        )
    none: Json = {"which": 0, "scope": 0, "first_key": _NONE_OF_BOARD}
    s.ask("settings_get", **none, reply={"scope": 0, "items": []})
    s.ask("settings_get", Status.BAD_VALUE, 1, which=2, scope=0, first_key=1)
    s.ask("settings_get", Status.BAD_VALUE, 2, which=0, scope=3, first_key=1)
    return s.done()


def _store() -> Json:
    s = Script("store", "store writes beside the tick; the copy is there after a power loss")
    s.begin()
    s.set_axis(**CALIBRATED)
    live = live_digest(**CALIBRATED)
    s.ask("digests", reply={"live": live, "stored": 0, "storing": 0})
    s.ask("store", reply={"generation": 1})
    s.ask("digests", reply={"live": live, "storing": 1})
    s.ask("store", Status.BUSY)
    s.ask("restart", Status.BUSY)
    s.step(ticks=600, events=[{"kind": int(EventKind.STORED), "cause": 0, "value_a": 1}])
    s.ask("digests", reply={"live": live, "stored": live, "storing": 0})
    s.step(reset=POWER_ON, power_lost=True)
    hello = plain_hello()
    again: Json = {"digest_live": live, "digest_stored": live, "boot_nonce": "$again"}
    s.step(hello, expect=(answer(hello, reset_cause=int(ResetCause.POWER_ON), **again),))
    s.seq = 0
    s.open("$again")
    s.ask("store", reply={"generation": 2})
    return s.done()


def _reset() -> Json:
    s = Script("reset", "a reset ends the session and drops the draft; old frames do nothing")
    s.begin()
    s.ask("draft_begin", scope=1)
    s.ask("draft_set", scope=1, items=items_of(feedback=1))
    waiting = s.frame("draft_commit", scope=1)
    s.step(reset=EXTERNAL)
    s.step(waiting, expect=(answer(waiting, Status.NO_SESSION),))
    old = s.frame("open", seq=7, boot_nonce="$nonce", protocol_major=1, protocol_minor=0)
    s.step(old, expect=(answer(old, Status.WRONG_NONCE),))
    hello = plain_hello()
    external: Json = {"reset_cause": int(ResetCause.EXTERNAL), "digest_live": live_digest()}
    s.step(hello, expect=(answer(hello, boot_nonce="$second", **external),))
    s.open("$second")
    s.ask("draft_check", Status.NO_DRAFT, scope=1)
    s.ask("restart", restarts=True, ticks=100)
    s.step(reset=WATCHDOG)
    s.step(hello, expect=(answer(hello, reset_cause=int(ResetCause.RESTART)),))
    return s.done()


def _jog_silence() -> Json:
    s = Script("jog_silence", "a jog without alive ends after its hold")
    s.begin()
    s.set_axis(**FITTED)
    unit = int(JogUnit.OUTPUT)
    s.ask("jog", axis=1, unit=unit, value=100, reply={"motion": 1}, ticks=40)
    s.step(ticks=5, outputs={"driving": [True, False]})
    s.ask("draft_begin", scope=1)
    s.ask("draft_commit", Status.IN_MOTION, scope=1)
    s.ask("restart", Status.IN_MOTION)
    ended = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "cause": int(Ended.SILENCE)}
    s.step(ticks=100, events=[ended], outputs={"driving": [False, False]})
    s.ask("outcome", axis=1, reply={"motion": 1, "ended": int(Ended.SILENCE), "cause": 0})
    return s.done()


def _alive() -> Json:
    s = Script("alive", "only an alive with a good echo prolongs a motion")
    s.begin()
    s.set_axis(**FITTED)
    sent = s.frame("jog", axis=1, unit=0, value=100)
    s.step(sent, expect=(answer(sent, tick="$t"),), ticks=10)
    driving = {"driving": [True, False]}
    for seen in range(10, 60, 10):
        s.step(s.frame("alive", seq=0, tick=f"$t+{seen - 1}"), ticks=10, outputs=driving)
    s.ask("counters", reply={"alive_ignored": 0})
    wrong = {**s.frame("alive", seq=0, tick="$t+60"), "session": 9}
    s.step(wrong, s.frame("alive", seq=0, tick="$t+5000"), outputs=driving)
    short = bytes((0x60, s.session, 0, 1, 2))
    s.step(s.frame("alive", seq=0, tick="$t+3"), raw(short), outputs=driving)
    s.ask("counters", reply={"alive_ignored": 4})
    s.step(ticks=60, outputs={"driving": [False, False]})
    late = s.frame("alive", seq=0, tick="$t+110")
    s.step(late, ticks=10, outputs={"driving": [False, False]})
    return s.done()


def _move_silence() -> Json:
    s = Script("move_silence", "a move without alive ends after its own hold and latches a fault")
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED))
    move: Json = {"axis": 1, "target_um": 150000, "speed_um_s": 0}
    s.ask("move", **move, reply={"motion": 1}, ticks=90)
    s.step(ticks=5, outputs={"driving": [True, False]})
    s.ask("jog", Status.IN_MOTION, axis=1, unit=int(JogUnit.SPEED), value=1000)
    fault = int(Fault.MOVE_SILENCE)
    trip = {"kind": int(EventKind.TRIP), "axis": 1, "cause": fault}
    ended = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "cause": int(Ended.SILENCE)}
    s.step(ticks=300, events=[trip, ended], outputs={"driving": [False, False]})
    s.ask("outcome", axis=1, reply={"motion": 1, "ended": int(Ended.SILENCE), "cause": fault})
    s.ask("move", Status.FAULTED, fault, **move)
    s.ask("clear", axis=0, reply={"cleared": int(FaultBits.MOVE_SILENCE)})
    s.ask("move", **move, reply={"motion": 2}, ticks=5)
    s.step(outputs={"driving": [True, False]})
    s.ask("move", **move, reply={"motion": 3})
    replaced = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "cause": int(Ended.REPLACED)}
    s.ask("move", **move, reply={"motion": 4}, ticks=2, events=[replaced])
    return s.done()


def _stop_categories() -> Json:
    s = Script("stop_categories", "category 1 ramps down, category 0 takes the drive off at once")
    s.begin()
    s.set_axis(**(FITTED | CALIBRATED))
    driving, resting = {"driving": [True, False]}, {"driving": [False, False]}
    run: Json = {"axis": 1, "output_permille": 300}
    for seq, category, after in ((90, 1, driving), (91, 0, resting), (92, 7, resting)):
        s.ask("run", **run, ticks=30, outputs=driving)
        stop = s.frame("stop", seq=seq, axis=1, category=category)
        s.step(stop, expect=(answer(stop),), outputs=after)
        if after is driving:
            s.ask("run", Status.STOP_STANDING, **run)
        ended = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "cause": int(Ended.STOPPED)}
        s.step(ticks=300, events=[ended], outputs=resting)
        s.ask("outcome", axis=1, reply={"ended": int(Ended.STOPPED), "cause": 0})
    s.ask("run", **run, ticks=30, outputs=driving)
    s.session, s.seq = 6, 40
    s.open()
    ended = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "cause": int(Ended.SESSION)}
    s.step(ticks=300, events=[ended], outputs=resting)
    return s.done()


def _trip() -> Json:
    s = Script("trip", "over-current latches a fault that stands until it is cleared")
    s.begin()
    s.set_axis(**FITTED)
    s.ask("jog", axis=1, unit=0, value=100, ticks=10)
    high = {"current": [3600, 0]}
    fault = int(Fault.OVER_CURRENT)
    trip = {"kind": int(EventKind.TRIP), "axis": 1, "cause": fault}
    s.step(ticks=30, readings=high, events=[trip], outputs={"driving": [False, False]})
    s.step(ticks=5, readings={"current": [0, 0]})
    s.ask("jog", Status.FAULTED, fault, axis=1, unit=0, value=100)
    s.ask("outcome", axis=1, reply={"ended": int(Ended.FAULT), "cause": fault})
    s.ask("clear", axis=1, reply={"cleared": int(FaultBits.OVER_CURRENT)}, ticks=2)
    s.ask("jog", axis=1, unit=0, value=100, reply={"motion": 2})
    return s.done()


def _centred() -> Json:
    s = Script("centred", "a centred sensor shows the size; a ratiometric one no meter reading")
    s.begin()
    s.step(ticks=2, readings={"current": [2046, 0]})
    s.set_axis(**(FITTED | {"current_sensor": 2, "current_zero": 2046, "trip_ma": 2000}))
    fault = int(Fault.OVER_CURRENT)
    for at, ma in ((2356, 2047), (1736, 2047)):  # 310 counts of 1.2219 mV by 0.185 V/A
        s.ask("jog", axis=1, unit=0, value=100, ticks=10)
        s.step(ticks=9, readings={"current": [at, 0]}, outputs={"driving": [True, False]})
        trip = {"kind": int(EventKind.TRIP), "axis": 1, "cause": fault, "current_ma": ma}
        s.step(ticks=2, events=[trip], outputs={"driving": [False, False]})
        s.step(ticks=5, readings={"current": [2046, 0]})
        s.ask("clear", axis=1, reply={"cleared": int(FaultBits.OVER_CURRENT)}, ticks=2)
    board_5v: Json = {"key": 5, "value": 4500}
    s.ask("draft_begin", scope=0)
    s.ask("draft_set", scope=0, items=[board_5v])
    s.ask("draft_commit", scope=0)
    for ratiometric, ma in ((0, 2074), (1, 2311)):  # 349 counts of 4500 mV, 350 of 5000
        s.set_axis(current_sensor_ratiometric=ratiometric)
        s.ask("jog", axis=1, unit=0, value=100, ticks=10)
        trip = {"kind": int(EventKind.TRIP), "axis": 1, "cause": fault, "current_ma": ma}
        s.step(ticks=12, readings={"current": [2395 + ratiometric, 0]}, events=[trip])
        s.step(ticks=5, readings={"current": [2046, 0]})
        s.ask("clear", axis=1, reply={"cleared": int(FaultBits.OVER_CURRENT)}, ticks=2)
    return s.done()


TWO_WIRES = {"feedback": 2, "stall_time_ms": 50, "running_ma": 400}
_RUNNING, _NOTHING = {"current": [61, 0]}, {"current": [0, 0]}


def _kept_alive(s: Script, alive_for: int, **more: Any) -> None:
    """The host echoes a tick of the axis's motion, `$t` and on, every 20 ticks."""
    for _ in range(0, alive_for, 20):
        s.ask("outcome", axis=1, reply={"tick": f"$t{len(s.steps)}"})
        s.step(s.frame("alive", seq=0, tick=f"$t{len(s.steps) - 1}"), ticks=19)
    s.step(**more)


def _two_wires() -> Json:
    s = Script("two_wires", "a rod without a pot: ends by current, a run to an end by time")
    s.begin()
    s.set_axis(**TWO_WIRES)
    s.ask("jog", Status.UNCALIBRATED, axis=1, unit=int(JogUnit.SPEED), value=100)
    s.ask("move", Status.UNCALIBRATED, axis=1, target_um=50000, speed_um_s=0)
    s.ask("run", Status.BAD_VALUE, 2, axis=1, output_permille=1001)
    s.ask("run", Status.UNCALIBRATED, axis=1, output_permille=1000)
    s.set_axis(stroke_time_extend_cs=30, stroke_time_retract_cs=40)
    s.ask("run", Status.BAD_VALUE, 2, axis=1, output_permille=999)
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=100, reply={"motion": 1})
    s.step(ticks=2, readings=_RUNNING)
    ended: Json = {"kind": int(EventKind.MOTION_ENDED), "axis": 1, "cause": int(Ended.END_FOUND)}
    _kept_alive(s, 40, readings=_NOTHING, outputs={"driving": [True, False]})
    _kept_alive(s, 80, ticks=80)
    s.ask("outcome", axis=1, reply={"motion": 1, "ended": int(Ended.END_FOUND), "position_um": 0})
    s.ask("run", axis=1, output_permille=1000, reply={"motion": 2})
    s.ask("run", Status.IN_MOTION, axis=1, output_permille=-1000)
    s.ask("run", Status.IN_MOTION, axis=1, output_permille=1000)
    _kept_alive(s, 60, ticks=100, events=[ended], outputs={"driving": [False, False]})
    s.ask("outcome", axis=1, reply={"motion": 2, "ended": int(Ended.END_FOUND), "cause": 0})
    s.ask("run", axis=1, output_permille=-1000, reply={"motion": 3})
    s.step(ticks=2, readings=_RUNNING)
    _kept_alive(s, 80, outputs={"driving": [True, False]})  # 80 ticks of 96
    fault = int(Fault.NO_END)
    trip = {"kind": int(EventKind.TRIP), "axis": 1, "cause": fault}
    s.step(ticks=20, events=[trip], outputs={"driving": [False, False]})
    s.ask("outcome", axis=1, reply={"ended": int(Ended.FAULT), "cause": fault, "on_ticks": 96})
    s.ask("clear", axis=1, reply={"cleared": int(FaultBits.NO_END)})
    s.set_axis(current_sensor=0)
    s.ask("seek", Status.NOT_SUPPORTED, axis=1, direction=1)
    s.ask("run", Status.NOT_SUPPORTED, axis=1, output_permille=1000)
    s.ask("jog", axis=1, unit=int(JogUnit.OUTPUT), value=-100, ticks=10)
    s.step(outputs={"driving": [True, False]})
    return s.done()


def _both_pwm_pins() -> Json:
    s = Script("both_pwm_pins", "two PWM inputs leave no pin for a rod on axis 2")
    s.begin()
    s.set_axis(feedback=1, driver=2)
    s.ask("draft_begin", scope=2)
    s.ask("draft_set", scope=2, items=items_of(feedback=1))
    s.ask("draft_check", Status.CROSS_RULE, 15 << 8 | 16, scope=2)
    s.ask("draft_commit", Status.CROSS_RULE, 15 << 8 | 16, scope=2)
    s.set_axis(driver=3)
    s.ask("draft_begin", scope=2)
    s.ask("draft_set", scope=2, items=items_of(feedback=2, driver=2))
    s.ask("draft_commit", Status.CROSS_RULE, 15 << 8 | 16, scope=2)
    s.ask("draft_set", scope=2, items=items_of(driver=1))
    s.ask("draft_commit", scope=2)
    return s.done()


def _subscribe() -> Json:
    s = Script("subscribe", "telemetry comes when asked for, and ends at 0")
    s.begin()
    silent: Json = {"never": ["telemetry_axis", "telemetry_board"]}
    s.step(ticks=50, **silent)
    for axis_ms, board_ms, place in ((5, 0, 1), (12, 0, 1), (10, 45, 2), (10, 52, 2)):
        s.ask(
            "subscribe",
            Status.BAD_VALUE,
            place,
            axis_period_ms=axis_ms,
            board_period_ms=board_ms,
        )
    s.step(ticks=50, **silent)
    s.ask("subscribe", axis_period_ms=10, board_period_ms=50)
    s.step(ticks=40, at_least={"telemetry_axis": 38, "telemetry_board": 3})
    s.ask("subscribe", axis_period_ms=0, board_period_ms=0)
    s.step(ticks=1)
    s.step(ticks=50, **silent)
    return s.done()


def all_sessions() -> list[Json]:
    """Every scripted session."""
    makers = (
        _hello, _no_session, _open_refused, _sequence, _counted, _open_again, _take_over,
        _late_open, _unknown, _malformed, _bad_frames, _queue, _stop, _stop_covers, _not_fitted,
        _uncalibrated, _draft, _draft_order, _nothing_to_end, _cross_rules,
        _settings_get, _store, _reset, _jog_silence, _alive, _move_silence,
        _stop_categories, _trip, _centred, _two_wires, _both_pwm_pins, _subscribe,
    )  # fmt: skip
    return [
        make()
        for make in (*makers, *sessions_alone.MAKERS, *sessions_heat.MAKERS, *sessions_local.MAKERS)
    ]
