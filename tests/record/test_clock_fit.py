"""Drift of the board's clock: planted, found, and its interval honest."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from rodbench.record.recording import Recording
from rodbench.science.clock_fit import fit

from tests.record.bench import FakeBoard, recorder, sample, telemetry

PAIR_S = 0.7
LEAST_S = 0.003  # of the line


def exponential(count: int, rng: np.random.Generator) -> np.ndarray:
    return rng.exponential(0.004, count)


def polled(count: int, rng: np.random.Generator) -> np.ndarray:
    return rng.uniform(0.0, 0.02, count)


def now_and_then_late(count: int, rng: np.random.Generator) -> np.ndarray:
    return rng.exponential(0.001, count) + (rng.random(count) < 0.05) * rng.uniform(0, 0.5, count)


def busy_for_a_while(count: int, rng: np.random.Generator) -> np.ndarray:
    """All that came in a quarter of the time is 10 ms late or more."""
    late = rng.exponential(0.002, count)
    begin = rng.integers(0, count)
    late[begin : begin + count // 4] += 0.010
    return late


DELAYS: list[Callable[[int, np.random.Generator], np.ndarray]] = [
    exponential, polled, now_and_then_late, busy_for_a_while,
]  # fmt: skip


def pairs(ppm: float, minutes: float, late: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    board_s = np.arange(len(late)) * PAIR_S
    return board_s, np.round(board_s / (1 + ppm * 1e-6) + 5.0 + LEAST_S + late, 6)


@pytest.mark.parametrize("minutes", [2, 10, 600])
@pytest.mark.parametrize("delays", DELAYS)
def test_the_interval_holds_the_truth_as_often_as_it_says(delays, minutes: float) -> None:
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(40):
        ppm = rng.uniform(-5000, 5000)  # as far as a ceramic resonator is off
        found = fit(*pairs(ppm, minutes, delays(int(minutes * 60 / PAIR_S), rng)))
        assert found.ppm is not None
        assert found.ppm_either_way is not None
        held += abs(found.ppm - ppm) <= found.ppm_either_way
    assert held >= 38  # 95 %


@pytest.mark.parametrize(("minutes", "aim_ppm"), [(2, 150.0), (10, 15.0), (600, 0.2)])
def test_the_interval_is_of_use(minutes: float, aim_ppm: float) -> None:
    """As narrow as late arrivals of up to 20 ms leave it."""
    rng = np.random.default_rng(2)
    found = [fit(*pairs(40.0, minutes, polled(int(minutes * 60 / PAIR_S), rng))) for _ in range(10)]
    assert np.median([f.ppm_either_way for f in found]) < aim_ppm


def test_too_little_is_said_to_be_none() -> None:
    for count in (0, 1, 5):
        found = fit(*pairs(40.0, 1.0, np.zeros(count)))
        assert found.ppm is None
        assert found.ppm_either_way is None


def test_a_recording_tells_the_drift_of_its_board(tmp_path: Path) -> None:
    ppm, rng = 300.0, np.random.default_rng(3)
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    begun_s = board.clock.now()
    for number in range(9000):
        board_s = 0.01 * number
        late_s = LEAST_S + rng.exponential(0.002)
        arrived = begun_s + board_s / (1 + ppm * 1e-6) + late_s
        board.clock.s = max(board.clock.s, arrived)
        recording.take(sample(telemetry(number, 2 * number)), board.clock.now())
    clock = Recording.open(recording.close()).board_clock
    assert clock.ppm_either_way is not None
    assert clock.ppm is not None
    assert abs(clock.ppm - ppm) <= clock.ppm_either_way < 150.0
    assert clock.span_s == pytest.approx(90.0, abs=1.5)
