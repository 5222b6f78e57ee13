"""A bench with a page: a board that notes every tick, `rodbench page` as a process, Chromium."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from playwright.sync_api import Browser, Page, Playwright
from rodbench.link import holders

from tests.cli.conftest import PLANT, RODBENCH, Bench, wait_for

TICK_S = 0.005
HOLD_S = 0.25  # a jog, after the tick that its last renewal echoed
JOG_MM_S = 4.0  # half of the most
RAMP_S = 0.1  # from the jog's speed to rest
RUN_ON_MM = 0.7  # of this plant at full speed, and the pot's noise
EXTEND = '[data-jog-axis="1"][data-jog-way="1"]'
RETRACT = '[data-jog-axis="1"][data-jog-way="-1"]'
STOP = "[data-stop]"
TRIES = 12
SHOWN = "({...document.documentElement.dataset})"


class Noted:
    """Stands before a board and notes drive and place of axis 1 in every tick."""

    def __init__(self, board: Any) -> None:
        self._board = board
        self.drives: list[int] = []
        self.places: list[float] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._board, name)

    def step(self, ticks: int = 1) -> None:
        for _ in range(ticks):
            self._board.step()
            self.drives.append(int(self._board.outputs.drive[0]))
            self.places.append(float(self._board.rig.plants[1].position_mm))

    @property
    def now(self) -> int:
        """Ticks so far."""
        return len(self.places)

    def stopping(self, since: int) -> Stopping:
        """Travel and time from a tick to rest, which has come."""
        driven = [n for n in range(since, self.now) if self.drives[n]]
        travel = abs(self.places[-1] - self.places[since])
        return Stopping(travel, ((driven[-1] if driven else since) - since) * TICK_S)


class PageBench(Bench):
    """The machine of the command's tests, calibrated, and a page beside it."""

    def __init__(self, folder: Path, runtime: Path, board: Any = None) -> None:
        self._given = board
        super().__init__(folder, runtime, PLANT)
        self.pages: list[subprocess.Popen[str]] = []
        self.url = self.keyed_url = ""

    def make_board(self, plant: str) -> Noted:
        return Noted(super().make_board(plant) if self._given is None else self._given)

    def serve_page(self, *words: str) -> subprocess.Popen[str]:
        """`rodbench page`, once it listens."""
        process = subprocess.Popen(
            [*RODBENCH, "page", "--yes", "--json", *words], cwd=self.folder, env=self.env,
            text=True, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=(self.folder / "page.err").open("w"),
        )  # fmt: skip
        self.started.append(process)
        assert process.stdout is not None
        line = process.stdout.readline()
        assert line, (self.folder / "page.err").read_text()
        said = json.loads(line)
        self.url, self.keyed_url, self.web_port = (
            said["url"],
            said.get("keyed_url", ""),
            said["port"],
        )
        return process

    def owners(self) -> list[int]:
        """Processes that hold the board's port."""
        runtime = Path(self.env["RODBENCH_RUNTIME"])
        return [h.pid for lock in runtime.glob("*.lock") for h in holders.find(lock)]

    # -- what the rod did, by the board's own clock

    def settle(self) -> None:
        """Wait until the rod rests."""
        wait_for(lambda: self.drive == 0, 20.0, "rest")

    def to_the_middle(self) -> None:
        """So that either way is free."""
        for _ in range(TRIES):
            if abs(self.position_mm - 20) < 4:
                return
            self.run("move", "1", "20 mm", "--yes", code=None)  # late on a busy computer
        raise AssertionError("the rod does not come to the middle")

    def runs_on(self, page: Page, seconds: float) -> bool:
        """Whether the rod begins to run, and does so without a break for this long."""
        board, until = self.board, time.monotonic() + 3.0
        while self.drive == 0 and time.monotonic() < until:
            page.wait_for_timeout(10)
        begun = board.now
        while board.now < begun + seconds / TICK_S and self.drive:
            page.wait_for_timeout(10)
        lately = [abs(drive) for drive in board.drives[begun:]]
        if not lately or min(lately) == 0:
            return False
        return abs(self.drive) > 0.8 * max(lately)  # and not ramping down

    def free_pad(self) -> str:
        """The pad with more way before it."""
        return EXTEND if self.position_mm < 20 else RETRACT

    def at_rest(self, since: int, timeout_s: float = 20.0) -> None:
        """Wait for 0.15 s without drive, later than tick `since`."""
        board = self.board
        wait_for(
            lambda: board.now > since + 30 and not any(board.drives[-30:]), timeout_s, "rest"
        )  # fmt: skip

    @contextmanager
    def stops(self, what: str, more_s: float = 0.0) -> Iterator[None]:
        """What is done inside stops the rod within the board's hold and ramp, and `more_s` at its
        speed. It counts from the end of the doing: a busy computer is slow to do it."""
        before = self.board.now
        yield
        self.check_stop(what, before, self.board.now, more_s)

    def check_stop(self, what: str, before: int, after: int, more_s: float = 0.0) -> None:
        """The same from tick `after` on; `before` is when it was begun, for the figures."""
        board = self.board
        self.at_rest(after)
        whole, bound = board.stopping(before), board.stopping(after)
        print(f"{what}: {whole.travel_mm:.2f} mm and {1000 * whole.time_s:.0f} ms to rest")
        most_s = HOLD_S + RAMP_S + more_s
        assert bound.time_s <= most_s + 4 * TICK_S, f"{what}: {bound}"
        assert bound.travel_mm <= JOG_MM_S * (most_s - RAMP_S / 2) + RUN_ON_MM, f"{what}: {bound}"


