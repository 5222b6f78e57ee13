"""The duty budget: no window ever exceeds its share, through resets at any instruction."""

from __future__ import annotations

import re
import subprocess
from typing import TypeAlias

import numpy as np
import pytest
from rodbench.emulator.twin.duty import DUTY_UNKNOWN
from rodbench_protocol import settings

from tests.core import native
from tests.twin.memory import SIZE, put_slot

TICKS_PER_S = 200
Ons: TypeAlias = np.ndarray[tuple[int], np.dtype[np.uint8]]


class Axis:
    """A board of which only axis 1's duty record is used."""

    def __init__(self, window_s: int, share_permille: int) -> None:
        self.board = native.Board(native.library())
        self.put(window_s, share_permille)
        self.board.boot(1)

    def put(self, window_s: int, share_permille: int) -> None:
        """Settings for the next start."""
        values = settings.defaults("axis") | {
            "duty_window_s": window_s,
            "duty_share_permille": share_permille,
        }
        axis = settings.pack_scope("axis", values)
        image = bytearray(b"\xff" * SIZE)
        put_slot(
            image, 0, 1, [settings.pack_scope("board", settings.defaults("board")), axis, axis]
        )
        self.board.eeprom[:] = image
        self.budget = window_s * TICKS_PER_S * share_permille // 1000
        self.window = window_s * TICKS_PER_S

    @property
    def used(self) -> int:
        """Ticks that count now."""
        return int(self.board.lib.duty_used(self.board.duty_address(0)))

    @property
    def total(self) -> int:
        """Ticks since the record began."""
        return int(self.board.lib.duty_total(self.board.duty_address(0)))

    def run(self, wishes: Ons) -> Ons:
        """Ticks that want output, or not; which of them got it."""
        on = wishes.astype(np.uint8)
        board = self.board
        board.lib.harness_duty_run(board.address, 0, on.ctypes.data, len(on), self.budget)
        return on


def worst_window(on: Ons, window: int) -> int:
    """Most ticks with output in any span of `window` ticks, counted plainly."""
    counted = np.concatenate(([0], np.cumsum(on, dtype=np.int64)))
    span = min(window, len(on))
    return int((counted[span:] - counted[:-span]).max())


def patterns(rng: np.random.Generator, ticks: int) -> Ons:
    """Wishes: bursts and pauses of all lengths."""
    bursts = 10 ** rng.uniform(0, 3.6, 8 + ticks // 100)
    wishes = np.repeat(rng.random(len(bursts)) < 0.7, bursts.astype(int))
    return np.resize(wishes, ticks)


def always(ticks: int) -> Ons:
    """Wants output in each tick."""
    return np.ones(ticks, np.uint8)


@pytest.mark.parametrize(("share", "seed"), [(100, 1), (250, 2), (437, 3), (900, 4), (1000, 5)])
def test_no_window_exceeds_its_share(share: int, seed: int) -> None:
    axis = Axis(60, share)
    on = axis.run(patterns(np.random.default_rng(seed), 5 * axis.window))
    assert worst_window(on, axis.window) <= axis.budget
    assert on.sum() > axis.budget  # it gave the budget back


def test_greedy_use_gets_all_of_the_budget_and_no_more() -> None:
    axis = Axis(60, 250)
    on = axis.run(always(3 * axis.window))
    assert on[: axis.budget].all()
    assert not on[axis.budget : axis.window].any()
    assert worst_window(on, axis.window) == axis.budget
    assert on.sum() >= 2 * axis.budget


def test_resets_lose_nothing_and_earn_nothing() -> None:
    axis = Axis(60, 250)
    rng = np.random.default_rng(9)
    parts = []
    for _ in range(40):
        parts.append(axis.run(patterns(rng, int(rng.integers(1500)))))
        used, total = axis.used, axis.total
        if rng.random() < 0.5:
            axis.board.tear(0, native.TEAR_OLDER)
        axis.board.boot(int(rng.choice((0, 2, 4, 8))))
        assert (axis.used, axis.total) == (used, total)
    on = np.concatenate(parts)
    assert worst_window(on, axis.window) <= axis.budget
    assert axis.total == on.sum()


def test_fifty_starts_cost_exactly_their_ticks() -> None:
    axis = Axis(1200, 250)
    for start in range(50):
        axis.board.boot(2)
        assert axis.run(always(100 + start)).all()
    assert axis.used == axis.total == sum(100 + start for start in range(50))


def test_a_record_that_did_not_survive_a_reset_is_all_spent() -> None:
    for flags, spent in ((1, False), (0, False), (2, True), (4, True), (8, True), (3, False)):
        axis = Axis(60, 1000)
        axis.board.noinit[:] = b"\xa5" * len(axis.board.noinit)
        axis.board.boot(flags)
        assert (axis.used >= axis.budget) == spent, flags
        assert axis.total == (DUTY_UNKNOWN if spent else 0)


def test_both_copies_damaged_is_all_spent_and_comes_back() -> None:
    axis = Axis(60, 1000)
    axis.board.tear(0, native.TEAR_BOTH)
    axis.board.boot(2)
    assert not axis.run(always(1)).any()
    axis.run(np.zeros(axis.window + axis.window // 30, np.uint8))
    assert axis.run(always(1)).all()


@pytest.mark.parametrize("to_s", [60, 61, 100, 300, 1200, 7200])
@pytest.mark.parametrize("from_s", [60, 300, 1200])
def test_a_changed_window_forgets_nothing(from_s: int, to_s: int) -> None:
    """What was used in the last new window still counts, whatever it was before."""
    axis = Axis(from_s, 300)
    before = axis.run(patterns(np.random.default_rng(from_s * to_s), from_s * 220))
    axis.put(to_s, 300)
    axis.board.boot(2)
    recent = int(before[-axis.window :].sum())
    assert axis.used >= recent
    after = axis.run(always(axis.window))
    counted = np.concatenate(([0], np.cumsum(np.concatenate((before, after)), dtype=np.int64)))
    ends = np.arange(len(before), len(counted))  # windows that end after the change
    spent = counted[ends] - counted[np.maximum(0, ends - axis.window)]
    assert spent.max() <= max(axis.budget, recent)


@pytest.mark.parametrize("level", ["-O0", "-Os", "-O2"])
def test_reset_at_every_instruction(level: str) -> None:
    names = ("duty", "div", "frame")
    files = [native.SOURCES / "core" / f"{n}.c" for n in names]
    program = native.compile_c(
        native.BUILD / f"duty_reset{level}",
        [*files, native.HARNESS / "duty_reset.c"],
        f"-I{native.SOURCES}",
        level,
    )
    done = subprocess.run([program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    found = re.fullmatch(r"(\d+) instructions, (\d+) different records\n", done.stdout)
    assert found is not None
    print(level, done.stdout.strip())
    assert int(found[1]) > 10000
    assert int(found[2]) > 300
