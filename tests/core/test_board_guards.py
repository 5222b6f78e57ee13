"""Guards of the board itself, to the tick: supply, stop input, late ticks; what each does to both
axes, whoever commands them. Expected ticks are counted from the schema's sentences."""

from __future__ import annotations

import ctypes as ct

import pytest
from rodbench_protocol import framing, messages, settings
from rodbench_protocol.names import (
    AxisState,
    Bridge,
    Ended,
    EventKind,
    Fault,
    Inputs,
    Status,
    StopBy,
)

from tests.core.axis_probe import ROD
from tests.core.host import SESSION, Host
from tests.core.native import CAxisState
from tests.twin import memory

BOARD = settings.defaults("board") | {
    "supply_nominal_mv": 12_000,
    "supply_ratio_x1000": 5_000,
    "supply_calibrated": 1,
    "supply_low_mv": 10_000,
    "supply_high_mv": 15_000,
    "stop_input": 1,
}
CLOSED = int(Inputs.STOP)
# Codes of the supply input with a reference of 5 V and a ratio of 5: 12 V, and the last good ones.
GOOD, LOW, HIGH = 491, 410, 613


def volts(code: int) -> int:
    """The supply that the board makes of a code, mV."""
    return round(round(code * 5000 / 1023) * 5000 / 1000)


class Bench:
    """Two rods in the middle of their way, at rest until told; a host that lives."""

    def __init__(self, board: dict[str, int] | None = None, **rod: int) -> None:
        axis = ROD | rod
        self.values = BOARD | (board or {})
        self.host = Host(memory.image(0, self.values, axis, axis))
        self.supply, self.inputs = GOOD, CLOSED
        self.pots = [4000.0, 4000.0]
        self.run(5)

    def run(self, ticks: int) -> None:
        """So many ticks: each rod goes as it is driven."""
        for _ in range(ticks):
            out = self.host.board.outputs()
            for n in (0, 1):
                self.pots[n] += out.drive[n] / 1000 * 2
            places = round(self.pots[0]), round(self.pots[1])
            drawn = [500 if out.drive[n] else 0 for n in (0, 1)]
            self.host.board.set_readings(
                places, (drawn[0], drawn[1]), self.supply, 225, 1, self.inputs
            )
            now = self.host.board.fields().tick
            alive = framing.encode(messages.pack("alive", SESSION, 0, tick=now))
            self.host.tick(alive if now % 8 == 0 else b"")

    def jog_both(self) -> None:
        """Both under way; direction proven, at full speed."""
        for axis, value in ((1, 4000), (2, -4000)):
            assert self.host.status("jog", axis=axis, unit=1, value=value) == Status.OK
        self.run(300)
        assert [axis.state for axis in self.axes] == [AxisState.JOG] * 2

    @property
    def axes(self) -> list[CAxisState]:
        """Both, after the last tick."""
        return list(self.host.board.fields().axis)

    @property
    def faults(self) -> int:
        """Of the board."""
        return int(self.host.board.fields().faults)

    def trips(self) -> list[int]:
        """Board faults told as events."""
        return [
            int(event.fields["cause"])
            for event in self.host.events
            if event.name == "event"
            and event.fields["kind"] == EventKind.TRIP
            and event.fields["axis"] == 0
        ]


def bit(fault: Fault) -> int:
    return 1 << (fault - 1)


def bring_about(bench: Bench, fault: Fault) -> None:
    """The cause, from the next tick on."""
    if fault == Fault.STOP_INPUT:
        bench.inputs = 0
    elif fault == Fault.LATE_TICK:
        for _ in range(3):
            late(bench)
    else:
        bench.supply = LOW - 1 if fault == Fault.SUPPLY_LOW else HIGH + 1


def late(bench: Bench) -> None:
    board = bench.host.board
    board.lib.core_late_tick(ct.c_void_p(board.core_address))


PATIENCE = {
    Fault.SUPPLY_LOW: 40,  # 200 ms
    Fault.SUPPLY_HIGH: 4,  # 20 ms
    Fault.STOP_INPUT: 4,
    Fault.LATE_TICK: 1,
}


