"""The trip log and the black box: what a trip leaves behind, and for how long."""

from __future__ import annotations

from itertools import pairwise

from rodbench_protocol.names import EventKind, Fault, Features, Status

from tests.core import bench as layout
from tests.core.bench import TRIPS, Bench, log_of
from tests.core.host import EXTERNAL, POWER_ON, WATCHDOG

SAMPLES = 30


def box_of(bench: Bench, axis: int) -> list[tuple[int, int, int]]:
    """Place, output and current of each sample, in as many requests as it takes."""
    told: list[tuple[int, int, int]] = []
    count = 1
    while len(told) < count:
        reply = bench.ask("black_box", axis=axis, first=len(told))
        count = reply["count"]
        items = reply["items"]
        assert isinstance(items, list)
        assert items
        for item in items:
            packed = item["place_output"]
            told.append((packed >> 6, (packed & 63) - 32, item["current"]))
    return told


def test_the_board_says_that_it_keeps_them() -> None:
    assert Bench().ask("hello")["features"] & Features.TRIP_LOG
    assert Bench().ask("hello")["features"] & Features.BLACK_BOX


def test_a_trip_is_told_as_it_was_and_kept_through_a_power_loss() -> None:
    bench = Bench()
    bench.run(5)
    bench.trip(2)
    event = next(e.fields for e in bench.events if e.fields["kind"] == EventKind.TRIP)
    bench.settle()
    (trip,) = bench.log()
    assert (trip.number, trip.axis, trip.fault) == (1, 2, Fault.OVER_CURRENT)
    assert trip.raw == event["raw"] == bench.pot[1]
    assert trip.current_ma == event["current_ma"] > 20000
    assert trip.output_percent == 30
    assert trip.supply_mv == bench.board.fields().supply_mv > 11000
    assert trip.uptime_min == 0
    bench.power_loss()
    assert bench.log() == [trip] == log_of(bench.image)


def test_uptime_counts_minutes() -> None:
    bench = Bench()
    bench.run(12000 * 2 - 60 - bench.board.fields().tick)
    bench.trip(1)
    bench.run(60)
    bench.clear()
    bench.trip(2)
    bench.settle()
    assert [trip.uptime_min for trip in bench.log()] == [2, 1]


def test_the_last_eight_are_kept_newest_first() -> None:
    bench = Bench()
    for _ in range(TRIPS + 3):
        bench.trip(1)
        bench.settle()
        bench.clear()
    assert [trip.number for trip in bench.log()] == list(range(11, 3, -1))
    bench.power_loss()
    assert [trip.number for trip in bench.log()] == list(range(11, 3, -1))
    bench.trip(1)
    bench.settle()
    assert [trip.number for trip in bench.log()] == list(range(12, 4, -1))


def test_numbers_wrap() -> None:
    bench = Bench()
    bench.trip(1)
    bench.settle()
    image = bytearray(bench.image)
    at = layout.TRIPS_AT + 0xFFFF % TRIPS * layout.TRIP_SIZE
    record = bytearray(image[layout.TRIPS_AT + 18 : layout.TRIPS_AT + 36])
    record[:2] = b"\xff\xff"
    record[-1] = next(c for c in range(256) if layout.good(bytes(record[:-1]) + bytes((c,))))
    image[layout.TRIPS_AT :] = b"\xff" * (1024 - layout.TRIPS_AT)
    image[at : at + 18] = record
    again = Bench(bytes(image))
    again.trip(1)
    again.trip(2)
    again.settle()
    assert [trip.number for trip in again.log()] == [1, 0, 0xFFFF]
    assert [trip.number for trip in Bench(again.image).log()] == [1, 0, 0xFFFF]


def test_both_axes_in_one_tick_are_both_kept() -> None:
    bench = Bench()
    bench.trip(1, 2)
    bench.settle()
    assert [(t.number, t.axis) for t in bench.log()] == [(2, 2), (1, 1)]


