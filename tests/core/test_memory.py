"""One byte a tick, in order, never waited for, and nothing lost to a cut at any of them.

The chip's EEPROM is busy for 3.4 ms after a byte was begun; a tick is 5 ms, and a byte is begun at
the end of one. So the model is: busy in the whole tick after. The simulator of the chip has no such
time, which is why this is proven here.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from rodbench_protocol.names import EventKind, Fault, FaultBits

from tests.core import native
from tests.core.bench import (
    BLANK,
    TOTALS_AT,
    TOTALS_SIZE,
    TRIP_SIZE,
    TRIPS,
    TRIPS_AT,
    Bench,
    Trip,
    log_of,
    torn,
    totals_of,
)
from tests.twin.memory import SLOTS

Write = tuple[int, int]
TRIP_BYTES = range(TRIPS_AT, TRIPS_AT + TRIPS * TRIP_SIZE)
TOTALS_BYTES = range(TOTALS_AT, TOTALS_AT + 2 * TOTALS_SIZE)


def kind_of(address: int) -> str:
    """Whose byte it is."""
    if address in TRIP_BYTES:
        return "trip"
    return "totals" if address in TOTALS_BYTES else "settings"


# ---------------------------------------------------------------- what is written, and when


def all_at_once(bench: Bench) -> None:
    """Two trips, totals and a store, all due at the same time."""
    bench.change(trip_ma=777)
    bench.ask("store")
    bench.trip(1, 2)


def test_trips_before_totals_before_settings() -> None:
    bench = Bench()
    bench.jog(1)
    bench.run(20)
    bench.ask("store")
    bench.writes.clear()
    bench.run(10)
    assert {kind_of(address) for address, _ in bench.writes} == {"settings"}
    bench.current[0] = 4000
    bench.run(11)
    bench.current[0] = 0
    bench.writes.clear()
    for _ in range(600):
        bench.run(1)
    kinds = [kind_of(address) for address, _ in bench.writes]
    changes = [kind for n, kind in enumerate(kinds) if n == 0 or kinds[n - 1] != kind]
    assert changes == ["trip", "totals", "settings"]
    assert log_of(bench.image)
    assert totals_of(bench.image)
    assert bench.events[-1].fields["kind"] == EventKind.STORED
    assert bench.events[-1].fields["cause"] == 0


def test_a_trip_breaks_into_totals_which_begin_anew() -> None:
    bench = Bench()
    bench.jog(1, 2)
    bench.run(30)
    bench.ask("stop", axis=0, category=0)
    while not any(kind_of(address) == "totals" for address, _ in bench.writes):
        bench.run(1)
    bench.run(4)
    bench.again(8)  # the watchdog's own trip comes while the totals are half written
    bench.writes.clear()
    bench.settle(80)
    assert len(log_of(bench.image)) == 1
    assert totals_of(bench.image)[:3] == (1, 0, 1)


def busy_run(bench: Bench) -> None:
    """All that writes at once, on a busy memory: in a busy tick none is begun and none is read."""
    bench.slow = True
    before, ticks = bench.board.fields().tick, 0
    all_at_once(bench)
    while ticks < 1500:
        busy = bench.board.outputs().ee_write
        seen = len(bench.writes)
        bench.run(1)
        ticks += 1
        assert len(bench.writes) - seen <= 1
        assert not busy or len(bench.writes) == seen
        if ticks % 29 == 0:
            bench.status("trip_get", age=ticks % 9)
            bench.status("totals", axis=1)
    assert bench.board.ee_waits == 0
    assert bench.board.fields().tick > before + 1500


def test_no_write_delays_a_tick_or_makes_anything_wait() -> None:
    bench = Bench()
    busy_run(bench)
    assert len(bench.log()) == 2
    assert totals_of(bench.image)
    assert bench.ask("digests")["stored"] == bench.ask("digests")["live"]


@pytest.mark.parametrize("name", ["trips.c", "memory.c"])
def test_a_core_that_asks_a_busy_memory_is_seen(name: str, tmp_path: Path) -> None:
    """The same run on a core that does not look whether the memory is ready, in one place."""
    copy = tmp_path / "src"
    shutil.copytree(native.SOURCES, copy)
    source = copy / "core" / name
    text = source.read_text()
    assert text.count("!core->ee_ready || ") == 1
    source.write_text(text.replace("!core->ee_ready || ", ""))
    files = [*native.c_files(copy), native.HARNESS / "harness.c"]
    target = tmp_path / "core.so"
    native.compile_c(target, files, "-shared", "-fPIC", f"-I{copy}", *native.PLAIN)
    with pytest.raises(AssertionError):
        busy_run(Bench(lib=native.load(target)))


@pytest.mark.parametrize(("meter_mv", "written"), [(0, True), (5000, False)])
def test_below_4_4_v_nothing_is_begun_where_the_supply_is_calibrated(
    meter_mv: int, written: bool
) -> None:
    low = 1100 * 1023 // 4399  # what the bandgap reads at 4.39 V

    def at(bandgap: int, ticks: int) -> None:
        for _ in range(ticks):
            bench.board.set_readings((4000, 4100), (0, 0), bandgap=bandgap)
            bench.tick()

    bench = Bench()
    bench.ask("draft_begin", scope=0)
    bench.ask("draft_set", scope=0, items=[{"key": 5, "value": meter_mv}])
    bench.ask("draft_commit", scope=0)
    bench.jog(1)
    bench.run(20)
    at(low + 1, 1)
    assert 4300 < bench.board.fields().board_5v_mv < 4400
    bench.ask("store")
    bench.writes.clear()
    at(low + 1, 400)  # the jog has ended in silence meanwhile: totals are due too
    assert bool(bench.writes) == written
    at(low, 1)
    assert bench.board.fields().board_5v_mv >= 4400
    at(low, 400)
    assert {kind_of(address) for address, _ in bench.writes} == {"settings", "totals"}
    assert bench.ask("digests")["storing"] == 0


def test_a_place_that_takes_no_byte_costs_its_record_and_no_more() -> None:
    bench = Bench()
    worn = range(TRIPS_AT + TRIP_SIZE, TRIPS_AT + 2 * TRIP_SIZE)  # of trip 1

    def settle() -> None:
        for _ in range(150):
            bench.run(1)
            for address in worn:
                bench.board.eeprom[address] = 0xFF

    bench.trip(1)
    settle()
    assert bench.log() == []
    bench.clear()
    bench.trip(2)
    settle()
    assert [(t.number, t.axis) for t in bench.log()] == [(2, 2)]
    assert bench.store()


def test_a_worn_place_of_the_totals_leaves_the_other() -> None:
    bench = Bench()
    written = []
    for _ in range(3):
        no_trip(bench)
        bench.run(119_000)
        for _ in range(1200):
            bench.run(1)
            bench.board.eeprom[TOTALS_AT + 4] = 0xFF  # of numbers 2, 4 ...
        written.append(totals_of(bench.image)[0])
    assert written == [1, 1, 3]
    assert totals_of(bench.image)[1:4] == bench.totals(1)


# ---------------------------------------------------------------- power cuts


class Told:
    """All that a board knows from its memory after a start."""

    def __init__(self, image: bytes) -> None:
        bench = Bench(image)
        digests = bench.ask("digests")
        self.settings = (digests["live"], digests["stored"], bench.board.fields().faults)
        self.totals = (bench.totals(1), bench.totals(2))
        bench.settle(60)  # a fault of the start is a trip
        self.log = bench.log()
        self.lies = log_of(bench.image)


def filled(trips: int) -> Bench:
    """A board with so many trips in its log, totals written, and settings stored twice."""
    bench = Bench()
    for n in range(trips):
        bench.trip(1 + n % 2)
        bench.settle()
        bench.clear()
    bench.change(trip_ma=900)
    bench.store()
    return bench


def no_trip(bench: Bench) -> None:
    """A motion that ends well: totals."""
    bench.jog(1)
    bench.run(30)
    bench.ask("stop", axis=0, category=0)


def one_trip(bench: Bench) -> None:
    """A trip, and where ten minutes have passed totals."""
    bench.trip(2)


def of_the_start(bench: Bench) -> None:
    """The watchdog."""
    bench.again(8)


KINDS: list[tuple[str, int, Callable[[Bench], None]]] = [
    ("totals on blank", 0, no_trip),
    ("first trip and totals", 0, one_trip),
    ("a trip over the oldest", 9, one_trip),
    ("a trip of the start", 3, of_the_start),
    ("two trips, totals and a store", 8, all_at_once),
]


def cuts(image: bytearray, writes: list[Write], rng: random.Random) -> Iterator[bytes]:
    """The memory after a cut at each byte, found in each way; `image` is carried along."""
    for address, value in writes:
        for found in torn(image[address], value, rng.randrange(256)):
            cut = bytearray(image)
            cut[address] = found
            yield bytes(cut)
        image[address] = value


def may_be(log: list[Trip], old: list[Trip], new: list[Trip]) -> bool:
    """All of the old log but what the new overwrites, and of the new what is whole."""
    kept = [trip for trip in old if trip in new]
    return all(trip in log for trip in kept) and all(trip in old + new for trip in log)


@pytest.mark.parametrize(("name", "trips", "act"), KINDS, ids=[kind[0] for kind in KINDS])
def test_a_cut_at_every_byte(name: str, trips: int, act: Callable[[Bench], None]) -> None:
    bench = Bench(filled(trips).image) if trips else Bench()  # power came on: totals are due too
    image = bytearray(bench.image)
    old = Told(bytes(image))
    bench.writes.clear()
    act(bench)
    bench.run(600)
    writes = list(bench.writes)
    new = Told(bench.image)
    assert writes
    seen_old = seen_new = 0
    for cut in cuts(image, writes, random.Random(name)):
        told = Told(cut)
        assert told.settings in (old.settings, new.settings)
        assert told.log == told.lies
        assert told.totals in (old.totals, new.totals)
        assert may_be(told.log, old.log, new.log)
        seen_old += told.log == old.log or told.totals == old.totals
        seen_new += told.log == new.log and told.totals == new.totals
    assert bytes(image) == bench.image
    assert seen_old
    assert seen_new


def test_totals_of_the_second_record_survive_a_cut_in_the_third() -> None:
    bench = Bench()
    for _ in range(2):
        no_trip(bench)
        bench.run(100)
        bench.power_loss()
    image = bytearray(bench.image)
    bench.writes.clear()
    no_trip(bench)
    bench.run(100)
    told = set()
    for cut in cuts(image, list(bench.writes), random.Random(4)):
        told.add(Bench(cut).totals(1)[1])
    assert told == {2, 3}


def test_after_a_cut_the_log_goes_on() -> None:
    """A torn record's place is written again; the numbers go on from the newest whole one."""
    bench = filled(8)
    bench.writes.clear()
    bench.trip(1)
    bench.run(1)
    half = bench.image
    assert len(log_of(half)) == TRIPS - 1
    again = Bench(half)
    again.trip(2)
    again.settle()
    assert [t.number for t in again.log()] == list(range(9, 1, -1))
    assert again.log()[0].axis == 2


def test_blank_memory_has_no_log_and_no_faults() -> None:
    told = Told(BLANK)
    assert told.log == []
    assert told.totals == ((0, 0, 0), (0, 0, 0))
    assert told.settings[2] == 0
    assert [trip.fault for trip in Told(bytes(1024)).log] == [Fault.SETTINGS]


def test_rubbish_all_over_is_survived() -> None:
    for seed in range(300):
        told = Told(random.Random(seed).randbytes(1024))
        assert told.settings[2] in (0, FaultBits.SETTINGS)
        assert not told.settings[2] or told.log[0].fault == Fault.SETTINGS
        assert set(told.log) <= set(told.lies)


def test_the_map_has_room_for_what_is_stored() -> None:
    assert SLOTS[1] + 328 <= TOTALS_AT
    assert TOTALS_AT + 2 * TOTALS_SIZE <= TRIPS_AT
    assert TRIPS_AT + TRIPS * TRIP_SIZE <= 1024
