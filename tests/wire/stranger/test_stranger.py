"""A client that shares no code with the project, written from SPEC.md, against the emulated board.

What it cannot do by the text of SPEC.md alone, the text does not say.
"""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import client as wire

ROOT = Path(__file__).resolve().parents[3]
SPEC = (ROOT / "protocol" / "SPEC.md").read_text(encoding="utf-8")
RODBENCH = Path(sys.executable).parent / "rodbench"

# Fitted, not calibrated; the trip is out of the way of a motor that starts under load.
FITTED = {
    "feedback": 1,
    "calibrated": 0,
    "creep_output_permille": 400,
    "output_max_permille": 1000,
    "trip_ma": 8000,
}
UM_PER_RAW = 31.25
PLANT_NEAR_END = """
plant_file = 1
[axes.1]
start_mm = 1.5
"""


# --- the examples of the text -------------------------------------------------------------------


class Example(NamedTuple):
    name: str
    means: str
    payload: bytes
    crc: bytes
    frame: bytes


def examples() -> list[Example]:
    block = re.compile(
        r"^    (\w+)\n {6}means +(.+)\n {6}payload +(.+)\n {6}crc +(.+)\n {6}frame +(.+)\n", re.M
    )
    return [
        Example(m[1], m[2], *(bytes.fromhex(m[n]) for n in (3, 4, 5))) for m in block.finditer(SPEC)
    ]


def said(means: str) -> tuple[dict[str, int], wire.Items]:
    """Fields and items of a line `session 0x5a, seq 5; axis 1, unit 1; key 6 = 203000`."""
    values, items = {}, []
    for part in re.split(r"[;,] ", means.split("; ", 1)[1] if "; " in means else ""):
        if listed := re.fullmatch(r"(?:key|item) (\d+)(?: =)? (-?\d+)", part):
            items.append((int(listed[1]), int(listed[2])))
        elif number := re.fullmatch(r"(\w+) (-?\d+)", part):
            values[number[1]] = int(number[2])
    return values, tuple(items)


@pytest.mark.parametrize("example", examples(), ids=lambda e: e.name)
def test_examples(example: Example) -> None:
    assert wire.crc16(example.payload) == int.from_bytes(example.crc, "big")
    assert wire.frame(example.payload) == example.frame
    assert wire.payload_of(example.frame[:-1]) == example.payload
    values, items = said(example.means)
    heard = wire.decode(example.payload)
    assert (heard.values, heard.items) == (values, items)
    if not isinstance(heard, wire.Reply):
        again = wire.encode(heard.name, heard.session, heard.seq, items, **values)
        assert again == example.payload


def test_every_message_has_an_example() -> None:
    shown = {e.name for e in examples()}
    assert shown >= set(wire.MESSAGES)
    assert shown >= {f"{m.name}_reply" for m in wire.MESSAGES.values() if m.reply}


def test_check_values() -> None:
    assert wire.crc16(b"123456789") == 0x29B1
    assert wire.crc16(b"123456789" + b"\x29\xb1") == 0
    assert wire.crc32(b"123456789") == 0xCBF43926


def test_bad_crc_of_the_text_is_counted() -> None:
    found = re.search(r"^    bad_crc +(.+)$", SPEC, re.M)
    assert found is not None
    deframer = wire.Deframer()
    assert deframer.feed(bytes.fromhex(found[1])) == []
    assert deframer.bad == 1


@pytest.mark.parametrize("data", [b"", b"\0", b"\0\0", b"a", b"x" * 253, b"x" * 254, b"x" * 600])
def test_cobs_both_ways(data: bytes) -> None:
    coded = wire.cobs_encode(data)
    assert 0 not in coded
    assert wire.cobs_decode(coded) == data


def test_after_too_long_a_run_the_next_frame_is_good() -> None:
    deframer = wire.Deframer()
    good = wire.encode("hello", 0, 0)
    assert deframer.feed(b"z" * 500 + b"\0\0" + wire.frame(good)) == [good]
    assert deframer.bad == 1


