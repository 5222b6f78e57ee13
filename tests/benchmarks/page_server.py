"""What a page costs: CPU of its server by the number of pages, and bytes that go to each.

    python -m tests.benchmarks.page_server

A board on a pty with two rods that move all the time; `rodbench page` and Chromium as processes of
their own. In virtual time: CPU for one message to a page, and its bytes.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, WebSocket, sync_playwright
from rodbench.board import Board

from tests.page import soak
from tests.page.bench import launch
from tests.record.soak import cpu_s

SECONDS = 10.0
COUNTS = (0, 1, 2, 4)


def count_bytes(page: Page, sizes: list[int]) -> None:
    """Note the size of each frame that a page gets, by any of its sockets."""

    def heard(line: WebSocket) -> None:
        line.on("framereceived", lambda told: sizes.append(len(told)))

    page.on("websocket", heard)


def moved(board: Board, strokes: soak.Strokes, page: Page | None) -> float:
    """So long with the rods moving; how long it took."""
    begun = time.monotonic()
    while time.monotonic() < begun + SECONDS:
        strokes.turn()
        if page is not None:
            page.evaluate("0")  # lets what came be counted
    return time.monotonic() - begun


def in_real_time(folder: Path) -> None:
    with (
        soak.bench(folder) as (port, board, _),
        soak.page_process(folder, port) as (server, said),
        sync_playwright() as playwright,
    ):
        browser, pages = launch(playwright), list[Page]()
        board.subscribe(0.01, 0.1)
        strokes, sizes = soak.Strokes(board), list[int]()
        for count in COUNTS:
            while len(pages) < count:
                page = browser.new_context().new_page()
                count_bytes(page, sizes)
                pages.append(soak.ready(page, said["keyed_url"]))
            sizes.clear()
            before = cpu_s(server)
            seconds = moved(board, strokes, pages[-1] if pages else None)
            share = 100 * (cpu_s(server) - before) / seconds
            told = f"{count} pages: server {share:.1f} % of one CPU"
            if count:
                a_second = sum(sizes) / seconds / count
                told += (
                    f"; to each {a_second / 1000:.1f} kB/s in {len(sizes) / seconds / count:.0f}"
                )
                told += " messages a second"
            print(told, flush=True)
        browser.close()


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        print(soak.accelerated(Path(name), 3.0))
    with tempfile.TemporaryDirectory() as name:
        in_real_time(Path(name))


if __name__ == "__main__":
    main()