def test_more_than_two_at_once_leave_a_gap_in_the_numbers() -> None:
    bench = Bench()
    bench.slow = True  # 40 ticks each to write
    bench.trip(1, 2)
    bench.clear()
    bench.trip(1, 2)
    bench.settle()
    assert [t.number for t in bench.log()] == [2, 1]
    bench.clear()
    bench.trip(1)
    bench.settle()
    assert [t.number for t in bench.log()] == [5, 2, 1]


def test_faults_of_the_start_are_trips_of_the_board() -> None:
    bench = Bench()
    bench.again(WATCHDOG)
    bench.settle()
    (trip,) = bench.log()
    assert (trip.axis, trip.fault) == (0, Fault.WATCHDOG)
    assert trip[3:6] == (0, 0, 0)
    assert trip.output_percent == 0
    image = bytearray(bench.image)
    image[1] = 7  # the settings are of no format
    damaged = Bench(bytes(image))
    damaged.settle()
    assert [t.fault for t in damaged.log()] == [Fault.SETTINGS, Fault.WATCHDOG]


def test_two_faults_of_the_start_are_two_trips() -> None:
    bench = Bench()
    bench.board.eeprom[50] ^= 4
    bench.again(WATCHDOG)
    bench.settle()
    assert {t.fault for t in bench.log()} == {Fault.SETTINGS, Fault.WATCHDOG}


def test_while_a_record_is_written_the_log_says_busy() -> None:
    bench = Bench()
    bench.trip(1)
    assert bench.status("trip_get", age=0) == Status.BUSY
    bench.settle()
    assert bench.status("trip_get", age=0) == Status.OK


# ---------------------------------------------------------------- black box