def table_of(scope: str) -> list[tuple[int, int, str, str]]:
    """Key, offset, name and type of every key, as the text's table has them."""
    text = SPEC.split(f"<!-- made: settings {scope} -->")[1].split("<!-- end -->")[0]
    row = re.compile(r"^\| (\d+)(?: - \d+)? \| `(\w+)` \| (\d+) \| (\w+)(?: x (\d+))? \|", re.M)
    found = []
    for key, name, at, type_, count in row.findall(text):
        width = int(type_[1:]) // 8
        for n in range(int(count or 1)):
            each = f"{name}_{n}" if count else name
            found.append((int(key) + n, int(at) + n * width, each, type_))
    return found


@pytest.mark.parametrize(("scope", "name"), [(0, "board"), (1, "axis")])
def test_keys_are_those_of_the_text(scope: int, name: str) -> None:
    at, mine = 0, []
    for setting in wire.SCOPES[scope]:
        mine.append((setting.key, at, setting.name, setting.type))
        at += int(setting.type[1:]) // 8
    assert mine == table_of(name)


# --- retries, against a few lines of a board ----------------------------------------------------


@contextmanager
def scripted(answers: list[list[bytes]]) -> Iterator[tuple[wire.Client, list[bytes]]]:
    """A client and what it sent; the n-th frame is answered with the n-th list."""
    server = socket.create_server(("127.0.0.1", 0))
    sent: list[bytes] = []

    def serve() -> None:
        link, _ = server.accept()
        cut = wire.Deframer()
        with link:
            while data := link.recv(4096):
                for payload in cut.feed(data):
                    sent.append(payload)
                    for answer in answers[len(sent) - 1] if len(sent) <= len(answers) else []:
                        link.sendall(wire.frame(answer))

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    mine = wire.Client(*server.getsockname())
    mine.line.connect()
    try:
        yield mine, sent
    finally:
        mine.close()
        thread.join(2.0)
        server.close()


def done(id_: int, session: int, seq: int) -> bytes:
    return bytes([id_ + wire.REPLY, session, seq]) + bytes(7)


def test_same_bytes_again_and_late_replies_dropped() -> None:
    with scripted([[], [done(0x25, 0, 9), done(0x17, 0, 1)]]) as (mine, sent):
        assert mine.ask("restart").status_name == "ok"
        assert sent == [wire.encode("restart", 0, 1)] * 2
        assert mine.heard.late == 1


def test_three_tries_and_no_more() -> None:
    with scripted([]) as (mine, sent), pytest.raises(wire.NoReply):
        mine.ask("restart")
    assert len(sent) == wire.TRIES


def test_another_major_is_an_error_of_its_own() -> None:
    hello = next(e.payload for e in examples() if e.name == "hello_reply")
    other = b"\x81\0\0" + hello[3:10] + b"\x02" + hello[11:]
    with scripted([[other]]) as (mine, sent):
        mine.find()
        with pytest.raises(wire.MajorDiffers, match="major 1, the board 2"):
            mine.open()
        assert {payload[0] for payload in sent} == {0x01}


def test_a_shorter_reply_of_an_older_board_is_taken() -> None:
    hello = next(e.payload for e in examples() if e.name == "hello_reply")
    heard = wire.decode(hello[:-2])
    assert heard.text == "rodbench"
    assert "current_full_scale" not in heard.values
    heard = wire.decode(hello[:-16])
    assert "digest_live" in heard.values
    assert "digest_stored" not in heard.values


# --- the emulated board -------------------------------------------------------------------------


@contextmanager
def emulated(*more: str) -> Iterator[int]:
    command = [str(RODBENCH), "emulate", "--tcp", "0", "--json", *more]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        assert process.stdout is not None
        try:
            yield int(json.loads(process.stdout.readline())["port"].rpartition(":")[2])
        finally:
            process.terminate()


@pytest.fixture(scope="module")
def board() -> Iterator[int]:
    with emulated() as port:
        yield port


@pytest.fixture
def host(board: int) -> Iterator[wire.Client]:
    yield from opened(board)


def opened(port: int) -> Iterator[wire.Client]:
    """A host with a session, subscribed; it leaves the board at rest."""
    mine = wire.Client("127.0.0.1", port)
    mine.connect()
    mine.open()
    mine.subscribe(20, 100)
    try:
        yield mine
    finally:
        mine.stop()
        mine.close()


