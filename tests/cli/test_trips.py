"""`trips`, and what `clear`, `log` and `watch` say of a trip, as a person uses them."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from rodbench.board import BlackBox, BoxSample, Totals, Trip
from rodbench.record.logbook import Logbook
from rodbench.record.trips import note_new
from rodbench.settings.units import Units
from rodbench.show.trips import plot_box, spell, totals_sentence, trip_sentence
from rodbench_protocol.names import Fault
from rodbench_protocol.settings import defaults

from tests.cli.conftest import Bench, wait_for
from tests.cli.drawings import saved

TRIP = Trip(7, 1, Fault.OVER_CURRENT, 140.21, 2715, 2.98, 12.08, 0.78, 412, False)


@pytest.fixture
def tripped(calibrated: Bench) -> Bench:
    """A rod that has run into an obstacle at 25 mm."""
    calibrated.board.rig.set_fault("jam", 1, 25.0)
    calibrated.run("move", "1", "35 mm", "--yes", code=8)
    return calibrated


def test_a_trip_says_what_where_how_much_and_when() -> None:
    said = trip_sentence(TRIP, Units("mm"))
    assert said == (
        "trip 7, axis 1: over current: the current stayed above the trip. At 140.2 mm, 2.98 A, "
        "output +78 %, supply 12.1 V; 6 h 52 min after the board started."
    )
    assert "5.520 in" in trip_sentence(TRIP, Units("in"))


@pytest.mark.parametrize(
    ("changes", "said", "unsaid"),
    [
        ({"position_mm": None}, "At raw 2715", "mm"),
        ({"axis": 0, "fault": Fault.STOP_INPUT}, "board: stop input: the stop input is open", "At"),
        ({"uptime_min": 65535, "or_more": True}, "45 d 12 h or more", ""),
        ({"uptime_min": 0}, "less than a minute after", ""),
    ],
)
def test_what_is_not_known_is_not_said(changes: dict[str, int], said: str, unsaid: str) -> None:
    text = trip_sentence(dataclasses.replace(TRIP, **changes), Units("mm"))
    assert said in text
    assert not unsaid or unsaid not in text


def test_a_rod_without_a_pot_has_no_place() -> None:
    assert "Place not known" in trip_sentence(TRIP, Units("mm"), pot=False)
    assert "travel" not in totals_sentence(Totals(1, 30, 4, 0), Units("mm"), pot=False)


def test_times_are_spelt() -> None:
    assert [spell(60 * m) for m in (0, 1, 59, 60, 200, 1440)] == [
        "less than a minute", "1 min", "59 min", "1 h 0 min", "3 h 20 min", "1 d 0 h",
    ]  # fmt: skip


def test_the_picture_draws_what_the_box_holds(tmp_path: Path) -> None:
    samples = tuple(
        BoxSample(-0.01 * n, 4000 - n, 100.0 - n, 0.5, 1.0 + n / 10) for n in range(30, 0, -1)
    )
    box, live = BlackBox(1, 1, Fault.STALL, samples), defaults("axis")
    with saved() as figures:
        plot_box(box, tmp_path / "box.png", live=live, title="a trip", units=Units("mm"))
    (top, middle, bottom) = figures[0].axes
    lines = [list(axes.lines[0].get_ydata()) for axes in (top, middle, bottom)]
    assert lines[0] == [s.position_mm for s in samples]
    assert lines[1] == [s.current_a for s in samples]
    assert lines[2] == [100 * s.output for s in samples]
    assert top.get_ylabel() == "position, mm"
    assert (tmp_path / "box.png").read_bytes().startswith(b"\x89PNG")


def test_without_positions_the_picture_draws_raw(tmp_path: Path) -> None:
    samples = tuple(BoxSample(-0.01 * n, 4004, None, 0.0, 0.0) for n in (3, 2, 1))
    box = BlackBox(1, 0, Fault.STOP_INPUT, samples)
    with saved() as figures:
        plot_box(box, tmp_path / "b.png", live=defaults("axis"), title="", units=Units("mm"))
    assert figures[0].axes[0].get_ylabel() == "pot, raw"


def told(number: int, **more: object) -> dict[str, object]:
    facts = {"axis": 1, "fault": "stall", "raw": 7, "uptime_min": 3, "current_a": 1.0}
    return {"number": number, "supply_v": 12.0, **facts, **more}


def test_each_trip_goes_into_the_logbook_once(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "logbook")
    assert note_new(book, 5, [told(1), told(2)], 0x17) == 2
    assert note_new(book, 5, [told(1), told(2), told(3)], 0x17) == 1
    assert note_new(book, 6, [told(3)], 0x17) == 1  # another board's
    assert note_new(book, 5, [told(1, raw=8)], 0x17) == 1  # the same board, its memory new
    assert [e.data["number"] for e in book.read()[0]] == [1, 2, 3, 3, 1]


def test_a_jam_is_told_by_trips_log_and_watch_and_cleared(tripped: Bench) -> None:
    said = tripped.run("trips").stdout
    assert "trip 1, axis 1: over current" in said
    assert "axis 1 in all: motor on for" in said
    seen = " ".join(tripped.run("watch", "--for", "0.5 s").stdout.split())
    assert "To do: see what the rod pushes against; then `rodbench clear 1`." in seen
    assert "over current" in tripped.run("info").stdout
    tripped.run("trips")
    assert tripped.run("log", "--kind", "trip").stdout.count("number 1, axis 1: over current") == 1
    assert tripped.json("clear")["cleared"] == ["over_current"]
    assert tripped.json("clear")["cleared"] == []


def test_last_draws_the_black_box_and_says_when_it_is_gone(tripped: Bench) -> None:
    data = tripped.json("trips", "--last", "--plot", "jam.png")
    assert (tripped.folder / "jam.png").read_bytes().startswith(b"\x89PNG")
    assert len(data["black_box"]["samples"]) == 30
    assert data["trips"][0]["number"] == 1
    tripped.run("clear")
    tripped.run("move", "1", "10 mm")
    assert "The black box is empty" in tripped.run("trips", "--last").stdout
    assert tripped.json("trips", "--last")["black_box"] is None


def test_a_board_without_trips_says_so(calibrated: Bench) -> None:
    assert "no trip is kept" in calibrated.run("trips").stdout
    assert calibrated.json("trips")["trips"] == []
    assert calibrated.run("trips", "--plot", "x.png", code=2).stdout == ""


def test_clear_says_what_stands_again_at_once(calibrated: Bench) -> None:
    calibrated.board.rig.set_fault("pot_open", 1)
    wait_for(lambda: "To do" in calibrated.run("info").stdout, what="the fault")
    done = calibrated.run("clear", "1", code=8)
    assert "the cause still stands" in done.stderr
    assert "rodbench clear 1" in done.stderr
