"""The jog speed on the page: what is shown is what the next press runs at."""

from __future__ import annotations

import itertools

import pytest
from playwright.sync_api import Page
from rodbench.page.look.jog_speed import STEPS, next_step

from tests.page.bench import PageBench, press, ready

SLOWER, FASTER = "Jog north slower", "Jog north faster"


def shown(page: Page) -> str:
    """Both lines between the buttons."""
    return page.get_by_role("group", name="Jog speed of north").inner_text()


def until(page: Page, said: str) -> None:
    """Wait until the speed is this one."""
    page.locator(".jog-speed", has_text=said).wait_for()


def speed_mm_s(page: Page, bench: PageBench) -> float:
    """Of a jog, by where the rod was."""
    bench.to_the_middle()
    press(page, bench, seconds=1.0)
    places = bench.board.places[-100:]
    page.mouse.up()
    bench.settle()
    return abs(places[-1] - places[0]) / (99 * 0.005)


def test_the_speed_shown_is_the_speed_run(page: Page, served: PageBench) -> None:
    until(page, "Jog at 4.0 mm/s")
    assert "the board caps it at 8.0 mm/s" in shown(page)
    assert speed_mm_s(page, served) == pytest.approx(4.0, rel=0.15)
    page.get_by_role("button", name=FASTER).focus()
    for said in ("6.0", "8.0", "8.0"):
        page.keyboard.press("Enter")
        until(page, f"Jog at {said} mm/s")
    assert speed_mm_s(page, served) == pytest.approx(8.0, rel=0.15)
    for said in ("6.0", "4.0", "2.8", "1.6"):
        page.get_by_role("button", name=SLOWER).click()
        until(page, f"Jog at {said} mm/s")
    assert speed_mm_s(page, served) == pytest.approx(1.6, rel=0.2)


def test_only_the_page_that_controls_has_it(page: Page, another, served: PageBench) -> None:
    second = another()
    assert page.get_by_role("button", name=FASTER).is_visible()
    assert not second.get_by_role("button", name=FASTER).is_visible()
    watcher = ready(page.context.browser.new_context().new_page(), served.url)
    assert watcher.locator(".jog-speed").count() == 0
    watcher.context.close()


def test_the_steps_end_at_both_sides() -> None:
    for lower, higher in itertools.pairwise(STEPS):
        assert next_step(lower, 1) == higher
        assert next_step(higher, -1) == lower
    assert next_step(STEPS[0], -1) == STEPS[0]
    assert next_step(1.0, 1) == 1.0
    assert (next_step(0.4, -1), next_step(0.4, 1)) == (0.35, 0.5)