def at_rest(host: wire.Client, axis: int = 1) -> int:
    """Wait for telemetry that shows the axis at rest; the raw of its pot."""
    host.heard.axis.pop(axis, None)

    def rests() -> bool:
        seen = host.heard.axis.get(axis)
        return seen is not None and wire.word(wire.STATE, seen["state"]) in ("idle", "fault")

    assert host.wait(rests, 2.0)
    return host.heard.axis[axis]["raw"]


def fit(host: wire.Client, **more: int) -> int:
    """Axis 1 fitted with a pot, not calibrated, no faults; the raw of its pot."""
    host.commit(1, FITTED | more)
    host.do("clear", axis=0)
    return at_rest(host)


def counted(host: wire.Client) -> Mapping[str, int]:
    return host.do("counters").values


def pause(host: wire.Client, seconds: float) -> None:
    host.wait(lambda: False, seconds)


# Sessions and sequence


def test_hello_and_its_boot(board: int) -> None:
    mine = wire.Client("127.0.0.1", board)
    hello = mine.connect()
    assert (hello["protocol_major"], hello["axis_count"], hello.text) == (1, 2, "rodbench")
    assert (hello["adc_full_scale"], hello["adc_reference_mv"]) == (8184, 5000)
    assert hello["current_full_scale"] == 4092
    assert wire.word(wire.RESET, hello["reset_cause"]) == "power_on"
    assert mine.exchange(wire.encode("hello", 99, 77))["boot_nonce"] == hello["boot_nonce"]
    assert mine.ask("counters").status_name == "no_session"
    mine.close()


def test_refused_opens_change_nothing(host: wire.Client) -> None:
    nonce = host.hello()["boot_nonce"]
    session = host.session
    other = session % 255 + 1
    assert host.try_open(other, nonce ^ 1).status_name == "wrong_nonce"
    assert host.try_open(other, nonce, major=2).status_name == "protocol_major"
    assert host.try_open(0, nonce).status_name == "bad_value"
    in_use = host.try_open(session, nonce, seq=(host.seq + 7) % 256)
    assert in_use.status_name == "session_in_use"
    short = host.exchange(bytes([0x02, other, 0, nonce & 0xFF, nonce >> 8]))
    assert short.status_name == "malformed"
    assert host.ask("counters").status_name == "ok"


def test_an_open_is_repeated_only_while_it_is_the_last(host: wire.Client) -> None:
    nonce, session = host.hello()["boot_nonce"], host.session % 255 + 1
    first = host.try_open(session, nonce, seq=255)
    assert host.try_open(session, nonce, seq=255).payload == first.payload
    assert host.do("counters").seq == 0
    assert host.try_open(session, nonce, seq=255).status_name == "session_in_use"


def test_another_host_takes_the_board(host: wire.Client) -> None:
    fields = {"boot_nonce": host.nonce or 0, "protocol_major": 1, "protocol_minor": 0}
    others = ((host.session + n) % 255 + 1 for n in range(5))  # four of these may be in use
    takes = (wire.encode("open", number, 3, **fields) for number in others)
    assert any(host.exchange(taken).status_name == "ok" for taken in takes)
    assert host.ask("counters").status_name == "no_session"
    assert host.recover() is False
    assert host.ask("counters").status_name == "ok"


def test_a_refused_request_takes_its_place_in_the_sequence(host: wire.Client) -> None:
    reply = host.ask("outcome", axis=3)
    assert (reply.status_name, reply.detail) == ("bad_value", 1)
    assert host.ask_raw(bytes([0x5F, host.session, host.next_seq])).status_name == "unknown_message"
    assert host.ask("counters").status_name == "ok"


def test_a_repeat_is_answered_from_memory(host: wire.Client) -> None:
    host.do("draft_begin", scope=1)
    before = counted(host)
    discard = wire.encode("draft_discard", host.session, host.next_seq, scope=1)
    replies = [host.ask_raw(discard).payload for _ in range(3)]
    after = counted(host)
    assert replies == [replies[0]] * 3
    assert after["repeats"] - before["repeats"] == 2
    assert after["requests_done"] - before["requests_done"] == 2
    assert host.ask("draft_discard", scope=1).status_name == "no_draft"


def test_a_skipped_number_and_other_content(host: wire.Client) -> None:
    skipped = wire.encode("counters", host.session, (host.seq + 2) % 256)
    assert host.exchange(skipped).status_name == "sequence"
    other = wire.encode("outcome", host.session, host.seq, axis=1)
    assert host.exchange(other).status_name == "sequence"
    assert host.ask("counters").status_name == "ok"


