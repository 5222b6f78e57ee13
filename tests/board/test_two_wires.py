"""A rod without a pot, on the emulator and on the binary: the same times, ends and places."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, cast

import pytest
from rodbench.bench import commission
from rodbench.bench.two_wires import TwoWires
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import Machine, default_machine
from rodbench.link.transport import EmulatorTransport
from rodbench_protocol.names import Ended

from tests.board.simboard import SimBoard
from tests.procedures.harness import Bench, MemoryKeeper

STROKE_MM = 30.0


@dataclass
class Found:
    """What came of it: the result, and a run to each end afterwards with its place."""

    done: TwoWires
    ended: list[int]
    places: list[str | None]
    rests_mm: list[float]


def machine() -> Machine:
    made = default_machine()
    del made.rods[2]
    made.board.boot_ms = 50.0
    rod = made.rods[1]
    rod.pot.fitted = False
    rod.stroke_mm, rod.start_mm = STROKE_MM, 12.0
    return made


@functools.cache
def found(kind: Callable[[Machine], Any]) -> Found:
    made = machine()
    emulated, clock = kind(made), VirtualClock()
    clock.attach(emulated.step)
    emulated.step(20)
    board = Board.direct(EmulatorTransport(emulated, clock), clock)
    bench = Bench(made, cast(EmulatedBoard, emulated), clock, board)
    done = commission.run(bench.job(wires="motor only"), MemoryKeeper(board))
    assert isinstance(done, TwoWires)
    ended, places, rests = [], [], []
    for way in (1, -1):
        with board.axis(1).run_to_end(way) as motion:
            outcome = motion.wait(30.0)
        assert outcome is not None
        ended.append(outcome.ended)
        places.append(board.axis(1).sample().place)
        rests.append(bench.plant.position_mm)
    return Found(done, ended, places, rests)


@pytest.mark.slow
@pytest.mark.parametrize("kind", [EmulatedBoard, SimBoard])
def test_it_runs_to_its_ends_and_says_where_it_is(kind: Callable[[Machine], Any]) -> None:
    seen, rod = found(kind), machine().rods[1]
    assert seen.done.direction.motor_reversed == rod.motor.reversed
    assert seen.ended == [Ended.END_FOUND, Ended.END_FOUND]
    assert seen.places == ["extended", "retracted"]
    assert seen.rests_mm[0] == pytest.approx(STROKE_MM, abs=1.5)  # it coasts on behind its switch
    assert seen.rests_mm[1] == pytest.approx(0.0, abs=1.5)


@pytest.mark.slow
def test_the_same_times_from_the_binary_and_from_the_emulator() -> None:
    one, other = found(EmulatedBoard).done.strokes, found(SimBoard).done.strokes
    assert one is not None
    assert other is not None
    assert other.kinds == one.kinds
    assert other.time_s == pytest.approx(one.time_s, rel=0.03)
    assert other.running_a == pytest.approx(one.running_a, rel=0.1)
