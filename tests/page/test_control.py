"""One page controls; others see which, may take over, and may always stop."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Browser, Page

from tests.cli.conftest import wait_for
from tests.page.bench import EXTEND, RETRACT, STOP, PageBench, data, ready
from tests.page.test_hold import press, running

REFUSED = "document.documentElement.dataset.refused"


def refusal(page: Page) -> str:
    """What the page was refused with, once it was."""
    page.wait_for_function(f"!!{REFUSED}")
    said = data(page, "refused")
    page.evaluate(f"delete {REFUSED}")
    return said


def free_pad(bench: PageBench) -> str:
    return EXTEND if bench.position_mm < 20 else RETRACT


def test_a_second_page_moves_nothing_until_it_takes_over(
    page: Page, another: Callable[[], Page], served: PageBench
) -> None:
    second = another()
    since = served.board.now
    second.locator(free_pad(served)).hover()
    second.mouse.down()
    assert "controls, this page does not" in refusal(second)
    second.mouse.up()
    assert not any(served.board.drives[since:])
    press(page, served)
    since = served.board.now
    second.locator("[data-take]").click()
    served.stopping(since).within_hold("taken over", more_s=0.05)
    page.mouse.up()
    press(second, served)
    assert served.drive != 0
    second.mouse.up()
    served.settle()
    page.locator(free_pad(served)).hover()
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
        since = served.board.now
        stop()
        # from the key press in the driver to the rod: the browser's own time comes on top
        served.stopping(since).within_hold(what, more_s=0.1)
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
    page.locator(EXTEND).hover()
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


def test_a_command_is_refused_while_a_page_moves(page: Page, served: PageBench) -> None:
    """A busy computer may end a jog early, by a late renewal: then it is held anew."""
    for _ in range(6):
        served.to_the_middle()
        press(page, served)
        since = served.board.now
        done = served.run("move", "1", "5 mm", "--yes", code=None)
        held = all(served.board.drives[since:])
        page.mouse.up()
        served.settle()
        if held:
            break
    assert held
    assert done.returncode == 3
    assert "'page' (process" in done.stderr


def test_a_stop_in_a_terminal_stops_the_page(page: Page, served: PageBench) -> None:
    press(page, served)
    served.run("stop")
    wait_for(lambda: page.wait_for_timeout(20) or served.drive == 0, what="rest")
    page.mouse.up()
    served.settle()
    page.wait_for_timeout(300)
    press(page, served)
    assert served.drive != 0
    page.mouse.up()


def test_a_stop_while_the_press_is_on_its_way_wins(page: Page, served: PageBench) -> None:
    served.settle()
    page.locator(free_pad(served)).focus()
    since = served.board.now
    page.keyboard.down("Enter")
    page.keyboard.press("Escape")
    served.stopping(since)
    page.keyboard.up("Enter")
    assert served.drive == 0
    page.keyboard.down("Enter")
    running(page, served)
    page.keyboard.up("Enter")
    served.settle()