@pytest.mark.parametrize("fault", PATIENCE)
def test_it_trips_in_the_tick_that_fills_its_time_and_stops_both(fault: Fault) -> None:
    bench = Bench(stop_by=int(StopBy.COAST))  # too high a supply brakes all the same
    bench.jog_both()
    bring_about(bench, fault)
    bench.run(PATIENCE[fault] - 1)
    assert bench.faults == 0
    assert [axis.state for axis in bench.axes] == [AxisState.JOG] * 2
    bench.run(1)
    assert bench.faults == bit(fault)
    assert bench.host.board.outputs().alarm
    assert bench.trips() == [fault]
    at_once = fault == Fault.SUPPLY_HIGH
    for axis in bench.axes:
        assert axis.state == AxisState.STOPPING
        assert axis.cause == fault
        assert (axis.drive == 0) == at_once
        assert axis.bridge == (Bridge.BRAKE if at_once else Bridge.DRIVE)
    bench.run(1)
    outputs = [abs(axis.output_permille) for axis in bench.axes]
    bench.run(6)
    for axis, before in zip(bench.axes, outputs, strict=True):
        assert abs(axis.output_permille) < before or at_once, "a ramp down"
    bench.run(250)
    for axis in bench.axes:
        assert (axis.state, axis.ended, axis.cause) == (AxisState.IDLE, Ended.FAULT, fault)
        assert axis.output_permille == 0
        assert axis.faults == 0, "it is the board's"
        assert axis.bridge == (Bridge.BRAKE if at_once else Bridge.OFF)
    assert bench.trips() == [fault], "told once"


@pytest.mark.parametrize("before", [2, 0, -2])
@pytest.mark.parametrize("other", [Fault.STOP_INPUT, Fault.LATE_TICK])
def test_too_high_a_supply_stops_at_once_whatever_comes_beside_it(
    other: Fault, before: int
) -> None:
    """The other asks for a ramp only, and trips so many ticks before."""
    trips_at = {Fault.SUPPLY_HIGH: 10, other: 10 - before}
    bench = Bench(stop_by=int(StopBy.COAST))
    bench.jog_both()
    for tick in range(1, 14):
        for fault, at in trips_at.items():
            if tick == at - PATIENCE[fault] + 1:
                bring_about(bench, fault)
        bench.run(1)
        assert bench.faults == sum(bit(fault) for fault, at in trips_at.items() if tick >= at)
        if tick >= trips_at[Fault.SUPPLY_HIGH]:
            for axis in bench.axes:
                assert (axis.drive, axis.bridge) == (0, Bridge.BRAKE)
                assert axis.cause == Fault.SUPPLY_HIGH


@pytest.mark.parametrize("fault", [Fault.SUPPLY_LOW, Fault.SUPPLY_HIGH, Fault.STOP_INPUT])
def test_a_cause_that_goes_in_time_trips_nothing(fault: Fault) -> None:
    bench = Bench()
    for _ in range(5):
        bring_about(bench, fault)
        bench.run(PATIENCE[fault] - 1)
        bench.supply, bench.inputs = GOOD, CLOSED
        bench.run(1)
    assert bench.faults == 0


@pytest.mark.parametrize("fault", [Fault.SUPPLY_LOW, Fault.SUPPLY_HIGH, Fault.STOP_INPUT])
def test_it_is_latched_bars_both_and_comes_back_at_once(fault: Fault) -> None:
    bench = Bench()
    bring_about(bench, fault)
    bench.run(PATIENCE[fault])
    for axis in (1, 2):
        assert bench.host.status("jog", axis=axis, unit=1, value=1000) == Status.FAULTED
        assert bench.host.replies[0].fields["detail"] == fault
    bench.host.ask("clear", axis=1)
    assert bench.faults == bit(fault), "an axis's clear is not the board's"
    assert bench.host.ask("clear", axis=0)["cleared"] == bit(fault)
    assert bench.faults == bit(fault), "its cause stands: back in the same tick"
    bench.supply, bench.inputs = GOOD, CLOSED
    bench.run(400)
    assert bench.faults == bit(fault), "latched"
    assert bench.host.ask("clear", axis=0)["cleared"] == bit(fault)
    bench.run(50)
    assert bench.faults == 0
    assert bench.host.status("jog", axis=1, unit=1, value=1000) == Status.OK


