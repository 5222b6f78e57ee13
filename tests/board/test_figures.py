"""The firmware's figures hold what the chip and the design need. `figures.py` prints them."""

from __future__ import annotations

import functools
import json
from typing import Any

import pytest

from tests.board import build, figures
from tests.board.simboard import TICK_CYCLES

# The boards' upload.maximum_size in Debian's boards.txt: 30720 also of boards that have the newer
# bootloader in a boot section of 2 KB. A larger program would lie where such a chip starts.
BUILDS = [("reset", False, 30720), ("noreset", False, 30720)]
BUILDS += [("reset", True, 32256)]  # for the others


@functools.cache
def measured() -> dict[str, Any]:
    return figures.measure()


@pytest.mark.parametrize("baud", [250_000, 115_200])
@pytest.mark.parametrize(("watchdog", "local", "room"), BUILDS)
def test_flash_fits_beside_the_bootloader(watchdog: str, local: bool, room: int, baud: int) -> None:
    elf = build.firmware(baud, watchdog, local=local)
    size = json.loads(build.run(["python3", str(build.FIRMWARE / "size.py"), str(elf), "--json"]))
    assert size["flash"] <= room


def test_stack_keeps_its_margin() -> None:
    """By the paint, and by the stack pointer watched at every instruction: the same depth."""
    assert measured()["stack_margin"] >= figures.STACK_MARGIN
    assert 0 <= measured()["deepest_stack"] - measured()["stack_watched"] < 8


def test_no_tick_is_late_and_the_worst_leaves_room() -> None:
    assert measured()["late_ticks"] == 0
    parts = dict(measured()["worst_tick_by_part"])
    assert 0 < parts.pop(figures.COMMIT) < TICK_CYCLES
    assert max(parts.values()) < TICK_CYCLES * 9 // 10
    assert parts["two rods moving, telemetry"] < TICK_CYCLES * 2 // 3


def test_interrupts_are_never_off_for_long() -> None:
    assert 0 < measured()["interrupts_off"] <= figures.AIMS["interrupts_off"]


def test_the_boards_own_measure_agrees() -> None:
    own = measured()["own_worst_tick_us"] * 16
    assert abs(own - measured()["worst_tick"]) < 200  # within its 2 us and its own end
