"""Faults of the machine, seen through the whole board: each ends the motion by its guard.

Which guard: the schema's sentences on each fault. A fault must be latched before the rod could go
far, and nothing may trip while nothing is wrong.
"""

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import Refused
from rodbench.link.transport import EmulatorTransport
from rodbench_protocol.names import AxisState, Ended, Fault

from tests.ordinary import NORTH


class Bench:
    """The ridge vent's first rod, calibrated by the plant's truth."""

    def __init__(self, start_mm: float = 100.0) -> None:
        machine = default_machine()
        machine.rods[1].start_mm = start_mm
        self.emulated, self.clock = EmulatedBoard(machine), VirtualClock()
        self.clock.attach(self.emulated.step)
        self.board = Board.direct(EmulatorTransport(self.emulated, self.clock), self.clock)
        self.plant = self.emulated.rig.plants[1]
        self.board.write_scope(
            1,
            NORTH
            | {
                "motor_reversed": 1,
                "raw_retracted": round(self.plant.pot_raw_at(0.0)),
                "raw_extended": round(self.plant.pot_raw_at(203.0)),
            },
        )

    def jog(self, fault: str | None, value: float | None, speed: float = 5.0) -> float:
        """Jog for 2 s, bring the fault about, jog on; returns how far the rod went after it."""
        begun = self.clock.now()
        place = None
        with self.board.axis(1).jog(speed) as motion:
            for sample in motion.samples():
                passed = self.clock.now() - begun
                if place is None and passed > 2.0:
                    place = self.plant.position_mm
                    if fault:
                        self.emulated.rig.set_fault(fault, 1, value)
                if passed > 5.0 or sample.state == AxisState.FAULT:
                    break
        self.board.sleep(0.3)
        assert place is not None
        return abs(self.plant.position_mm - place)


def test_nothing_trips_while_nothing_is_wrong() -> None:
    bench = Bench()
    assert 13.0 < bench.jog(None, None) < 17.0  # 3 s at 5 mm/s
    assert bench.board.outcome(1).ended == Ended.STOPPED


@pytest.mark.parametrize(
    ("fault", "value", "guards"),
    [
        # it jumps before it stands at an end of the scale
        ("pot_open", None, {Fault.POT_JUMP}),
        ("pot_short", 1.0, {Fault.POT_JUMP}),
        ("pot_frozen", None, {Fault.POT_NOT_FOLLOWING}),
        ("motor_open", None, {Fault.NO_CURRENT}),
        ("jam", 112.0, {Fault.OVER_CURRENT, Fault.STALL}),
        ("motor_swapped", None, {Fault.WRONG_WAY, Fault.OVER_CURRENT}),
    ],
)
@pytest.mark.parametrize("speed", [5.0, -5.0])
def test_each_fault_ends_the_motion_by_its_guard(
    fault: str, value: float | None, guards: set[Fault], speed: float
) -> None:
    bench = Bench()
    if fault == "jam" and speed < 0:
        value = 88.0
    far = bench.jog(fault, value, speed)
    outcome = bench.board.outcome(1)
    assert outcome.ended == Ended.FAULT
    assert Fault(outcome.cause) in guards
    if fault in ("pot_open", "pot_short"):
        named = Fault.POT_OPEN if fault == "pot_open" else Fault.POT_SHORT
        sample = bench.board.axis(1).sample()
        assert sample.faults == 1 << (Fault.POT_JUMP - 1) | 1 << (named - 1)
    assert bench.plant.speed_mm_s == 0.0
    assert far < 9.0  # what 5 mm/s covers in the stall time and the slowest guard, and the run-on


def latched(bench: Bench) -> set[Fault]:
    """Faults of axis 1 that stand."""
    faults = bench.board.axis(1).sample().faults
    return {fault for fault in Fault if faults >> (fault - 1) & 1}


def test_a_stuck_driver_is_beyond_the_boards_power_but_is_told() -> None:
    """A shorted bridge drives on whatever the board says: that is what the fuse is for."""
    bench = Bench()
    bench.board.sleep(1.5)
    bench.emulated.rig.set_fault("driver_stuck", 1, -1000.0)  # extends: the motor is reversed
    bench.board.sleep(0.4)
    assert latched(bench) == {Fault.MOVING_OFF}
    bench.board.sleep(2.0)
    assert bench.plant.position_mm > 110.0


@pytest.mark.parametrize("speed", [0.3, -5.0])
def test_a_rod_that_its_load_pushes_is_told_after_1_mm(speed: float) -> None:
    bench = Bench()
    bench.board.sleep(1.5)
    bench.emulated.rig.set_fault("backdrive", 1, speed)
    bench.board.sleep(0.9 / abs(speed))
    assert latched(bench) == set()
    bench.board.sleep(0.2 / abs(speed) + 0.1)
    assert latched(bench) == {Fault.MOVING_OFF}


def test_a_rod_that_its_load_does_not_move_rests_for_long() -> None:
    bench = Bench()
    bench.board.sleep(120.0)
    assert latched(bench) == set()


@pytest.mark.parametrize("share", [0.05, -0.05])
def test_a_pot_that_slips_is_told_at_rest_and_in_motion(share: float) -> None:
    bench = Bench()
    bench.board.sleep(0.1)
    bench.emulated.rig.set_fault("pot_jump", 1, share)
    bench.board.sleep(2.0)
    assert latched(bench) == {Fault.POT_JUMP}
    bench = Bench()
    assert bench.jog("pot_jump", share) < 1.0
    assert bench.board.outcome(1).cause == Fault.POT_JUMP


BOARD = {
    "supply_nominal_mv": 12_000,
    "supply_ratio_x1000": 5_710,
    "supply_calibrated": 1,
    "supply_low_mv": 9_500,
    "supply_high_mv": 16_000,
    "stop_input": 1,
}


@pytest.mark.parametrize(
    ("kind", "value", "fault"),
    [
        ("supply_sag", 8.0, Fault.SUPPLY_LOW),
        ("supply_high", 18.0, Fault.SUPPLY_HIGH),
        ("stop_open", None, Fault.STOP_INPUT),
    ],
)
def test_faults_of_the_board_end_a_motion_and_bar_the_next(
    kind: str, value: float | None, fault: Fault
) -> None:
    bench = Bench()
    bench.board.write_scope(0, BOARD)
    begun, place = bench.clock.now(), None
    with bench.board.axis(1).jog(5.0) as motion:
        for sample in motion.samples():
            passed = bench.clock.now() - begun
            if place is None and passed > 1.5:
                place = bench.plant.position_mm
                bench.emulated.rig.set_fault(kind, 0, value)
            if passed > 4.0 or (place is not None and sample.state == AxisState.IDLE):
                break
    bench.board.sleep(0.5)
    assert place is not None
    outcome = bench.board.outcome(1)
    assert (outcome.ended, outcome.cause) == (Ended.FAULT, fault)
    assert abs(bench.plant.position_mm - place) < 2.5  # 200 ms and a ramp at 5 mm/s
    with pytest.raises(Refused), bench.board.axis(1).jog(5.0):
        pass
    assert bench.board.clear(0)
    bench.board.sleep(0.01)
    with pytest.raises(Refused), bench.board.axis(1).jog(5.0):  # its cause still stands
        pass
    bench.emulated.rig.clear_fault(kind)
    bench.board.sleep(0.5)
    assert bench.board.clear(0)
    bench.board.sleep(0.5)
    with bench.board.axis(1).jog(5.0):
        pass
