"""One page controls; others see which, may take over, and may always stop."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page
from rodbench.board import Board
from rodbench.errors import HeldError

from tests.cli.conftest import wait_for
from tests.page.bench import STOP, TRIES, PageBench, data, hold, press, ready

LATE_S = 0.5  # what a busy computer may take to bring a stop of another page to the board
REFUSED = "document.documentElement.dataset.refused"


def refusal(page: Page) -> str:
    """What the page was refused with, once it was."""
    page.wait_for_function(f"!!{REFUSED}")
    said = data(page, "refused")
    page.evaluate(f"delete {REFUSED}")
    return said


def test_a_second_page_moves_nothing_until_it_takes_over(
    page: Page, another: Callable[[], Page], served: PageBench
) -> None:
    second = another()
    since = served.board.now
    second.locator(served.free_pad()).hover()
    second.mouse.down()
    assert "controls, this page does not" in refusal(second)
    second.mouse.up()
    assert not any(served.board.drives[since:])
    press(page, served)
    with served.stops("taken over", more_s=LATE_S):
        second.get_by_role("button", name="Take over control").click()
    page.mouse.up()
    press(second, served)
    second.mouse.up()
    served.settle()
    page.locator(served.free_pad()).hover()
    page.mouse.down()
    assert "controls, this page does not" in refusal(page)
    page.mouse.up()


def test_any_page_stops_what_another_moves(
    page: Page, browser: Browser, another: Callable[[], Page], served: PageBench
) -> None:
    context = browser.new_context()
    watcher = ready(context.new_page(), served.url)
    keyed = another()
    ways: dict[str, Callable[[], object]] = {
        "a watcher's space": lambda: watcher.keyboard.press("Space"),
        "a watcher's escape": lambda: watcher.keyboard.press("Escape"),
        "a watcher's button": lambda: watcher.locator(STOP).click(),
        "the other page's space": lambda: keyed.keyboard.press("Space"),
    }
    for what, stop in ways.items():
        press(page, served)
        with served.stops(what, more_s=LATE_S):
            stop()
        page.mouse.up()
        page.wait_for_timeout(100)
    context.close()


def test_stop_has_a_second_way(page: Page, served: PageBench) -> None:
    """With its socket silent a page asks for the stop by a request of its own."""
    answers: list[int] = []
    page.on("response", lambda r: answers.append(r.status) if r.url.endswith("/stop") else None)
    page.evaluate("WebSocket.prototype.send = () => {}")
    page.keyboard.press("Space")
    wait_for(lambda: page.wait_for_timeout(50) or answers, what="an answer")
    assert answers == [200]
    page.wait_for_function("document.documentElement.dataset.stopState === 'sent'")


def test_a_command_in_a_terminal_is_named(page: Page, served: PageBench) -> None:
    served.to_the_middle()
    jog = served.start("jog", "1", "-1 mm/s", "--for", "4 s", "--yes")
    served.wait_moving()
    page.locator(served.free_pad()).hover()
    page.mouse.down()
    said = refusal(page)
    page.mouse.up()
    assert f"'jog 1' (process {jog.pid}) is commanding this board" in said
    page.wait_for_selector(f"text=(process {jog.pid})")
    page.keyboard.press("Escape")
    assert jog.wait(10.0) != 0, "the command is told that it was stopped"
    served.settle()
    press(page, served)
    page.mouse.up()


def test_a_command_is_refused_while_a_page_moves(
    page: Page, served: PageBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RODBENCH_RUNTIME", served.env["RODBENCH_RUNTIME"])
    with Board.open(served.port, folder=str(served.folder), who="other") as other:
        served.to_the_middle()
        press(page, served)
        with pytest.raises(HeldError, match=r"'page' \(process"):
            other.axis(1).move(5.0)
        wait_for(lambda: other.poll(0.1) or other.commander is not None, what="a commander")
        assert other.commander is not None
        assert other.commander.name == "page"
        page.mouse.up()
        served.settle()


def test_a_stop_in_a_terminal_stops_the_page(page: Page, served: PageBench) -> None:
    press(page, served)
    served.run("stop")
    wait_for(lambda: page.wait_for_timeout(20) or served.drive == 0, what="rest")
    page.mouse.up()
    press(page, served)
    page.mouse.up()


def test_a_stop_while_the_press_is_on_its_way_wins(page: Page, served: PageBench) -> None:
    served.settle()
    page.locator(served.free_pad()).focus()
    since = served.board.now
    page.keyboard.down("Enter")
    page.keyboard.press("Escape")
    served.at_rest(since)
    page.keyboard.up("Enter")
    enter = lambda: page.keyboard.down("Enter")  # noqa: E731
    hold(page, served, enter, lambda: page.keyboard.up("Enter"))
    page.keyboard.up("Enter")


def test_a_stop_of_another_command_is_said(page: Page, served: PageBench) -> None:
    for _ in range(TRIES):  # a busy computer may end the jog before the stop comes
        press(page, served)
        served.run("stop")
        served.settle()
        page.wait_for_timeout(500)
        if page.locator(".answer div").count():
            break
        page.mouse.up()
    (line,) = page.locator(".answer div").all_inner_texts()
    assert line.startswith("axis 1 was stopped: 'stop' (process")
    assert line.endswith(") asked for it; see why before you press again")
    assert not any(served.board.drives[-20:])  # the finger is still on the pad
    assert not page.locator("[data-held]").count(), "no pad looks held that moves nothing"
    page.mouse.up()
    press(page, served)
    page.wait_for_selector(".answer div", state="detached")
    page.mouse.up()
    served.settle()