def test_corrupted_frames_are_counted_and_never_answered(host: wire.Client) -> None:
    before = counted(host)
    good = wire.frame(wire.encode("counters", host.session, host.next_seq))
    host.line.write(good[:2] + bytes([good[2] ^ 0x10]) + good[3:] + b"\0\0")
    pause(host, 0.1)
    after = counted(host)
    assert after["frames_bad"] - before["frames_bad"] == 1
    assert after["requests_done"] - before["requests_done"] == 1
    assert host.heard.late == 0


def test_longer_bodies_are_taken_and_shorter_are_not(host: wire.Client) -> None:
    head = bytes([0x16, host.session, host.next_seq])
    assert host.ask_raw(head + b"\x01tail").status_name == "ok"
    head = bytes([0x16, host.session, host.next_seq])
    assert host.ask_raw(head).status_name == "malformed"
    cut = wire.encode("draft_set", host.session, host.next_seq, [(1, 1)], scope=1)[:-1]
    assert host.ask_raw(cut).status_name == "malformed"


def test_a_host_with_another_nonce_knows(host: wire.Client) -> None:
    before, session = host.nonce, host.session
    hello = host.restart()
    assert host.nonce != before
    assert host.session == 0
    assert wire.word(wire.RESET, hello["reset_cause"]) == "restart"
    boot = host.event("boot", cause=wire.RESET.index("restart"))
    assert boot is not None
    assert (boot.session, boot["number"]) == (0, 1)
    late = wire.encode("counters", session, 1)
    assert host.exchange(late).status_name == "no_session"
    host.open()


# Settings


def test_a_draft_with_bad_values(host: wire.Client) -> None:
    host.commit(1, FITTED)
    assert host.ask("draft_set", [(1, 1)], scope=2).status_name == "no_draft"
    assert host.ask("draft_begin", scope=3).status_name == "bad_value"
    host.draft(1, {"creep_output_permille": 350})
    unknown = host.ask("draft_set", [(12, 444), (99, 1)], scope=1)
    assert (unknown.status_name, unknown.detail) == ("unknown_setting", 99)
    ranged = host.ask("draft_set", [(12, 444), (22, 49)], scope=1)
    assert (ranged.status_name, ranged.detail) == ("setting_range", 22)
    assert host.settings(1, wire.DRAFT)["creep_output_permille"] == 350
    assert host.settings(1)["creep_output_permille"] == 400


def test_a_broken_cross_rule_keeps_the_draft(host: wire.Client) -> None:
    host.commit(1, FITTED)
    live = host.digest(1)
    host.draft(1, {"output_max_permille": 300})
    for name in ("draft_check", "draft_commit"):
        reply = host.ask(name, scope=1)
        assert (reply.status_name, reply.detail) == ("cross_rule", 5 * 256 + 12)
    assert host.do("digests")["axis_1"] == live
    host.do("draft_set", [(12, 300)], scope=1)
    committed = host.do("draft_commit", scope=1)["digest"]
    assert host.ask("draft_check", scope=1).status_name == "no_draft"
    assert host.digest(1) == committed != live


def test_digests_reckoned_here(host: wire.Client) -> None:
    host.commit(0, {"board_id": 0x12345678, "supply_nominal_mv": 12400})
    host.commit(1, FITTED | {"stroke_um": 203000})
    assert host.settings(0)["board_id"] == 0x12345678
    told = host.do("digests")
    assert [host.digest(scope) for scope in range(3)] == [
        told["board"],
        told["axis_1"],
        told["axis_2"],
    ]
    assert host.digest_of_all() == told["live"] == host.hello()["digest_live"]


def test_store_and_restart(host: wire.Client) -> None:
    host.commit(1, FITTED | {"trip_ms": 60})
    generation = host.do("store")["generation"]
    assert host.do("digests")["storing"] == 1
    assert [host.ask(name).status_name for name in ("store", "restart")] == ["busy", "busy"]
    host.do("draft_begin", scope=1)
    assert host.ask("draft_commit", scope=1).status_name == "busy"
    assert host.wait(lambda: host.event("stored", value_a=generation) is not None, 5.0)
    told = host.do("digests")
    assert told["stored"] == told["live"] == host.digest_of_all()
    host.commit(1, {"trip_ms": 70})
    assert host.restart()["digest_stored"] == told["stored"]
    host.open()
    assert host.settings(1)["trip_ms"] == 60
    assert host.digest_of_all() == told["stored"]


