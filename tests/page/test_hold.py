"""Hold-to-run: whatever ends the hold, the rod stops within the board's hold and its ramp."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from functools import partial

import pytest
from playwright.sync_api import Browser, Page, Playwright

from tests.cli.conftest import wait_for
from tests.page.bench import (
    EXTEND,
    RETRACT,
    PageBench,
    hold,
    launch,
    press,
    processes,
    ready,
)

HIDE = "Object.defineProperty(document, 'visibilityState', {get: () => 'hidden'})"
TELL = "document.dispatchEvent(new Event('visibilitychange'))"


@pytest.fixture
def own_browser(playwright: Playwright) -> Iterator[Browser]:
    """A browser that a test may kill."""
    found = launch(playwright)
    yield found
    found.close()


def test_a_held_pad_runs_on_and_its_release_stops(page: Page, served: PageBench) -> None:
    served.to_the_middle()
    press(page, served, EXTEND, seconds=0.8)
    assert served.board.places[-1] > served.board.places[-160] + 1.5
    with served.stops("released"):
        page.mouse.up()
    press(page, served, RETRACT)
    assert served.board.drives[-5] < 0
    with served.stops("released, the other way"):
        page.mouse.up()


RELEASES: dict[str, Callable[[Page], object]] = {
    "slid off the pad": lambda page: page.mouse.move(1, 1),
    "window blurred": lambda page: page.evaluate("window.dispatchEvent(new Event('blur'))"),
    "tab hidden": lambda page: page.evaluate(f"{HIDE}; {TELL}"),
    "hidden, and nobody told": lambda page: page.evaluate(HIDE),
    "focus lost, and nobody told": lambda page: page.evaluate("document.hasFocus = () => false"),
    "page hidden": lambda page: page.evaluate("window.dispatchEvent(new Event('pagehide'))"),
    "pointer cancelled": lambda page: page.evaluate(
        "document.querySelector('[data-held]').releasePointerCapture(1)"
    ),
    "menu": lambda page: page.evaluate(
        "document.body.dispatchEvent(new MouseEvent('contextmenu', {bubbles: true}))"
    ),
    "other key": lambda page: page.keyboard.press("a"),
    "space": lambda page: page.keyboard.press("Space"),
    "escape": lambda page: page.keyboard.press("Escape"),
    "frozen by an endless loop": lambda page: page.evaluate("setTimeout(() => {for (;;);}, 0); 0"),
    "went elsewhere": lambda page: page.goto("about:blank"),
    "page closed": lambda page: page.close(),
}


@pytest.mark.parametrize("what", RELEASES)
def test_everything_else_is_a_release_too(page: Page, served: PageBench, what: str) -> None:
    press(page, served)
    with served.stops(what):
        RELEASES[what](page)


def test_a_hidden_tab_whose_timer_runs_on_renews_nothing(page: Page, served: PageBench) -> None:
    sent: list[str] = []
    page.on("websocket", lambda line: line.on("framesent", lambda told: sent.append(str(told))))
    page.reload()
    page.wait_for_function("document.documentElement.dataset.line === 'open'")
    press(page, served)
    assert sum("renew" in told for told in sent) > 2
    page.evaluate(HIDE)  # no event tells of it
    page.wait_for_timeout(100)
    sent.clear()
    page.locator(served.free_pad()).hover()
    page.mouse.down()
    page.wait_for_timeout(1000)
    assert not [told for told in sent if "renew" in told or "begin" in told]
    assert served.drive == 0


def test_a_second_finger_is_a_release(page: Page, served: PageBench) -> None:
    touch = page.context.new_cdp_session(page)

    def fingers(kind: str, *points: dict[str, float]) -> None:
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [*points]})

    def first() -> dict[str, float]:
        box = page.locator(served.free_pad()).bounding_box()
        assert box is not None
        return {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2, "id": 1}

    served.to_the_middle()
    # longer than a long touch, which must not become a menu
    hold(
        page, served, lambda: fingers("touchStart", first()), lambda: fingers("touchEnd"), 1.2
    )  # fmt: skip
    with served.stops("second finger"):
        fingers("touchStart", first(), {"x": 5.0, "y": 5.0, "id": 2})
    fingers("touchEnd")


def test_a_key_holds_a_pad(page: Page, served: PageBench) -> None:
    served.to_the_middle()
    page.locator(RETRACT).focus()
    for key, sign in (("Enter", -1), ("ArrowRight", 1), ("ArrowLeft", -1)):
        down, up = partial(page.keyboard.down, key), partial(page.keyboard.up, key)
        hold(page, served, down, up)
        assert served.board.drives[-5] * sign > 0
        page.keyboard.down(key)  # repeats, as a held key does
        with served.stops(f"key {key}"):
            up()


def test_a_script_cannot_press(page: Page, served: PageBench) -> None:
    for kind, event in (("Pointer", "pointerdown"), ("Keyboard", "keydown")):
        words = "{bubbles: true, isPrimary: true, pointerId: 1, button: 0, code: 'Enter'}"
        page.evaluate(
            f"document.querySelector('{EXTEND}').dispatchEvent(new {kind}Event('{event}', {words}))"
        )
    page.wait_for_timeout(300)
    assert served.drive == 0


def test_a_pad_that_goes_away_is_let_go(page: Page, served: PageBench) -> None:
    press(page, served)
    with served.stops("pad gone"):
        page.evaluate("document.querySelector('[data-held]')?.remove()")


def killed(own: Browser, bench: PageBench, kind: str, number: int, what: str) -> None:
    page = ready(own.new_context().new_page(), bench.keyed_url)
    pids = processes(own)[kind]
    press(page, bench)
    with bench.stops(what):
        for pid in pids:
            os.kill(pid, number)


def test_the_pages_process_killed(own_browser: Browser, served: PageBench) -> None:
    killed(own_browser, served, "renderer", signal.SIGKILL, "page killed -9")


def test_the_whole_browser_killed(own_browser: Browser, served: PageBench) -> None:
    killed(own_browser, served, "browser", signal.SIGKILL, "browser killed -9")


def test_a_page_that_stood_still_renews_nothing_with_what_it_sends_late(
    own_browser: Browser, served: PageBench
) -> None:
    page = ready(own_browser.new_context().new_page(), served.keyed_url)
    pids = processes(own_browser)
    stopped = [*pids["browser"], *pids["renderer"]]
    press(page, served)
    with served.stops("browser stands still"):
        for pid in stopped:
            os.kill(pid, signal.SIGSTOP)
    place, since = served.position_mm, served.board.now
    for pid in stopped:
        os.kill(pid, signal.SIGCONT)
    wait_for(lambda: served.board.now > since + 200, 10.0, "a second")
    assert not any(served.board.drives[since:])
    assert abs(served.position_mm - place) < 0.05


def test_the_server_killed(bench: PageBench, browser: Browser) -> None:
    """By number 9, so that it can say nothing: the owner stops what it commanded."""
    server = bench.serve_page()
    page = ready(browser.new_context().new_page(), bench.keyed_url)
    press(page, bench)
    with bench.stops("server killed -9"):
        server.kill()
    page.wait_for_function("document.documentElement.dataset.line === 'gone'")
    page.context.close()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_the_server_told_to_end_stops_the_rod_first(
    bench: PageBench, browser: Browser, number: signal.Signals
) -> None:
    server = bench.serve_page()
    page = ready(browser.new_context().new_page(), bench.keyed_url)
    press(page, bench)
    with bench.stops(f"server ended by {number.name}", more_s=0.5):  # it ends its sockets in turn
        server.send_signal(number)
    assert server.wait(10.0) == 130
    said = (bench.folder / "page.err").read_text()
    assert "Traceback" not in said
    assert "interrupted" in said
    page.context.close()


def test_the_server_stopped_and_the_owner_too(bench: PageBench, browser: Browser) -> None:
    """Nobody is left who could say stop: the board's own hold is the last line."""
    server = bench.serve_page()
    page = ready(browser.new_context().new_page(), bench.keyed_url)
    stopped = [server.pid, *bench.owners()]
    press(page, bench)
    try:
        with bench.stops("server and owner stand still"):
            for pid in stopped:
                os.kill(pid, signal.SIGSTOP)
    finally:
        for pid in stopped:
            os.kill(pid, signal.SIGCONT)
        time.sleep(0.1)
        server.kill()
        page.context.close()
