"""What a board of one axis and another scale says and refuses (SPEC.md, 2, rule 7)."""

from __future__ import annotations

import binascii
from itertools import pairwise
from typing import Any

import pytest
from rodbench_protocol.names import AxisState, Ended, Status
from rodbench_protocol.settings import KEYS, pack_scope

from tests.board.host import Host
from tests.posix.board import PosixBoard
from tests.posix.machine import settings

BAD_SECOND_PLACE = {"settings_get"}


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("jog", {"axis": 2, "unit": 0, "value": 100}),
        ("run", {"axis": 2, "output_permille": 100}),
        ("seek", {"axis": 2, "direction": 1}),
        ("move", {"axis": 2, "target_um": 10, "speed_um_s": 0}),
        ("clear", {"axis": 2}),
        ("outcome", {"axis": 2}),
        ("draft_begin", {"scope": 2}),
        ("settings_get", {"which": 0, "scope": 2, "first_key": 0}),
    ],
)
def test_the_second_axis_is_refused(host: Host, name: str, fields: dict[str, Any]) -> None:
    reply = host.ask(name, **fields).fields
    assert reply["status"] == Status.BAD_VALUE
    assert reply["detail"] == (2 if name in BAD_SECOND_PLACE else 1)


def read_scope(host: Host, scope: int) -> dict[str, int]:
    """Every key of a scope, as the board tells it."""
    names = {key.id: key.name for key in KEYS["axis" if scope else "board"]}
    found: dict[str, int] = {}
    first = 0
    while items := host.do("settings_get", which=0, scope=scope, first_key=first)["items"]:
        found |= {names[item["key"]]: item["value"] for item in items}
        first = items[-1]["key"] + 1
    return found


def test_its_digests_end_with_axis_1(host: Host) -> None:
    host.settle(1, settings())
    board, axis = read_scope(host, 0), read_scope(host, 1)
    bytes_1 = pack_scope("axis", axis)
    host.store()
    told = host.do("digests")
    assert told["axis_2"] == 0
    assert told["axis_1"] == binascii.crc32(bytes_1)
    assert told["live"] == told["stored"] == binascii.crc32(pack_scope("board", board) + bytes_1)
    assert host.do("hello")["digest_live"] == told["live"]
    host.do("restart")
    host.step(40)
    assert host.open()["digest_stored"] == told["live"]


@pytest.mark.parametrize("period_ms", [10, 20, 35])
def test_no_telemetry_of_axis_2(host: Host, period_ms: int) -> None:
    host.do("subscribe", axis_period_ms=period_ms, board_period_ms=50)
    host.step(400)
    axes = [m.fields for m in host.heard if m.name == "telemetry_axis"]
    boards = [m.fields["tick"] for m in host.heard if m.name == "telemetry_board"]
    assert {frame["axis"] for frame in axes} == {1}
    ticks = [frame["tick"] for frame in axes]
    assert {b - a for a, b in pairwise(ticks)} == {period_ms // 5}
    assert abs(len(boards) - 40) <= 1


def test_a_stop_of_axis_2_stops_all(board: PosixBoard, host: Host) -> None:
    host.settle(1, settings())
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.alive = True
    host.step(10)
    host.do("jog", axis=1, unit=1, value=4_000)
    host.step(60)
    assert board.outputs.drive[0] != 0
    host.do("stop", axis=2, category=1)
    host.until(AxisState.IDLE, ticks=200)
    assert host.do("outcome", axis=1)["ended"] == Ended.STOPPED


@pytest.mark.parametrize("meter_mv", [0, 3200])
@pytest.mark.parametrize("code", [0, 400, 2048, 3700])
def test_current_has_the_scale_of_its_converter(
    board: PosixBoard, host: Host, code: int, meter_mv: int
) -> None:
    """One conversion of 12 bits against 3.3 V, or what a meter read: 4095 counts."""
    if meter_mv:
        host.do("draft_begin", scope=0)
        key = next(k.id for k in KEYS["board"] if k.name == "board_5v_mv")
        host.do("draft_set", scope=0, items=[{"key": key, "value": meter_mv}])
        host.do("draft_commit", scope=0)
    zero, gain_uv = 100, 220
    host.settle(1, settings() | {"current_zero": zero, "current_uv_per_ma": gain_uv})
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    board.rig._seats = []  # the inputs stand still
    board.rig._readings.current[0] = code
    host.step(20)
    volts = (meter_mv or 3300) / 1000
    expected_ma = (code - zero) / 4095 * volts * 1e6 / gain_uv
    assert host.axis()["current_ma"] == pytest.approx(expected_ma, rel=0.0005, abs=1.5)
