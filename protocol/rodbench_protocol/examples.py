"""One worked example of every message, for SPEC.md and vectors.json. Figures are invented."""

from __future__ import annotations

from typing import Any

from rodbench_protocol import settings
from rodbench_protocol.schema import Schema

SESSION = 0x5A
REQUESTS: dict[str, dict[str, Any]] = {
    "hello": {},
    "open": {"boot_nonce": 0x3C7E, "protocol_major": 1, "protocol_minor": 0},
    "counters": {},
    "stop": {"axis": 0, "category": 1},
    "clear": {"axis": 1},
    "jog": {"axis": 1, "unit": 1, "value": 3000},
    "run": {"axis": 1, "output_permille": -600},
    "seek": {"axis": 2, "direction": -1},
    "move": {"axis": 1, "target_um": 101500, "speed_um_s": 0},
    "outcome": {"axis": 2},
    "restart": {},
    "level": {"axis": 2, "speed_um_s": -1500},
    "hand_over": {"axis": 0, "commander": 0},
    "credit_off": {"off_s": 5400},
    "draft_begin": {"scope": 1},
    "draft_set": {
        "scope": 1,
        "items": [{"key": 1, "value": 1}, {"key": 6, "value": 203000}],
    },
    "draft_check": {"scope": 1},
    "draft_commit": {"scope": 1},
    "draft_discard": {"scope": 1},
    "store": {},
    "settings_get": {"which": 0, "scope": 1, "first_key": 6},
    "digests": {},
    "trip_get": {"age": 0},
    "black_box": {"axis": 1, "first": 28},
    "totals": {"axis": 1},
    "subscribe": {"axis_period_ms": 10, "board_period_ms": 100},
    "alive": {"tick": 4660},
}
UNASKED: dict[str, dict[str, int]] = {
    "telemetry_axis": {
        "tick": 4660,
        "axis": 1,
        "state": 2,
        "flags": 3,
        "raw": 3902,
        "position_um": 104760,
        "speed_um_s": 2985,
        "reference_um": 104800,
        "current_ma": 1210,
        "output_permille": 418,
        "faults": 0,
        "duty_used_permille": 87,
        "motion": 5,
        "also": 0,
    },
    "telemetry_board": {
        "tick": 4660,
        "supply_mv": 12430,
        "board_5v_mv": 4987,
        "inputs": 0,
        "faults": 0,
        "on_ticks_1": 812,
        "on_ticks_2": 0,
        "duty_left_1_ms": 273900,
        "duty_left_2_ms": 300000,
        "frames_bad": 0,
        "late_ticks": 0,
        "duty_ready_1_ms": 1140000,
        "duty_ready_2_ms": 0,
        "heat_1_permille": 214,
        "heat_2_permille": 0,
        "local_1": 0,
        "local_2": 0,
    },
    "event": {
        "tick": 4671,
        "number": 12,
        "axis": 1,
        "kind": 2,
        "cause": 1,
        "raw": 3880,
        "position_um": 105410,
        "current_ma": 3020,
        "output_permille": 431,
        "value_a": 0,
        "value_b": 0,
    },
}


def reply_fields(schema: Schema) -> dict[str, dict[str, Any]]:
    """The fields of every request's reply, status ok."""
    axis, board = settings.defaults("axis"), settings.defaults("board")
    live = settings.digest_all(board, axis, axis)
    return _fixed_replies() | {
        "hello": _hello(schema, live),
        "draft_check": {"digest": settings.digest_scope("axis", axis)},
        "draft_commit": {"digest": settings.digest_scope("axis", axis)},
        "digests": {
            "live": live,
            "stored": live,
            "board": settings.digest_scope("board", board),
            "axis_1": settings.digest_scope("axis", axis),
            "axis_2": settings.digest_scope("axis", axis),
            "storing": 0,
        },
    }


def _hello(schema: Schema, live: int) -> dict[str, Any]:
    kind = schema.board_kinds["atmega328p_5v"]
    return {
        "protocol_major": schema.protocol["major"],
        "protocol_minor": schema.protocol["minor"],
        "schema_digest": schema.digest,
        "boot_nonce": 0x3C7E,
        "firmware_major": 0,
        "firmware_minor": 1,
        "firmware_patch": 0,
        "board_kind": kind.id,
        "axis_count": kind.axes,
        "features": 7,
        "reset_cause": 1,
        "adc_full_scale": kind.adc_full_scale,
        "adc_reference_mv": kind.adc_reference_mv,
        "board_id": 0,
        "digest_live": live,
        "digest_stored": 0,
        "name": "rodbench",
        "current_full_scale": kind.current_full_scale,
    }


def _fixed_replies() -> dict[str, dict[str, Any]]:
    nothing: dict[str, Any] = {}
    plain = ("open", "stop", "restart", "draft_begin", "draft_set", "draft_discard", "subscribe")
    return (
        dict.fromkeys((*plain, "hand_over", "credit_off"), nothing)
        | {name: {"motion": 5} for name in ("jog", "run", "seek", "move", "level")}
        | {
            "clear": {"cleared": 1},
            "store": {"generation": 7},
            "settings_get": {
                "scope": 1,
                "items": [{"key": 6, "value": 203000}, {"key": 7, "value": 5000}],
            },
            "outcome": {
                "axis": 2,
                "motion": 9,
                "ended": 3,
                "cause": 0,
                "raw": 7410,
                "position_um": 0,
                "current_before_ma": 620,
                "current_stop_ma": 0,
                "current_probe_ma": 0,
                "on_ticks": 731,
            },
            "counters": {
                "requests_done": 41,
                "frames_good": 260,
                "frames_bad": 1,
                "frames_dropped": 0,
                "repeats": 1,
                "alive_ignored": 0,
                "unasked_dropped": 0,
                "late_ticks": 0,
                "worst_tick_us": 870,
            },
            "trip_get": {
                "number": 3,
                "axis": 1,
                "fault": 1,
                "position_um": 140210,
                "raw": 2715,
                "current_ma": 2980,
                "supply_mv": 12080,
                "output_percent": 78,
                "uptime_min": 412,
            },
            "black_box": {
                "trip_axis": 1,
                "trip_fault": 1,
                "count": 30,
                "items": [
                    {"place_output": 0x54F8, "current": 31},
                    {"place_output": 0x54B8, "current": 47},
                ],
            },
            "totals": {"on_s": 40210, "starts": 2841, "travel_mm": 301422},
        }
    )