def test_the_limits_themselves_are_good() -> None:
    bench = Bench()
    for code in (LOW, HIGH):
        bench.supply = code
        bench.run(100)
        assert bench.faults == 0
    assert volts(LOW) >= 10_000 > volts(LOW - 1)
    assert volts(HIGH) <= 15_000 < volts(HIGH + 1)
    bench = Bench({"supply_low_mv": volts(LOW), "supply_high_mv": volts(HIGH)})
    for code in (LOW, HIGH):
        bench.supply = code
        bench.run(100)
        assert bench.faults == 0


@pytest.mark.parametrize(
    "board",
    [
        {"supply_calibrated": 0, "stop_input": 0},
        {"supply_low_mv": 0, "supply_high_mv": 0, "stop_input": 0},
    ],
)
def test_what_is_not_set_or_not_calibrated_guards_nothing(board: dict[str, int]) -> None:
    bench = Bench(board)
    bench.inputs = 0
    for code in (0, 1023):
        bench.supply = code
        bench.run(100)
        assert bench.faults == 0


def test_the_stop_input_alone_counts() -> None:
    bench = Bench()
    bench.inputs = CLOSED
    bench.run(50)
    assert bench.faults == 0
    bench.inputs = 0x1E  # all buttons pressed, the stop circuit open
    bench.run(4)
    assert bench.faults == bit(Fault.STOP_INPUT)


def test_a_command_of_the_very_tick_is_stopped_too() -> None:
    bench = Bench()
    bench.inputs = 0
    bench.run(3)
    assert bench.host.status("jog", axis=1, unit=1, value=1000) == Status.OK
    assert bench.faults == bit(Fault.STOP_INPUT)
    bench.run(100)
    assert all(axis.drive == 0 for axis in bench.axes)
    assert bench.axes[0].ended == Ended.FAULT


def test_an_axis_that_never_drove_is_left_off_by_too_high_a_supply() -> None:
    bench = Bench()
    bench.supply = HIGH + 1
    bench.run(10)
    assert [axis.bridge for axis in bench.axes] == [Bridge.OFF] * 2


def test_after_too_high_a_supply_the_next_drive_ends_by_the_setting_again() -> None:
    bench = Bench(stop_by=int(StopBy.COAST))
    bench.jog_both()
    bench.supply = HIGH + 1
    bench.run(200)
    assert bench.axes[0].bridge == Bridge.BRAKE
    bench.supply = GOOD
    bench.run(5)
    bench.host.ask("clear", axis=0)
    bench.run(100)
    assert bench.axes[0].bridge == Bridge.BRAKE, "until the next drive"
    bench.jog_both()
    bench.host.ask("stop", axis=0, category=1)
    bench.run(250)
    assert bench.axes[0].bridge == Bridge.OFF


@pytest.mark.parametrize(
    ("apart", "trips"),
    [
        ((0, 0), False),
        ((0, 0, 0), True),
        ((0, 100, 99), True),
        ((0, 100, 100), True),
        ((0, 110, 110), False),
        ((0, 210, 210, 210, 210, 210, 210), False),
    ],
)
def test_three_late_ticks_within_a_second(apart: tuple[int, ...], trips: bool) -> None:
    """Ticks from each late one to the next; a second is 200."""
    bench = Bench()
    bench.run(8 - bench.host.board.fields().tick % 8)
    for ticks in apart:
        bench.run(ticks)
        assert bench.faults == 0
        late(bench)
    bench.run(1)
    assert bench.faults == (bit(Fault.LATE_TICK) if trips else 0)
    if trips:
        bench.run(220)
        assert bench.host.ask("clear", axis=0)["cleared"] == bit(Fault.LATE_TICK)
        bench.run(20)
        assert bench.faults == 0


def test_telemetry_tells_the_inputs() -> None:
    bench = Bench({"stop_input": 0})
    bench.host.ask("subscribe", axis_period_ms=0, board_period_ms=50)
    for inputs in (0, 1, 0x1F, 0x12):
        bench.inputs = inputs
        bench.host.events.clear()
        bench.run(25)
        told = [e.fields["inputs"] for e in bench.host.events if e.name == "telemetry_board"]
        assert told[-1] == inputs
