"""Totals: on-time, starts and travel of an axis, and when they are written."""

from __future__ import annotations

import random

import pytest
from rodbench_protocol.names import AxisState

from tests.core.axis_probe import ROD, UM_PER_RAW, raw_at
from tests.core.bench import TOTALS_AT, TOTALS_SIZE, Bench, totals_of
from tests.core.host import EXTERNAL

PAUSE_TICKS = 120_000  # ten minutes
TOTALS = range(TOTALS_AT, TOTALS_AT + 2 * TOTALS_SIZE)


class Rods(Bench):
    """Two calibrated rods of 200 mm that go 10 mm/s at full output; what they really did."""

    POTS = (raw_at(50_000), raw_at(60_000))

    def __init__(self) -> None:
        super().__init__(**ROD)
        self.um = [50_000.0, 60_000.0]
        self.noise = 0
        self.rng = random.Random(3)
        self.on_ticks, self.way_um = [0, 0], [0.0, 0.0]

    def go(self, ticks: int) -> None:
        """Ticks in which the rods follow their outputs."""
        for _ in range(ticks):
            for index, axis in enumerate(self.board.fields().axis):
                step = 50 * max(0, abs(axis.drive) - 200) / 800 * (1 if axis.drive > 0 else -1)
                self.um[index] += step
                self.way_um[index] += abs(step)
                jitter = self.rng.gauss(0, self.noise)
                self.pot[index] = round(raw_at(self.um[index]) + jitter)
                self.current[index] = 300 if axis.drive else 0
            self.run(1)
            for index, axis in enumerate(self.board.fields().axis):
                self.on_ticks[index] += axis.drive != 0

    def totals_writes(self) -> int:
        """Bytes of totals begun so far."""
        return sum(address in TOTALS for address, _ in self.writes)

    def move(self, axis: int, mm: float) -> None:
        """To a place, and at rest there. Nothing is written on the way."""
        self.ask("move", axis=axis, target_um=round(mm * 1000), speed_um_s=0)
        written = self.totals_writes()
        for _ in range(8000):
            self.go(1)
            if self.board.fields().axis[axis - 1].state == AxisState.IDLE:
                return
            assert self.totals_writes() == written
        raise AssertionError("still moving")


@pytest.fixture
def rods() -> Rods:
    rods = Rods()
    rods.go(20)
    return rods


def test_they_are_what_the_rods_did(rods: Rods) -> None:
    rods.move(1, 120)
    rods.move(1, 80)
    rods.move(2, 70.5)
    for axis, starts in ((1, 2), (2, 1)):
        on_s, begun, travel = rods.totals(axis)
        assert begun == starts
        assert on_s == rods.on_ticks[axis - 1] // 200
        assert abs(travel - rods.way_um[axis - 1] / 1000) < 2 * starts
    assert rods.totals(1)[2] >= 107


def test_noise_within_its_setting_is_no_way() -> None:
    rods = Rods()
    rods.noise = 8  # raw, 0.2 mm: sixteen times what the settings say
    rods.change(noise_x16=8 * 16)
    rods.go(3000)
    assert rods.totals(1) == (0, 0, 0)
    rods.move(1, 90)
    on_s, _, travel = rods.totals(1)
    assert on_s >= 4
    assert 36 <= travel <= 40


def test_a_rod_pushed_while_it_rests_has_gone_no_way(rods: Rods) -> None:
    for um in range(50_000, 90_000, 100):
        rods.um[0] = um
        rods.go(1)
    rods.go(100)
    rods.clear()
    assert rods.totals(1)[2] == 0
    before = rods.way_um[0]
    rods.move(1, 95)
    assert rods.totals(1)[2] <= (rods.way_um[0] - before) / 1000 + UM_PER_RAW / 1000


def test_an_uncalibrated_axis_has_no_way_in_mm() -> None:
    bench = Bench()
    bench.jog(1)
    for _ in range(100):
        bench.pot[0] += 20
        bench.run(1)
    bench.ask("stop", axis=0, category=0)
    assert bench.totals(1)[1:] == (1, 0)


def test_a_reset_loses_nothing_and_a_power_loss_what_was_not_written(rods: Rods) -> None:
    rods.move(1, 60)
    rods.settle()
    first = rods.totals(1)
    rods.move(1, 70)
    second = rods.totals(1)
    assert second[1] == first[1] + 1
    rods.again(EXTERNAL)
    assert rods.totals(1) == second
    assert rods.totals(1) != first
    rods.power_loss()
    assert rods.totals(1) == first


def test_written_at_the_first_rest_and_then_not_for_ten_minutes(rods: Rods) -> None:
    rods.move(1, 52)
    assert {address for address, _ in rods.settle()} <= set(TOTALS)
    assert totals_of(rods.image)[0] == 1
    assert totals_of(rods.image)[1:4] == rods.totals(1)
    rods.writes.clear()
    for mm in (54, 52, 54):
        rods.move(1, mm)
        rods.go(200)
    assert not rods.totals_writes()
    rods.again(EXTERNAL)  # a computer that opens the port restarts the board each time
    rods.move(1, 52)
    rods.go(200)
    assert not rods.totals_writes()
    rods.settle(PAUSE_TICKS)
    assert totals_of(rods.image)[0] == 2
    assert totals_of(rods.image)[1:4] == rods.totals(1)
    rods.settle(PAUSE_TICKS + 1000)
    assert not rods.totals_writes()  # nothing new: nothing is written


def test_a_motion_that_begins_in_the_midst_of_writing_writes_it_anew(rods: Rods) -> None:
    rods.move(1, 52)
    rods.writes.clear()
    rods.run(9)  # under way, with its check byte spoilt
    assert rods.writes
    assert totals_of(rods.image) == ()
    rods.move(2, 62)
    rods.settle()
    assert totals_of(rods.image) == (1, *rods.totals(1), *rods.totals(2))


def test_the_two_places_take_turns_and_the_newer_counts(rods: Rods) -> None:
    for mm in (52, 54):
        rods.move(1, mm)
        rods.settle(PAUSE_TICKS + 10)
    rods.power_loss()
    told = rods.totals(1)
    assert told[1] == 2
    image = bytearray(rods.image)
    image[TOTALS_AT + 5] ^= 1  # the newer of two, number 2, lies at the first place
    assert totals_of(image)[0] == 1
    assert Bench(bytes(image)).totals(1)[1] == 1
