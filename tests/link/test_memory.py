"""Trips, black box and totals by the typed API, against a record of what the rod really did."""

from __future__ import annotations

import pytest
from rodbench.board import Board, check_outcome, convert
from rodbench.clock import VirtualClock
from rodbench.emulator.plant_file import parse
from rodbench.errors import Faulted, Refused
from rodbench_protocol.names import AxisTelemetry, BoardTelemetry, Fault, Inputs

from tests import boards
from tests.link.fake_board import FakeBoard, FakeTransport
from tests.link.rig import PLANT, SETTINGS, Recorded, direct

JAM_MM = 60.0
JAM = f'[[faults]]\nkind = "jam"\naxis = 1\nvalue = {JAM_MM}\n'
SAMPLE_TICKS = 2


@pytest.fixture
def jammed():
    """A board whose rod has run into an obstacle at 60 mm, and tripped."""
    recorded = Recorded(boards.make(parse(PLANT + JAM, "jam")))
    board, clock = direct(recorded, **SETTINGS)
    with board.axis(1).move(90.0) as motion:
        outcome = motion.wait()
    with pytest.raises(Faulted):
        check_outcome(outcome)
    clock.advance(200)  # the log is written a byte a tick
    return board, recorded, clock


def test_a_trip_is_kept_with_where_and_how_much(jammed):
    board, _, _ = jammed
    (trip,) = board.trips()
    assert (trip.number, trip.axis, trip.fault) == (1, 1, Fault.OVER_CURRENT)
    assert trip.position_mm == pytest.approx(JAM_MM, abs=1.0)
    assert trip.current_a > SETTINGS["trip_ma"] / 1000
    assert trip.supply_v == pytest.approx(12.0, abs=0.6)
    assert 0.5 < trip.output <= 1.0
    assert (trip.uptime_s, trip.or_more) == (0.0, False)


def test_trips_come_oldest_first_and_no_more_than_eight(jammed):
    board, _, clock = jammed
    for _ in range(9):
        board.clear(1)
        with board.axis(1).move(90.0) as motion:
            motion.wait()
        clock.advance(200)
    assert [trip.number for trip in board.trips()] == list(range(3, 11))


def test_the_black_box_shows_the_rod_s_last_0_3_s(jammed):
    board, recorded, _ = jammed
    box = board.black_box(1)
    assert (box.axis, box.trip_axis, box.trip_fault) == (1, 1, Fault.OVER_CURRENT)
    assert [s.time_s for s in box.samples] == [round(-0.30 + 0.01 * n, 2) for n in range(30)]
    tripped = max(n for n, tick in enumerate(recorded.ticks) if tick.drive)
    short = []
    for sample, behind in zip(box.samples, range(60, 0, -SAMPLE_TICKS), strict=True):
        truth = recorded.ticks[tripped - behind + SAMPLE_TICKS]
        short.append(truth.position_mm - sample.position_mm)
        assert sample.output == pytest.approx(truth.drive / 1000, abs=0.05)
    assert 0.2 < min(short) <= max(short) < 0.5  # the bleed loads the pot by some 0.35 mm here
    assert box.samples[0].current_a < 2.5 < SETTINGS["trip_ma"] / 1000 < box.samples[-1].current_a


def test_the_black_box_outlives_a_restart_but_not_the_next_motion(jammed):
    board, _, _ = jammed
    board.restart()
    assert board.black_box(1) is not None
    board.write_scope(1, SETTINGS)
    with board.axis(1).move(40.0) as motion:
        motion.wait()
    assert board.black_box(1) is None
    assert len(board.trips()) == 1


def test_the_log_outlives_power_and_the_black_box_does_not(jammed):
    board, recorded, _ = jammed
    trips = board.trips()
    again = boards.make(parse(PLANT, "after the cut"), eeprom=bytes(recorded.board.eeprom))
    board, _ = direct(Recorded(again))
    assert board.trips() == trips
    assert board.black_box(1) is None


def test_totals_count_what_was_done(jammed):
    board, recorded, _ = jammed
    totals = board.totals(1)
    assert totals.on_s == recorded.on_ticks // 200
    assert totals.starts == 1
    assert totals.travel_mm == pytest.approx(JAM_MM - 40.0, abs=1)
    assert [board.totals(axis).starts for axis in board.scopes[2:]] == [0] * (
        boards.kind().axes - 1
    )


def test_an_older_board_is_said_to_keep_none_of_it():
    clock = VirtualClock()
    transport = FakeTransport(FakeBoard(minor=1), clock)
    with Board.direct(transport, clock) as board:
        for ask in (board.trips, lambda: board.black_box(1), lambda: board.totals(1)):
            with pytest.raises(Refused, match=r"keeps no .* protocol 1\.1") as caught:
                ask()
            assert "rodbench load" in caught.value.hint
    assert not [name for name, _ in transport.board.carried_out if name.startswith("t")]


def telemetry(kind, **fields):
    return kind(**(dict.fromkeys(kind._fields, 0) | fields))


def test_what_an_older_board_does_not_tell_is_none_not_0():
    told = telemetry(BoardTelemetry)
    old, new = convert.sample(told, 1), convert.sample(told, 2)
    assert (old.inputs, old.duty_ready_s, old.heat, old.local) == (None, None, None, None)
    assert (new.inputs, new.duty_ready_s, new.heat, new.local) == (0, (0, 0), (0, 0), (0, 0))


def test_the_new_fields_have_their_units():
    fields = {"inputs": 5, "duty_ready_1_ms": 1500, "duty_ready_2_ms": 250, "heat_1_permille": 800}
    sample = convert.sample(telemetry(BoardTelemetry, **fields, local_2=1520), 2)
    assert sample.inputs == Inputs.STOP | Inputs.RETRACT_1
    assert (sample.duty_ready_s, sample.heat) == ((1.5, 0.25), (0.8, 0.0))
    assert sample.local == (0, 1520)


@pytest.mark.parametrize(
    ("bit", "name"),
    [
        (0, "local"),
        (1, "armed"),
        (2, "source_lost"),
        (3, "ganged"),
        (4, "folded_back"),
        (5, "warm"),
    ],
)
def test_each_bit_of_also_has_its_name(bit, name):
    names = ("local", "armed", "source_lost", "ganged", "folded_back", "warm")
    sample = convert.sample(telemetry(AxisTelemetry, axis=1, also=1 << bit), 2)
    assert [each for each in names if getattr(sample, each)] == [name]
