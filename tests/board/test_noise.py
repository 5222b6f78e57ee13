"""A million bytes of noise into the binary. `python -m tests.board.noise` does more."""

from __future__ import annotations

from tests.board.noise import Run

BYTES = 1_000_000


def test_noise_moves_nothing_and_hangs_nothing() -> None:
    run = Run(seed=3)
    run.go(BYTES)
    print(run.told())
    assert run.sent >= BYTES
    assert run.noise.runs > BYTES / 20
    assert run.noise.good > run.noise.runs / 20, "whole frames that a board must refuse"
    assert run.driven > 20 * run.jogs > 0, "the jogs did drive"
    run.chip.close()