class Stopping(NamedTuple):
    """From a tick to rest."""

    travel_mm: float
    time_s: float


def hold(
    page: Page,
    bench: PageBench,
    down: Callable[[], object],
    up: Callable[[], object],
    seconds: float = 0.3,
) -> None:
    """Hold until the rod has run for so long. A busy computer may end a jog by a late renewal: then
    it is pressed anew."""
    for _ in range(TRIES):
        bench.settle()
        down()
        if bench.runs_on(page, seconds):
            return
        up()
        page.wait_for_timeout(200)
    raise AssertionError(f"the rod did not run on: {page.evaluate(SHOWN)}")


def press(page: Page, bench: PageBench, pad: str = "", seconds: float = 0.3) -> None:
    """Hold a pad by the mouse, the one with more way before it."""

    def down() -> None:
        page.locator(pad or bench.free_pad()).hover()
        page.mouse.down()

    hold(page, bench, down, page.mouse.up, seconds)


def chromium() -> str:
    """Debian's, or a failure with CI=true, else a skip."""
    found = shutil.which("chromium")
    if found is None:
        say = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        say("Debian's chromium is not installed")
    assert found is not None
    return found


def launch(playwright: Playwright) -> Browser:
    """A browser of one's own."""
    words = ["--no-sandbox"] if os.geteuid() == 0 else []
    return playwright.chromium.launch(executable_path=chromium(), args=words)


def processes(browser: Browser) -> dict[str, list[int]]:
    """Its processes by type: browser, renderer, ..."""
    session = browser.new_browser_cdp_session()
    found: dict[str, list[int]] = {}
    for one in session.send("SystemInfo.getProcessInfo")["processInfo"]:
        found.setdefault(one["type"], []).append(int(one["id"]))
    return found


def ready(page: Page, url: str) -> Page:
    """The page, once its socket is open and it has heard ticks."""
    page.goto(url)
    page.wait_for_function("document.documentElement.dataset.line === 'open'", timeout=15000)
    page.wait_for_selector(STOP)
    page.wait_for_function("window.rodbench && rodbench.drawn")  # the first picture costs most
    return page


def data(page: Page, name: str) -> str:
    """What hold.js shows of itself."""
    return str(page.evaluate(f"document.documentElement.dataset.{name} || ''"))
