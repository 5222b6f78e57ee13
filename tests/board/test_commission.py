"""The whole `commission`, unchanged, on the emulator and on the binary: the same settings come out.

Tolerances: what is read off the line differs by noise alone (the two draw the same seed but not the
same ticks); the PWM of the binary has steps of 2.5 permille, which the twin's plant does not.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from typing import Any, cast

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import Machine, default_machine
from rodbench.link.transport import EmulatorTransport

from tests.board.simboard import SimBoard
from tests.procedures.harness import Bench

STROKE_MM = 60.0
SAME = (
    "feedback", "calibrated", "motor_reversed", "stroke_um", "driver", "current_sensor",
    "current_uv_per_ma", "stop_by", "duty_share_permille", "duty_window_s", "board_id",
)  # fmt: skip
WITHIN: dict[str, float] = {  # in the setting's own unit
    "raw_retracted": 20,
    "raw_extended": 20,
    "soft_stop_min_um": 600,
    "soft_stop_max_um": 600,
    "run_on_extend_um": 300,
    "run_on_retract_um": 300,
    "current_zero": 4,
    "noise_x16": 24,
}
SHARE: dict[str, float] = {
    "full_speed_extend_um_s": 0.05,
    "full_speed_retract_um_s": 0.05,
    "creep_speed_um_s": 0.1,
    "speed_max_um_s": 0.05,
    "running_ma": 0.1,
    "trip_ma": 0.15,
    "dead_zone_extend_permille": 0.15,
    "dead_zone_retract_permille": 0.15,
}


def machine() -> Machine:
    made = default_machine()
    del made.rods[2]
    made.board.boot_ms = 50.0
    rod = made.rods[1]
    rod.stroke_mm, rod.start_mm = STROKE_MM, 25.0
    return made


def bench(kind: Callable[[Machine], Any]) -> Bench:
    made = machine()
    emulated, clock = kind(made), VirtualClock()
    clock.attach(emulated.step)
    emulated.step(20)
    board = Board.direct(EmulatorTransport(emulated, clock), clock)
    return Bench(made, cast(EmulatedBoard, emulated), clock, board)


@functools.cache
def settings(kind: Callable[[Machine], Any]) -> Mapping[str, int]:
    return bench(kind).commission().settings


@pytest.mark.slow
def test_the_same_settings_from_the_binary_and_from_the_emulator() -> None:
    binary, emulator = settings(SimBoard), settings(EmulatedBoard)
    for key in SAME:
        assert binary.get(key) == emulator.get(key), key
    for key, most in WITHIN.items():
        assert abs(binary[key] - emulator[key]) <= most, (key, binary[key], emulator[key])
    for key, share in SHARE.items():
        assert binary[key] == pytest.approx(emulator[key], rel=share), key


@pytest.mark.slow
def test_the_binary_learned_the_true_ends_and_direction() -> None:
    learned, made = settings(SimBoard), machine()
    rod = made.rods[1]
    assert bool(learned["motor_reversed"]) == rod.motor.reversed
    for key, share in (("raw_retracted", rod.pot.retracted), ("raw_extended", rod.pot.extended)):
        span = abs(rod.pot.extended - rod.pot.retracted) * 8184
        assert abs(learned[key] - share * 8192) < 0.005 * span + 8, key
