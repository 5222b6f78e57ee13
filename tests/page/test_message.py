"""The message that a page is sent, and the sentence on it, by feeds whose truth is known."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

pytest.importorskip("nicegui")

from rodbench.page.feed import Trace
from rodbench.page.look.send import Sender
from rodbench.page.look.sentence import said
from rodbench.page.look.trace import BIN_S, trace_rows
from rodbench_protocol.names import EventKind, Fault

from tests.page.made_up import STATES, axis_sample, stroke


def added(trace: Trace, begin_s: float, end_s: float, **peak: Any) -> Trace:
    """100 Hz from one time to another; `peak` at one sample."""
    for n in range(round(begin_s * 100), round(end_s * 100)):
        amps = peak["amps"] if peak and n == round(peak["at_s"] * 100) else 1.0
        trace.add(axis_sample(tick=2 * n, position_mm=n / 100, current_a=amps))
    return trace


def test_rows_keep_every_peak_and_come_once() -> None:
    trace = added(Trace(), 10.0, 20.0, at_s=13.21, amps=4.5)
    rows, until_s = trace_rows(trace, -math.inf, 1.0)
    assert max(row[3] for row in rows) == 4.5
    added(trace, 20.0, 21.0)
    more, _ = trace_rows(trace, until_s, 1.0)
    times = [row[0] for row in rows + more]
    assert np.allclose(np.diff(times), BIN_S)
    assert times[0] == pytest.approx(10.04)


def test_a_gap_is_a_gap() -> None:
    trace = added(added(Trace(), 10.0, 12.0), 15.0, 17.0)
    rows, until_s = trace_rows(trace, -math.inf, 1.0)
    assert [row for row in rows if row[3] is None] == [[15.04, None, None, None]]
    added(trace, 25.0, 26.0)
    more, _ = trace_rows(trace, until_s, 1.0)
    assert [row[0] for row in more if row[3] is None] == [25.04]


def test_inches_are_what_is_sent_where_inches_are_shown() -> None:
    rows, _ = trace_rows(added(Trace(), 10.0, 12.0), -math.inf, 1 / 25.4)
    assert rows[0][1] == pytest.approx(10.04 / 25.4, abs=1e-3)


def test_a_time_before_is_sent_anew() -> None:
    feed, sender = STATES["idle"](), Sender()
    feed.traces = {1: added(Trace(), 100.0, 130.0)}
    assert sender.message(feed)["axes"][1]["anew"]
    assert not sender.message(feed)["axes"][1]["anew"]
    feed.traces = {1: added(Trace(), 20.0, 40.0)}
    again = sender.message(feed)["axes"][1]
    assert again["anew"]
    assert again["trace"][0][0] < 21.0


def test_strokes_the_other_way_are_not_compared() -> None:
    feed, mm = STATES["idle"](), np.arange(10.0, 20.0, 0.01)
    other = stroke(mm, np.ones_like(mm), 1.0)
    other.way = -1
    feed.strokes = {1: [other, stroke(mm, mm, 2.0), stroke(mm, mm, 3.0, over=False)]}
    lines = Sender().message(feed)["axes"][1]["strokes"]
    assert len(lines["earlier"]) == 1
    assert max(amps for _, amps in lines["now"]) == pytest.approx(mm[-1], abs=1e-3)
    assert len(lines["now"]) < 30


@pytest.mark.parametrize("state", STATES)
def test_a_message_is_json_and_holds_only_what_is_new(state: str) -> None:
    feed, sender = STATES[state](), Sender()
    first = json.dumps(sender.message(feed), allow_nan=False)
    second = json.dumps(sender.message(feed), allow_nan=False)
    assert len(second) < 1500 < len(first) or state == "no_axis"


SENTENCES = {
    "idle": "north rests at 101.5 mm. 4 min of duty left.",
    "tripped": "north stopped: over current: the current stayed above the trip; 2.93 A at 140.0 mm "
    "while extending. To do: see what the rod pushes against; then press Clear. 4 min of duty "
    "left.",
    "duty_spent": "north: The duty budget is spent: the rod rests until there is some again, and "
    "all of it in 16 min.",
    "no_pot": "north rests near the extended end. Axis 1 has a rod without a pot: jog, and runs to "
    "its ends. 4 min of duty left.",
    "lost": "The board is not reached: the port went away 12 s ago. What stands here is old. If a "
    "rod still moves, cut motor power.",
    "no_axis": "No rod is set up on this board. `rodbench commission` sets one up.",
}


@pytest.mark.parametrize("state", SENTENCES)
def test_the_sentence_says_what_and_what_to_do(state: str) -> None:
    assert said(STATES[state]())[0].text == SENTENCES[state]


def test_what_is_grave_comes_first_and_says_what_clears_it() -> None:
    found = said(STATES["apart"]())
    assert [one.grave for one in found] == [True, False, False]
    assert found[0].clear == 0
    assert said(STATES["tripped"]())[0].clear == 1


def test_the_past_is_not_to_be_cleared() -> None:
    assert "Clear" not in said(STATES["replay"]())[0].text


def test_no_place_is_named_where_the_pot_is_at_fault() -> None:
    feed = STATES["tripped"]()
    assert "2.93 A at 140.0 mm while extending" in said(feed)[0].text
    when, trip = next((t, e) for t, e in feed.events if e.kind == EventKind.TRIP)
    feed.events.clear()
    feed.events.append((when, replace(trip, cause=Fault.POT_OPEN)))
    feed.last_axis[1] = replace(feed.last_axis[1], faults=1 << (Fault.POT_OPEN - 1))
    text = said(feed)[0].text
    assert "pot" in text
    assert "2.93 A while extending" in text
    assert " mm" not in text