def test_the_box_holds_the_last_0_3_s_before_the_trip_and_stands_still() -> None:
    bench = Bench()
    bench.run(100)
    bench.jog(1, 2)
    way = []
    for step in range(80):
        bench.pot = [4000 + 8 * step, 5000 - 8 * step]
        bench.current = [20 + step // 4, 30]
        bench.run(1)
        way.append((bench.pot[0], bench.board.fields().axis[0].output_permille))
    bench.current = [4000, 30]
    for _ in range(10):
        bench.run(1)
        way.append((bench.pot[0], bench.board.fields().axis[0].output_permille))
    assert bench.board.fields().axis[0].faults
    box = box_of(bench, 1)
    assert len(box) == SAMPLES
    # What the odd ticks left behind, oldest first; the trip's own tick is in the log.
    first = bench.board.fields().tick - len(way) + 1
    odd = [now for tick, now in enumerate(way[:-1], first) if tick % 2]
    assert [sample[:2] for sample in box] == [(raw >> 3, out >> 5) for raw, out in odd[-SAMPLES:]]
    assert box[-1][2] == 0xFF  # 4000 counts are far above 16 A
    other = box_of(bench, 2)
    assert all(a[0] >= b[0] for a, b in pairwise(other))  # the other pot fell
    assert other[0][0] > other[-1][0]
    assert 0 < other[-1][2] < 0xFF
    bench.run(200)
    assert box_of(bench, 1) == box
    reply = bench.ask("black_box", axis=2, first=30)
    assert (reply["trip_axis"], reply["trip_fault"]) == (1, Fault.OVER_CURRENT)
    assert reply["items"] == []


def test_output_and_current_are_packed_as_the_schema_says() -> None:
    bench = Bench()
    bench.jog(1, value=-300)
    for step in range(20):
        bench.pot[0] -= 8 * (step % 2 or 3)
        bench.current = [100, 0]
        bench.run(1)
    bench.current = [4000, 0]
    bench.run(11)
    box = box_of(bench, 1)
    ma = bench.board.fields().axis[0].current_ma
    assert ma > 255 * 64
    assert {sample[1] for sample in box} >= {-300 // 32}
    shown = {sample[2] for sample in box}
    assert 255 in shown
    assert round(100 * ma / 4000) // 64 in shown


def test_the_box_survives_a_reset_and_not_a_power_loss() -> None:
    bench = Bench()
    bench.run(100)
    bench.trip(1)
    box = box_of(bench, 1)
    bench.again(EXTERNAL)
    bench.run(100)
    assert box_of(bench, 1) == box
    bench.power_loss()
    bench.run(100)
    assert bench.status("black_box", axis=1, first=0) == Status.NOTHING_KEPT


def test_a_watchdog_reset_freezes_what_was_before_it() -> None:
    bench = Bench()
    bench.run(60)
    bench.jog(1)
    for _ in range(20):
        bench.pot[0] += 8
        bench.run(1)
    before = bench.pot[0] >> 3
    bench.pot[0] = 7000
    bench.again(WATCHDOG)
    box = box_of(bench, 1)
    assert bench.ask("black_box", axis=1, first=0)["trip_axis"] == 0
    assert before - 2 <= box[-1][0] <= before
    assert box[-1][1] == 300 >> 5


def test_the_box_goes_on_with_the_first_motion_after_a_clear() -> None:
    bench = Bench()
    bench.run(100)
    bench.trip(1)
    box = box_of(bench, 1)
    bench.jog(2)  # the other axis moves while the fault stands
    bench.run(30)
    bench.ask("stop", axis=0, category=0)
    bench.run(300)
    assert box_of(bench, 1) == box
    bench.clear()
    bench.run(30)
    assert box_of(bench, 1) == box  # cleared, and nothing moves yet
    bench.jog(2)
    bench.run(2)
    assert bench.status("black_box", axis=1, first=0) == Status.NOTHING_KEPT
    bench.run(20)
    bench.current[1] = 4000
    bench.run(11)
    assert 10 <= bench.ask("black_box", axis=2, first=0)["count"] < SAMPLES
    assert bench.ask("black_box", axis=2, first=0)["trip_axis"] == 2


def test_before_any_trip_there_is_no_box() -> None:
    bench = Bench()
    bench.run(100)
    assert bench.status("black_box", axis=1, first=0) == Status.NOTHING_KEPT
    for axis in (0, 3):
        assert bench.status("black_box", axis=axis, first=0) == Status.BAD_VALUE
        assert bench.status("totals", axis=axis) == Status.BAD_VALUE


def test_a_draft_takes_the_boxes_place() -> None:
    bench = Bench()
    bench.run(100)
    bench.trip(1)
    bench.ask("draft_begin", scope=1)
    assert bench.status("black_box", axis=1, first=0) == Status.NOTHING_KEPT
    bench.clear()
    bench.trip(1)  # while the draft is open: the trip is told, samples there are none
    assert bench.ask("black_box", axis=1, first=0)["count"] == 0
    assert bench.ask("draft_check", scope=1)["digest"] == bench.ask("digests")["axis_1"]
    bench.ask("draft_discard", scope=1)
    bench.clear()
    bench.trip(2)
    assert 0 < len(box_of(bench, 2)) < SAMPLES


def test_a_record_with_an_impossible_place_does_no_harm() -> None:
    """RAM that a short power loss has kept in part; the sanitizer would see a write beyond."""
    bench = Bench()
    bench.run(100)
    bench.board.spoil_box()
    bench.again(POWER_ON)
    bench.run(100)
    bench.trip(1)
    assert len(box_of(bench, 1)) == SAMPLES


def test_a_frozen_record_with_an_impossible_place_is_told_from_within() -> None:
    """The samples are rubbish then; the sanitizer would see a read beyond them."""
    bench = Bench()
    bench.run(100)
    bench.trip(1)
    bench.board.spoil_box()
    for first in range(SAMPLES):
        assert bench.status("black_box", axis=1, first=first) == Status.OK
