"""The promise of the soft stops, on a few random rods; `motion_promise.py 2000` is the long run."""

from __future__ import annotations

import ctypes

import numpy as np
import pytest
from rodbench_protocol.names import AxisState

from tests.core import motion_promise as promise

RODS = 40


@pytest.fixture(scope="module")
def library() -> ctypes.CDLL:
    return promise.build()


@pytest.fixture(scope="module")
def white(library: ctypes.CDLL) -> promise.Table:
    return promise.run_many(library, RODS, seed=11, correlated=0.0, brakes=True)


@pytest.mark.parametrize(
    "name",
    [
        "past a soft stop",
        "past one in a run",
        "rest out of tolerance",
        "not reached",
        "guard tripped",
        "over 10 % late",
    ],
)
def test_a_braking_rod_with_white_noise_keeps_each_promise(white: promise.Table, name: str) -> None:
    which = promise.broken(white)[name]
    assert not which.any(), np.unique(white["rod"][which])


def test_the_runs_press_on_the_soft_stops(white: promise.Table) -> None:
    """A trial in which nothing comes near a soft stop would prove nothing."""
    assert set(np.unique(white["kind"])) == {AxisState.JOG, AxisState.RUN, AxisState.MOVE}
    assert promise.timed(white).sum() > 3 * RODS
    assert len(white["rod"]) == RODS * 10


def test_with_correlated_noise_few_rods_pass_a_soft_stop(library: ctypes.CDLL) -> None:
    table = promise.run_many(library, RODS, seed=12, correlated=0.5, brakes=True)
    past = promise.broken(table)["past a soft stop"]
    assert len(np.unique(table["rod"][past])) <= 1


def test_a_rod_that_coasts_gets_no_such_promise(library: ctypes.CDLL) -> None:
    """The measure can fail: without the brake the same rods do pass their soft stops."""
    table = promise.run_many(library, RODS, seed=11, correlated=0.0, brakes=False)
    assert promise.broken(table)["past a soft stop"].any()
