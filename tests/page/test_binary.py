"""The real binary in its simulator behind the page: hold-to-run, and each way that it ends."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Playwright
from rodbench.emulator.plant_file import parse

from tests.board.build import ToolsMissing, require_tools
from tests.cli.conftest import PLANT
from tests.page.bench import Noted, PageBench, launch, press, processes, ready
from tests.page.conftest import end_owners
from tests.page.test_hold import HIDE, TELL


@pytest.fixture(scope="module")
def binary(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageBench]:
    try:
        require_tools()
    except ToolsMissing as problem:
        say = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        say(str(problem))
    from tests.board.build import firmware
    from tests.board.simboard import SimBoard

    top = tmp_path_factory.mktemp("binary")
    (top / "machine").mkdir()
    machine = parse(PLANT, "bench.toml")
    board = Noted(SimBoard(machine, elf=firmware(machine.line.baud)))
    found = PageBench(top / "machine", top / "run", board)
    found.calibrate()
    yield found
    found.close()
    end_owners(top / "run")


def test_the_binary_stops_however_its_page_ends(
    binary: PageBench, browser: Browser, playwright: Playwright
) -> None:
    server = binary.serve_page()
    context = browser.new_context()
    page = ready(context.new_page(), binary.keyed_url)
    press(page, binary)
    with binary.stops("binary: released"):
        page.mouse.up()
    press(page, binary)
    with binary.stops("binary: tab hidden"):
        page.evaluate(f"{HIDE}; {TELL}")
    context.close()

    own = launch(playwright)
    page = ready(own.new_context().new_page(), binary.keyed_url)
    pids = processes(own)["browser"]
    press(page, binary)
    with binary.stops("binary: browser killed -9"):
        for pid in pids:
            os.kill(pid, signal.SIGKILL)
    own.close()

    context = browser.new_context()
    page = ready(context.new_page(), binary.keyed_url)
    press(page, binary)
    with binary.stops("binary: server killed -9"):
        server.kill()
    context.close()
