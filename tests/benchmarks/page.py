"""What one update of the page costs: `python -m tests.benchmarks.page`.

Two rods that move, ten messages a second, with the last 60 s and four earlier strokes kept. CPU of
the server for making a message, its bytes, and what the browser's script takes for it (drawers
closed; charts are drawn at most four times a second).
"""

from __future__ import annotations

import json
import os
import socket
import statistics
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

from rodbench.page.look.figures import of_axis, of_board
from rodbench.page.look.send import Sender
from rodbench.page.look.sentence import said

from tests.page.made_up import TICK_S, MadeUpFeed, two

TOP = Path(__file__).resolve().parents[2]
MESSAGES = 300
TIMED = "m => {const t = performance.now(); rodbench.take(m); return performance.now() - t}"
SAMPLES = 10  # of each rod in a tenth of a second


def messages() -> tuple[float, list[str]]:
    """CPU milliseconds for one message and its words, and the messages."""
    feed, sender, made = two(MadeUpFeed()), Sender(), []
    tick = round(300.0 / TICK_S)
    sender.message(feed)
    spent = 0.0
    for turn in range(MESSAGES):
        for n in range(SAMPLES):
            tick += 2
            at_mm = 20.0 + (turn * SAMPLES + n) * 0.03
            for axis in (1, 2):
                sample = replace(feed.last_axis[axis], tick=tick, position_mm=at_mm, output=0.8)
                feed.take(replace(sample, state=6, current_a=1.4, motion=9))
        before = time.process_time()
        said(feed)
        of_board(feed)
        for sample in feed.last_axis.values():
            of_axis(feed, sample)
        made.append(json.dumps(sender.message(feed), separators=(",", ":")))
        spent += time.process_time() - before
    return 1000 * spent / MESSAGES, made


def taken(made: list[str]) -> list[float]:
    """Milliseconds that the page's script takes for each message, in Chromium."""
    from playwright.sync_api import sync_playwright

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    command = [sys.executable, "-m", "tests.page.made_up_page", port]
    server = subprocess.Popen(command, cwd=TOP, env=dict(os.environ))
    try:
        time.sleep(6.0)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox"]
            )
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(f"http://127.0.0.1:{port}/?state=two")
            page.wait_for_function("window.rodbench && rodbench.drawn")
            found = []
            for one in made:
                found.append(float(page.evaluate(TIMED, json.loads(one))))
                page.wait_for_timeout(20)
            browser.close()
            return found
    finally:
        server.terminate()
        server.wait(10)


def main() -> None:
    """Print the figures."""
    cpu_ms, made = messages()
    sizes = [len(one) for one in made]
    print(f"server: {cpu_ms:.2f} ms of CPU a message, {cpu_ms:.1f} % of a core for each page")
    print(f"message: {statistics.mean(sizes):.0f} bytes, at most {max(sizes)}; 10 a second")
    took = sorted(taken(made[:150]))
    print(
        f"browser: {statistics.mean(took):.2f} ms of script a message, "
        f"median {took[len(took) // 2]:.2f}, most {took[-1]:.1f}"
    )


if __name__ == "__main__":
    main()