# Telemetry and motion


def test_telemetry(host: wire.Client) -> None:
    refused = host.ask("subscribe", axis_period_ms=20, board_period_ms=45)
    assert (refused.status_name, refused.detail) == ("bad_value", 2)
    host.commit(1, FITTED)
    host.subscribe(10, 50)
    host.heard = wire.Heard()
    pause(host, 0.5)
    assert 80 <= host.heard.axis_frames <= 120
    assert 8 <= host.heard.board_frames <= 12
    assert host.heard.gaps == 0
    seen, supply = host.heard.axis[1], host.heard.board
    assert wire.word(wire.STATE, seen["state"]) == "idle"
    assert seen.session == host.session
    assert wire.word(wire.STATE, host.heard.axis[2]["state"]) == "not_fitted"
    assert 0 < seen["raw"] < 8184
    assert supply is not None
    assert 11000 < supply["supply_mv"] < 14000
    host.subscribe(0)
    host.heard = wire.Heard()
    pause(host, 0.2)
    assert host.heard.axis_frames == 0


def test_a_jog_lives_from_alive(host: wire.Client) -> None:
    start = fit(host)
    jog = host.do("jog", axis=1, unit=wire.OUTPUT, value=400)
    host.keep_alive(lambda: False, 0.7)
    driven = host.heard.axis[1]
    assert driven["output_permille"] == 400
    assert driven["current_ma"] > 100
    assert abs(driven["raw"] - start) > 20
    assert host.finish(1, jog["motion"], 2.0, alive=False) == "silence"
    # Hold from the last echo, then the ramp.
    held = host.echoed + round(wire.HOLD_S / wire.TICK_S) - jog["tick"]
    assert held - 1 <= host.do("outcome", axis=1)["on_ticks"] <= held + 20


def test_alive_that_prolongs_nothing(host: wire.Client) -> None:
    fit(host)
    before = counted(host)
    jog = host.do("jog", axis=1, unit=wire.OUTPUT, value=300)
    host.alive()
    echoed = host.echoed
    for tick, session in ((echoed + 1000, None), (echoed - 1, None), (echoed, host.session ^ 1)):
        host.alive(tick=tick, session=session)
        pause(host, 0.03)
    host.line.write(wire.frame(bytes([0x60, host.session, 0, 1, 0, 0])))
    host.ask("jog", axis=1, unit=wire.OUTPUT, value=350)
    assert host.finish(1, jog["motion"], 2.0, alive=False) == "silence"
    assert host.do("outcome", axis=1)["on_ticks"] <= echoed + 50 - jog["tick"] + 20
    host.alive()
    pause(host, 0.1)
    assert host.heard.axis[1]["output_permille"] == 0
    assert counted(host)["alive_ignored"] - before["alive_ignored"] == 4


def test_stop_with_a_foreign_session(host: wire.Client) -> None:
    fit(host)
    jog = host.do("jog", axis=1, unit=wire.OUTPUT, value=300)
    host.keep_alive(lambda: False, 0.2)
    stopped = host.stop(session=host.session ^ 1)
    assert stopped.status_name == "ok"
    again = host.ask("jog", axis=1, unit=wire.OUTPUT, value=300)
    assert again.status_name == "stop_standing"
    assert host.finish(1, jog["motion"], 2.0) == "stopped"
    assert host.exchange(bytes([0x10, 0, 0])).status_name == "ok"
    assert host.do("counters").status_name == "ok"


def test_a_new_session_stops_what_the_old_one_moved(host: wire.Client) -> None:
    fit(host)
    jog = host.do("jog", axis=1, unit=wire.OUTPUT, value=300)
    host.keep_alive(lambda: False, 0.1)
    assert host.ask("clear", axis=1).status_name == "in_motion"
    assert host.ask("restart").status_name == "in_motion"
    host.open()
    assert host.finish(1, jog["motion"], 2.0, alive=False) == "session"


