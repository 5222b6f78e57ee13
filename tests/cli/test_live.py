"""The live view without a terminal: each fault, each state, every size."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.board import BoardSample, Event
from rodbench.link.api import LinkStatistics
from rodbench.settings.units import Units
from rodbench.show.live import View
from rodbench.show.live_bars import BLOCKS, CurrentTrace, position_bar
from rodbench.show.live_plain import Telling
from rodbench.show.words import fault_names, fault_sentence
from rodbench_protocol.names import AxisState, EventKind, Fault, FaultBits
from rodbench_protocol.settings import defaults

from tests.cli.test_show import AXIS, sample

OF_BOARD = FaultBits.SUPPLY_LOW | FaultBits.STOP_INPUT | FaultBits.APART
HOT = {"rated_ma": 2000, "thermal_warn_percent": 80, "thermal_trip_percent": 100}


def board(**changes: Any) -> BoardSample:
    known: dict[str, Any] = {
        "tick": 100, "supply_v": 12.41, "board_5v": None, "inputs": 0, "faults": 0,
        "on_ticks": (0, 0), "duty_left_s": (65.0, 300.0), "frames_bad": 0, "late_ticks": 0,
        "duty_ready_s": (95.0, 0.0), "heat": (0.43, 0.0),
    }  # fmt: skip
    return BoardSample(**(known | changes))


def two(faults: int = 0, **changes: Any) -> View:
    """Both axes fitted, the same changes on both."""
    scopes = {0: defaults("board"), 1: AXIS | HOT, 2: AXIS}
    view = View(scopes, {1: "north", 2: "south"}, Units("mm"), "ridge vent   /dev/ttyUSB0")
    view.take(board(faults=faults & OF_BOARD))
    for axis in (1, 2):
        view.take(sample(axis=axis, faults=faults, **changes))
    view.link = LinkStatistics(round_trip_ms_median=9.6)
    view.commands = "'move 1' (process 12345) commands"
    view.keys = ["space: stop all, whoever commands   j: jog by keys   q: end, stops nothing"]
    return view


def told(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize("fault", list(Fault), ids=lambda fault: fault.name.lower())
def test_each_fault_says_what_to_do_in_80_columns_and_24_rows(fault: Fault) -> None:
    bits = 1 << (fault - 1)
    lines = two(bits, state=AxisState.FAULT).lines(78, 24)
    text, (name,) = told(lines), fault_names(bits)
    assert len(lines) <= 24
    assert all(len(line) <= 78 for line in lines)
    of_board = bool(bits & OF_BOARD)
    for axis in [0] if of_board else [1, 2]:
        assert fault_sentence(name, axis) in text
    assert text.count(f"{name.replace('_', ' ')}:") == (1 if of_board else 2)
    assert "space: stop all" in lines[-1]


@given(
    st.integers(0, 2 ** len(Fault) - 1),
    st.integers(40, 200),
    st.integers(6, 60),
    st.booleans(),
    st.floats(-50, 300),
)
def test_whatever_stands_there_it_fits_and_the_stop_key_is_told(
    faults: int, width: int, rows: int, beside: bool, position: float
) -> None:
    flags = dict.fromkeys(("outside", "held_back", "ganged", "folded_back", "warm"), beside)
    view = two(faults, position_mm=position, duty_used=1.0 if beside else 0.2, **flags)
    view.last_event = "axis 1: tripped"
    lines = view.lines(width, rows)
    assert len(lines) <= rows
    assert all(len(line) <= width for line in lines)
    assert "space: stop all" in told(lines)[-90:]


@pytest.mark.parametrize("rows", [14, 24])
def test_with_three_faults_each_is_named_even_on_a_small_terminal(rows: int) -> None:
    faults = 1 << (Fault.STALL - 1) | 1 << (Fault.POT_JUMP - 1) | FaultBits.STOP_INPUT
    lines = two(faults, state=AxisState.FAULT, output=0.0).lines(78, rows)
    text = told(lines)
    assert len(lines) <= rows
    assert [text.count(f"{name}:") for name in ("stall", "pot jump", "stop input")] == [2, 2, 1]
    assert ("rodbench clear 2" in text) is (rows == 24)


def test_position_ramp_current_duty_heat_supply_and_link_stand_in_words() -> None:
    text = told(two().lines(78, 24))
    for words in (
        "ridge vent /dev/ttyUSB0 'move 1' (process 12345) commands", "extending 8.0 mm/s",
        "output +80 %", "soft stops [ 10.0 ] 190.0", "ramp at 101.0", "1.50 A of 3 A (trip)",
        "duty used 50 %, 1 min 05 s left", "heat 43 %, warns at 80 %, trips at 100 %",
        "supply 12.41 V as read", "link 10 ms, no frame lost",
    ):  # fmt: skip
        assert words in text


def test_the_link_says_what_it_lost_and_the_foot_what_was_dropped() -> None:
    view = two()
    view.link, view.dropped = LinkStatistics(frames_bad=2, unasked_missed=3, retries=1), 12
    assert "link 0 ms, 2 bad, 3 missed, 1 repeated, 12 dropped here" in told(view.lines())


def test_a_lost_board_is_said_first_and_what_stands_there_is_old() -> None:
    view = two()
    view.lost = "the port went away"
    assert told(view.lines(78, 24)[1:3]).startswith(
        "! The board is not reached: the port went away. What stands here is 0 s old."
    )


def test_no_telemetry_is_said_with_its_age(monkeypatch: pytest.MonkeyPatch) -> None:
    view = two()
    monkeypatch.setattr("time.monotonic", lambda: view._heard_s + 3.2)
    assert "! No telemetry for 3 s: what stands here is old." in view.lines()[1]


def test_the_ramp_is_shown_ahead_of_the_rod_only_while_it_moves() -> None:
    assert position_bar(100, 200, 10, 190, 120).count(">") == 1
    assert position_bar(100, 200, 10, 190, 80).count("<") == 1
    assert "ramp at" not in told(two(state=AxisState.IDLE).lines())
    bar = position_bar(100, 200, 10, 190, 120)
    assert bar.index(">") > bar.index("#")


def test_the_trace_has_the_trip_as_its_height_and_blanks_where_nothing_was_heard() -> None:
    trace = CurrentTrace()
    for tick, current in ((0, 0.0), (40, 1.6), (50, -2.9), (150, 3.0)):
        trace.take(tick, current)
    assert trace.drawn(5, 3.0) == f" {BLOCKS[4]}{BLOCKS[7]} T"
    assert trace.most(5) == 3.0
    trace.take(10, 0.1)  # the board started anew
    assert trace.drawn(3, 3.0) == f"  {BLOCKS[0]}"


def test_a_name_cannot_steer_the_terminal() -> None:
    view = two()
    view.rods, view.title = {1: "no\x1b[2Jrth"}, "vent\x07"
    view.commands = "'evil\x1b]0;x\x07' commands"
    assert not re.search(r"[\x00-\x1f]", "".join(view.lines()))


def test_lines_are_added_when_something_changes_and_while_a_rod_moves() -> None:
    view, telling = two(duty_used=1.0), Telling()
    first = "\n".join(telling.new(view, 0.0))
    assert 'Axis 1 "north": move, extending 8.0 mm/s, 100.0 mm, 1.50 A of 3' in first
    assert "The duty budget is spent" in first
    view.take(board(duty_ready_s=(94.0, 0.0)))
    assert telling.new(view, 0.5) == []  # only the seconds differ
    assert len(telling.new(view, 1.1)) == 2  # both move
    for axis in (1, 2):
        view.take(sample(axis=axis, state=AxisState.IDLE))
    rest = telling.new(view, 1.2)
    assert [": idle" in line for line in rest] == [True, True]
    for tick in (200, 300):
        view.take(Event(tick, 1, 1, EventKind.TRIP, Fault.STALL, 0, 65.0, 1.0, 0.5, 0, 0))
        assert len(telling.new(view, 1.3)) == 1
