"""The core built for the AVR, alone in the simulator, against the native build: the same bytes.

int has 16 bits there and 32 here; a product or a shift that forgets it shows as a difference.
"""

from __future__ import annotations

import pytest

from tests.board import build
from tests.board.scenario import Scenario
from tests.board.simboard import RAM_BYTES, RESET, Chip

RUNS, GROUPS = 200, 8


def on_avr(inputs: bytes, expected: int) -> bytes:
    """What the AVR build answers, as many bytes as are expected and a few more."""
    chip = Chip(build.core_alone()[0], ram=bytes(RAM_BYTES))
    chip.call("feed", inputs, len(inputs))
    assert chip.run("cycles", 2_000_000_000) == RESET  # it has read all
    answers = chip.probe(expected + 100)
    chip.close()
    return answers


@pytest.mark.parametrize("group", range(GROUPS))
def test_equal_answers(group: int) -> None:
    program = build.core_alone()[1]
    states: dict[int, int] = {}
    faults = driven = ticks = 0
    for seed in range(group, RUNS, GROUPS):
        scenario = Scenario(program, seed)
        inputs, answers = scenario.run()
        got = on_avr(inputs, len(answers))
        first = next(
            (n for n, (a, b) in enumerate(zip(answers, got, strict=False)) if a != b), None
        )
        assert got == answers, f"seed {seed}: different from byte {first} of {len(answers)} on"
        for state, count in scenario.states.items():
            states[state] = states.get(state, 0) + count
        faults |= scenario.faults
        driven += scenario.driven
        ticks += scenario.tick * 2
    # the runs are no empty talk: each group drives, moves, stops and trips
    assert driven > ticks / 10, f"{driven} of {ticks}"
    assert {1, 2, 6, 7, 8} <= set(states), states
    assert bin(faults).count("1") >= 3