def test_motions_refused(host: wire.Client) -> None:
    fit(host)
    cases = [
        (host.ask("jog", axis=2, unit=0, value=100), "not_fitted", 0),
        (host.ask("jog", axis=0, unit=0, value=100), "bad_value", 1),
        (host.ask("jog", axis=1, unit=2, value=100), "bad_value", 2),
        (host.ask("jog", axis=1, unit=0, value=1001), "bad_value", 3),
        (host.ask("jog", axis=1, unit=1, value=100), "uncalibrated", 0),
        (host.ask("run", axis=1, output_permille=100), "uncalibrated", 0),
        (host.ask("move", axis=1, target_um=1, speed_um_s=0), "uncalibrated", 0),
        (host.ask("seek", axis=1, direction=0), "bad_value", 2),
    ]
    for reply, status, detail in cases:
        assert (reply.status_name, reply.detail) == (status, detail)


def jogged(host: wire.Client, value: int) -> tuple[int, int]:
    """Raw before and after a small jog."""
    before = at_rest(host)
    jog = host.do("jog", axis=1, unit=wire.OUTPUT, value=value)
    host.keep_alive(lambda: False, 0.5)
    host.stop()
    assert host.finish(1, jog["motion"], 2.0) == "stopped"
    return before, at_rest(host)


def calibrate(host: wire.Client) -> None:
    """Endpoints invented around where the rod stands, in the sense that the jog showed."""
    fit(host)
    before, now = jogged(host, 400)
    half = 1600 if now > before else -1600
    host.commit(
        1,
        {
            "calibrated": 1,
            "raw_retracted": now - half,
            "raw_extended": now + half,
            "stroke_um": round(3200 * UM_PER_RAW),
            "soft_stop_min_um": 10000,
            "soft_stop_max_um": 90000,
        },
    )
    at_rest(host)


def test_a_calibrated_axis_moves_to_a_position(host: wire.Client) -> None:
    calibrate(host)
    seen = host.heard.axis[1]
    assert abs(seen["position_um"] - 50000) < 500
    assert seen["flags"] & wire.FLAGS["calibrated"]
    assert host.ask("move", axis=1, target_um=95000, speed_um_s=0).status_name == "outside"
    assert host.ask("jog", axis=1, unit=wire.OUTPUT, value=1).status_name == "calibrated"
    move = host.do("move", axis=1, target_um=52500, speed_um_s=0)
    assert host.finish(1, move["motion"], 6.0) == "reached"
    at_rest(host)
    seen = host.heard.axis[1]
    assert abs(seen["position_um"] - 52500) < 700
    assert seen["flags"] & wire.FLAGS["proven"]
    assert not seen["faults"]


def test_recalibration_goes_through_uncalibrated(host: wire.Client) -> None:
    calibrate(host)
    extended = host.settings(1)["raw_extended"]
    host.draft(1, {"raw_extended": extended - 9})
    reply = host.ask("draft_commit", scope=1)
    assert (reply.status_name, reply.detail) == ("cross_rule", 11 * 256 + 2)
    host.commit(1, {"calibrated": 0})
    host.commit(1, {"calibrated": 1, "raw_extended": extended - 9})


def test_run_and_a_move_left_alone(host: wire.Client) -> None:
    calibrate(host)
    run = host.do("run", axis=1, output_permille=350)
    host.keep_alive(lambda: False, 0.2)
    assert host.ask("move", axis=1, target_um=50000, speed_um_s=0).status_name == "in_motion"
    host.do("run", axis=1, output_permille=0)
    assert host.finish(1, run["motion"], 2.0) == "stopped"
    first = host.do("move", axis=1, target_um=60000, speed_um_s=0)["motion"]
    second = host.do("move", axis=1, target_um=70000, speed_um_s=0)["motion"]
    assert host.finish(1, second, 3.0, alive=False) == "silence"
    replaced = host.event("motion_ended", value_a=first)
    assert replaced is not None
    assert wire.word(wire.ENDED, replaced["cause"]) == "replaced"
    silence = wire.FAULT.index("move_silence")
    barred = host.ask("move", axis=1, target_um=50000, speed_um_s=0)
    assert (barred.status_name, barred.detail) == ("faulted", silence)
    assert host.do("clear", axis=1)["cleared"] == 1 << (silence - 1)


