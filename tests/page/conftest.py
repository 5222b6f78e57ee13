"""The page in a real browser. Each test module has a bench, a server and ports of its own."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, sync_playwright
from rodbench.link import holders

from tests.page.bench import PageBench, launch, ready


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    found = launch(playwright)
    yield found
    found.close()


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageBench]:
    """A calibrated bench, not yet with a page."""
    top = tmp_path_factory.mktemp("page")
    (top / "machine").mkdir()
    found = PageBench(top / "machine", top / "run")
    found.calibrate()
    yield found
    found.close()
    end_owners(top / "run")


def end_owners(runtime: Path) -> None:
    """Owner processes of this runtime folder, by their number."""
    for lock in runtime.glob("*.lock"):
        for holder in holders.find(lock):
            os.kill(holder.pid, signal.SIGTERM)


@pytest.fixture(scope="module")
def served(bench: PageBench) -> PageBench:
    """The same with `rodbench page` running."""
    bench.serve_page()
    return bench


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """Cookies and storage of this test."""
    found = browser.new_context()
    yield found
    found.close()


@pytest.fixture
def page(served: PageBench, context: BrowserContext) -> Page:
    """A page with the key, which controls."""
    served.settle()
    return ready(context.new_page(), served.keyed_url)


@pytest.fixture
def another(context: BrowserContext, served: PageBench) -> Callable[[], Page]:
    """One more page of the same browser, which has the cookie."""
    return lambda: ready(context.new_page(), served.url)
