"""A bench with a page: a board that notes every tick, `rodbench page` as a process, Chromium."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

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
        wait_for(lambda: self.drive == 0, 10.0, "rest")

    def to_the_middle(self) -> None:
        """So that either way is free."""
        self.run("move", "1", "20 mm", "--yes")

    def stopping(self, since: int, timeout_s: float = 8.0) -> Stopping:
        """How far and how long the rod still went after tick `since`."""
        board = self.board
        rest = lambda: board.now > since + 30 and not any(board.drives[-30:])  # noqa: E731
        wait_for(rest, timeout_s, "the rod at rest")
        driven = [n for n in range(since, board.now) if board.drives[n]]
        last = driven[-1] if driven else since
        travel = abs(board.places[-1] - board.places[since])
        return Stopping(travel, (last - since) * TICK_S)


class Stopping:
    """Travel in mm and time in s from a release to rest."""

    def __init__(self, travel_mm: float, time_s: float) -> None:
        self.travel_mm, self.time_s = travel_mm, time_s

    def within_hold(self, what: str, more_s: float = 0.0) -> None:
        """Not further than the board's hold and ramp allow, plus `more_s` at the jog's speed."""
        print(f"{what}: {self.travel_mm:.2f} mm and {1000 * self.time_s:.0f} ms to rest")
        most_s = HOLD_S + RAMP_S + more_s
        assert self.time_s <= most_s + 4 * TICK_S, what
        assert self.travel_mm <= JOG_MM_S * (most_s - RAMP_S / 2) + RUN_ON_MM, what


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