def test_a_standing_fault_comes_back_at_once(host: wire.Client) -> None:
    now = fit(host)
    away = now + 300 if now < 4000 else now - 1300
    ends = {"calibrated": 1, "raw_retracted": away, "raw_extended": away + 1000}
    host.commit(1, ends)
    band = wire.FAULT.index("pot_band")
    assert host.wait(lambda: host.event("trip", axis=1, cause=band) is not None, 1.0)
    assert host.do("clear", axis=1)["cleared"] == 1 << (band - 1)
    pause(host, 0.1)
    assert host.event("cleared", axis=1, value_a=1 << (band - 1)) is not None
    assert host.ask("jog", axis=1, unit=wire.SPEED, value=500).status_name == "faulted"
    host.commit(1, {"calibrated": 0})
    host.do("clear", axis=1)


def test_seek_finds_an_end(tmp_path: Path) -> None:
    plant = tmp_path / "near.toml"
    plant.write_text(PLANT_NEAR_END)
    with emulated("--plant", str(plant)) as port:
        for host in opened(port):
            fit(host)
            seek = host.do("seek", axis=1, direction=-1)
            assert host.finish(1, seek["motion"], 8.0) == "end_found"
            found = host.event("end_found", axis=1)
            assert found is not None
            assert found["value_a"] > 100
            assert abs(host.do("outcome", axis=1)["raw"] - found["raw"]) < 20


# What is kept of a trip


def samples(host: wire.Client, axis: int) -> list[tuple[int, int, int]]:
    """Raw, output in permille and current in mA of the last 0.3 s, oldest first."""
    found: list[tuple[int, int, int]] = []
    while items := host.do("black_box", axis=axis, first=len(found)).items:
        for both, current in items:
            found.append((8 * (both >> 6), 32 * ((both & 63) - 32), 64 * current))
    assert host.do("black_box", axis=axis, first=0)["count"] == len(found)
    return found


def trip(host: wire.Client, age: int) -> wire.Reply:
    while (reply := host.ask("trip_get", age=age)).status_name == "busy":
        pause(host, 0.05)
    return reply


def test_a_trip_is_kept_with_its_last_moments(host: wire.Client) -> None:
    calibrate(host)
    number = 0 if trip(host, 0).status_name == "nothing_kept" else trip(host, 0)["number"]
    starts = host.do("totals", axis=1)["starts"]
    move = host.do("move", axis=1, target_um=75000, speed_um_s=0)["motion"]
    assert host.finish(1, move, 3.0, alive=False) == "silence"
    event = host.event("trip", axis=1, cause=wire.FAULT.index("move_silence"))
    assert event is not None
    pause(host, 0.5)
    for _ in range(2):
        kept = trip(host, 0)
        assert kept["number"] == (number + 1) % 65536
        assert (kept["axis"], kept["fault"]) == (1, wire.FAULT.index("move_silence"))
        told = ("raw", "position_um", "current_ma")
        assert [kept[name] for name in told] == [event[name] for name in told]
        assert kept["output_percent"] == int(event["output_permille"] / 10)
        moments = samples(host, 1)
        assert len(moments) == 30
        assert abs(moments[-1][0] - event["raw"]) < 60
        assert abs(event["output_permille"] - moments[-1][1]) < 100  # two ticks before
        assert host.do("totals", axis=1)["starts"] == starts + 1
        assert host.do("totals", axis=2)["starts"] == 0
        host.restart()  # all of it outlives a reset
        host.open()
    host.do("draft_begin", scope=0)
    assert host.ask("black_box", axis=1, first=0).status_name == "nothing_kept"
    assert host.ask("trip_get", age=255).status_name == "nothing_kept"


def test_a_gang_refuses_what_is_for_one_rod(host: wire.Client) -> None:
    calibrate(host)
    assert host.ask("level", axis=1, speed_um_s=100).status_name == "not_supported"
    host.commit(0, {"apart_trip_um": 5000})
    assert host.ask("run", axis=1, output_permille=100).status_name == "ganged"
    assert host.ask("move", axis=1, target_um=50000, speed_um_s=0).status_name == "ganged"
    host.commit(0, {"apart_trip_um": 0})
    run = host.do("run", axis=1, output_permille=350)
    host.stop()
    assert host.finish(1, run["motion"], 2.0) == "stopped"
