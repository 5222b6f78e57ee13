"""Whatever a builder may have in hand: commissioned as promised, or refused for the right reason.

`python -m tests.procedures.benches` runs as many of these as wanted and prints the whole table.
"""

import pytest
from rodbench.emulator.random_benches import random_bench

from .benches import Ending, end_of, figures, table

# Chosen for a bench of each kind that takes little time.
SEEDS = (
    115, 31, 108, 118, 8, 75, 16, 68, 96,  # a pot, free on the bench, each kind of sensor
    81, 53, 392, 24,  # mounted, its own ends known or not
    23, 70, 10, 99,  # two wires, timed from end to end
    7, 32, 11, 61,  # two wires, hold-to-run only
    38, 117, 120, 15,  # wiper on a wrong lead
    48, 116, 21, 114,  # worn tracks
    27, 84, 46, 25, 9, 71, 6, 109, 35, 26, 82,  # a person who is wrong or does not look
)  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
def test_a_bench_ends_as_it_should(seed: int) -> None:
    ending = end_of(seed)
    assert ending.never == ""
    assert ending.trouble == "", ending.row


def test_the_benches_are_of_every_kind() -> None:
    rows = {random_bench(seed).row for seed in SEEDS}
    for kind in (
        "pot, sensor none", "pot, sensor one-sided", "pot, sensor centred",
        "pot, sensor one-sided, mounted", "pot, sensor one-sided, mounted, known",
        "two wires, sensor one-sided", "two wires, sensor centred",
        "two wires, no sensor", "two wires, mounted",
        "wiper on supply lead", "wiper on ground lead", "narrow worn zone", "wide worn zone",
        "person: one answer wrong", "person: both answers wrong", "person: did not look",
        "person: says a pot where none is", "person: says a sensor where none is",
        "person: says the other kind of sensor",
    ):  # fmt: skip
        assert kind in rows


def test_the_table_counts_what_was_said_of_what_was_true() -> None:
    seen = [
        Ending(1, "pot", "commissioned", allowed=True, endpoint_error=0.002),
        Ending(2, "pot", "wiper", "the wiper"),
        Ending(3, "two wires", "timed", allowed=True, wrong_polarity="of motor"),
        Ending(4, "two wires", "timed", allowed=True, pressed_ticks=2, false_end="not there"),
    ]
    head, pot, two = table(seen)
    assert head.split() == ["commissioned", "timed", "wiper"]
    assert pot.split() == ["pot", "1", ".", "1"]
    assert two.split() == ["two", "wires", ".", "2", "."]
    last = [line.split()[-1] for line in figures(seen)[-3:]]
    assert last == ["1", "1", "1"]
    assert figures(seen)[0].endswith("3 of 4")
    assert [bool(e.trouble) for e in seen] == [False, True, True, True]
