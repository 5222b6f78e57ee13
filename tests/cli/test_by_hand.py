"""`calibrate endpoints --by-hand` in a terminal, with the wall clock: arrow keys, Enter, q."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator

import pytest

from tests.cli.conftest import Bench
from tests.cli.test_keys import LEFT, RIGHT, Terminal

ENTER = b"\n"
BY_HAND = ("calibrate", "endpoints", "1", "--by-hand", "--yes")


@pytest.fixture
def terminal(calibrated: Bench) -> Iterator[Terminal]:
    """A rod of 40 mm that the bench knows, at 20 mm."""
    path = calibrated.folder / "machine.toml"
    text = path.read_text(encoding="utf-8")
    ends = 'end_retracted = "end-switch"\nend_extended = "end-switch"\n'
    path.write_text(text.replace("stroke_mm = 40.0\n", f"stroke_mm = 40.0\n{ends}"), "utf-8")
    found = Terminal(calibrated, *BY_HAND, ready=b"retracted working end: hold")
    yield found
    found.close()


def show(terminal: Terminal, key: bytes, seconds: float, next_words: bytes) -> float:
    """Hold a key, say that it is there, and wait for what is said then; where the rod rests."""
    from tests.cli.conftest import wait_for

    terminal.hold(key, seconds)
    terminal.bench.wait_still()
    terminal.press(ENTER)
    wait_for(lambda: next_words in terminal.shown, 10, next_words.decode())
    return terminal.bench.position_mm


def test_working_ends_by_the_arrow_keys(terminal: Terminal) -> None:
    low = show(terminal, LEFT, 2.5, b"To the extended working end")
    assert low < 19.0
    high = show(terminal, RIGHT, 4.0, b"Soft stops")
    assert high > low + 3.0
    assert terminal.process.wait(20) == 0
    machine = tomllib.loads((terminal.bench.folder / "machine.toml").read_text(encoding="utf-8"))
    limits = machine["axes"]["1"]["limits"]
    assert limits["working_end_min_mm"] == pytest.approx(low, abs=0.3)
    assert limits["working_end_max_mm"] == pytest.approx(high, abs=0.3)
    assert low < limits["soft_stop_min_mm"] < limits["soft_stop_max_mm"] < high
    assert machine["rods"]["north"]["stroke_mm"] == 40.0


def test_q_leaves_everything_as_it_was(terminal: Terminal) -> None:
    before = (terminal.bench.folder / "machine.toml").read_text(encoding="utf-8")
    terminal.hold(LEFT, 1.0)
    terminal.press(b"q")
    assert terminal.process.wait(20) == 130
    assert b"was not shown" in terminal.shown
    assert terminal.bench.drive == 0
    assert (terminal.bench.folder / "machine.toml").read_text(encoding="utf-8") == before
