"""What a person sees, measured in a real browser. On every made-up state and over every dialog, on
a phone and a desk, light and dark: Stop is in view and uncovered, targets are large, nothing
overlaps, no text is cut, and contrast is as WCAG 2.2 AA asks."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("nicegui")
pytest.importorskip("playwright")

from tests.page.made_up import STATES

TOP = Path(__file__).resolve().parents[2]
LOOK = (Path(__file__).parent / "looked_at.js").read_text()
SIZES = {"phone": (320, 568), "desk": (1280, 800)}
NO_STOP = {"replay"}  # it stops nothing, so it shows none
DIALOGS = {
    "limits": ("idle", "Soft stops and ramps"),
    "ends": ("idle", "Endpoints"),
}


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """The made-up pages, served."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    # NiceGUI takes a run below pytest for a test of its own kind
    environment = {k: v for k, v in os.environ.items() if "PYTEST" not in k}
    command = [sys.executable, "-m", "tests.page.made_up_page", str(port)]
    server = subprocess.Popen(command, cwd=TOP, env=environment)
    address = f"http://127.0.0.1:{port}"
    try:
        _wait(address)
        yield address
    finally:
        server.terminate()
        server.wait(10)


def _wait(address: str) -> None:
    for _ in range(300):
        try:
            urllib.request.urlopen(f"{address}/asked").read()
            return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the made-up pages are not served")


@pytest.fixture(scope="module")
def tab(browser) -> Iterator[object]:
    """A tab; `looks` gives it each size and theme."""
    context = browser.new_context(reduced_motion="reduce")
    tab = context.new_page()
    tab.set_default_timeout(10_000)
    tab.outside = []
    tab.on("request", lambda r: tab.outside.append(r.url) if "//127.0.0.1" not in r.url else None)
    yield tab
    context.close()


def opened(tab, address: str, state: str, size: str = "desk") -> None:
    sized(tab, size, "light")
    tab.goto(f"{address}/?state={state}")
    tab.wait_for_function("window.rodbench?.last && document.querySelector('.sheet main')")
    tab.wait_for_function("document.documentElement.dataset.line === 'open'")
    if "no_axis" not in state:
        tab.wait_for_selector(".ruler svg")
    if state not in {"read_only", "other_page", "another", "lost", "replay", "no_axis"}:
        tab.wait_for_selector(".pad:not(.off)")


def sized(tab, size: str, scheme: str) -> None:
    width, height = SIZES[size]
    tab.set_viewport_size({"width": width, "height": height})
    tab.emulate_media(color_scheme=scheme)
    tab.evaluate("() => new Promise(done => requestAnimationFrame(() => setTimeout(done, 60)))")


def looks(tab, stop: bool = True) -> None:
    """All that is measured, at each size and in each theme; every finding is told at once."""
    findings = []
    for size in SIZES:
        for scheme in ("light", "dark"):
            sized(tab, size, scheme)
            found = tab.evaluate(LOOK)
            if stop != found["stop"]:
                found["findings"].append(f"stop shown: {found['stop']}")
            findings += [f"{size}, {scheme}: {finding}" for finding in found["findings"]]
            assert found["measured"]["texts"] >= 4
    assert not findings, "\n".join(findings)
    assert not tab.outside


@pytest.mark.parametrize("state", STATES)
def test_every_state_is_legible(tab, address: str, state: str) -> None:
    opened(tab, address, state)
    looks(tab, stop=state not in NO_STOP)


@pytest.mark.parametrize("drawer", ["Last 60 s", "Events"])
def test_every_drawer_is_legible(tab, address: str, drawer: str) -> None:
    opened(tab, address, "tripped")
    tab.get_by_text(drawer, exact=True).click()
    tab.wait_for_selector(".trace canvas" if drawer == "Last 60 s" else ".events li")
    looks(tab)


@pytest.mark.parametrize("dialog", DIALOGS)
def test_every_dialog_leaves_stop_alone(tab, address: str, dialog: str) -> None:
    state, pressed = DIALOGS[dialog]
    opened(tab, address, state)
    tab.locator("button:visible", has_text=pressed).first.click()
    tab.wait_for_selector(".q-dialog .box")
    looks(tab)
    for key in ("Escape", "Space"):  # the trap of focus inside a dialog must not swallow them
        before = asked(address)["stops"]
        tab.evaluate("document.activeElement?.blur()")
        tab.keyboard.press(key)
        deadline = time.monotonic() + 3
        while asked(address)["stops"] == before and time.monotonic() < deadline:
            time.sleep(0.02)
        assert asked(address)["stops"] == before + 1
    assert tab.locator(".q-dialog .box").is_visible()


def asked(address: str) -> dict[str, int]:
    """How many stops and moves the hands were asked for."""
    return dict(json.loads(urllib.request.urlopen(f"{address}/asked").read()))


def test_space_stops_and_presses_no_button(tab, address: str) -> None:
    opened(tab, address, "idle")
    before = asked(address)
    tab.locator("button:visible", has_text="open").first.focus()
    tab.keyboard.press("Space")
    deadline = time.monotonic() + 3
    while asked(address)["stops"] == before["stops"] and time.monotonic() < deadline:
        time.sleep(0.02)
    tab.wait_for_timeout(200)
    assert asked(address) == {"stops": before["stops"] + 1, "moves": before["moves"]}
    tab.keyboard.press("Enter")
    tab.wait_for_timeout(300)
    assert asked(address)["moves"] == before["moves"] + 1


def test_an_answer_is_legible(tab, address: str) -> None:
    opened(tab, address, "idle")
    tab.locator(".acts input").first.fill("900 mm")
    tab.keyboard.press("Enter")
    tab.wait_for_selector(".answer div")
    assert "outside the soft stops" in tab.locator(".answer").inner_text()
    looks(tab)


def test_the_rod_that_the_pads_move_is_in_view(tab, address: str) -> None:
    opened(tab, address, "two", "phone")
    in_view = "document.querySelector('.rod-2 .place').getBoundingClientRect().bottom < innerHeight"
    assert not tab.evaluate(in_view)
    tab.locator(".chooser button", has_text="south").click()
    tab.wait_for_function(in_view)
    assert tab.locator(".pad.of-2").first.is_visible()
    looks(tab)


def test_what_is_said_of_two_rods_as_one_is_said_once(tab, address: str) -> None:
    opened(tab, address, "apart")
    said = tab.locator("[role=status]").inner_text()
    assert said.count("Moves as one") == 1
    assert "then press Clear. Once cleared, `rodbench level` brings them together." in said


def test_a_draft_is_checked_shown_and_committed(tab, address: str) -> None:
    opened(tab, address, "idle")
    handle = tab.locator(".soft-stop.high")
    handle.scroll_into_view_if_needed()
    handle.focus()
    for _ in range(3):
        tab.keyboard.press("ArrowLeft")
    tab.wait_for_selector(".q-dialog .box")
    tab.get_by_text("Check", exact=True).click()
    tab.wait_for_selector(".box li")
    assert "188.0 mm becomes 185.0 mm" in tab.locator(".box").inner_text()
    looks(tab)
    tab.get_by_text("Put in force and store").click()
    tab.wait_for_selector(".q-dialog .box", state="detached")


def test_an_end_is_taken_shown_and_proposed(tab, address: str) -> None:
    opened(tab, address, "idle")
    tab.locator("button:visible", has_text="Endpoints").click()
    tab.get_by_text("It is fully retracted").click()
    tab.wait_for_selector(".box li")
    assert "Retracted end at raw 7404" in tab.locator(".box").inner_text()
    looks(tab)


def test_a_wrong_draft_says_what_stays(tab, address: str) -> None:
    opened(tab, address, "idle")
    tab.locator("button:visible", has_text="Soft stops and ramps").click()
    tab.locator(".box input").first.fill("190")
    tab.get_by_text("Check", exact=True).click()
    tab.wait_for_selector(".box .answer div")
    text = tab.locator(".box .answer").inner_text()
    assert "below soft_stop_max_mm" in text
    assert "the board keeps settings 81D2F03B" in text
    assert not tab.get_by_text("Put in force and store").is_visible()
    looks(tab)


def test_a_page_that_hears_nothing_says_so(tab, address: str) -> None:
    opened(tab, address, "moving")
    assert not tab.locator(".unheard-words").is_visible()
    tab.evaluate("rodbench.take = () => {}; rodbench.heard = Date.now() - 9000; rodbench.watch()")
    assert "cut motor power" in tab.locator(".unheard-words").inner_text()
    looks(tab)


def test_the_page_names_its_language_and_its_live_region(tab, address: str) -> None:
    opened(tab, address, "idle")
    assert tab.evaluate("document.documentElement.lang").startswith("en")
    assert tab.locator("[role=status][aria-live=polite]").inner_text().startswith("North")
    assert tab.locator("button.stop").get_attribute("aria-label") == "Stop all rods"


SMALL, LARGE = (
    f"<button style='width:{px}px;height:{px}px;position:fixed;left:1px;top:1px'>"
    for px in (20, 60)
)
PLANTED = {
    "stop covered": "<div style='position:fixed;inset:0;z-index:99999'>x</div>",
    "target 20 x 20": f"{SMALL}x</button>",
    "overlaps": f"{LARGE}x</button>{LARGE}y</button>",
    "contrast": "<p style='color:#aaa;background:#fff;position:fixed;top:0'>pale words</p>",
    "text of 9 px": "<p style='font-size:9px;position:fixed;top:0'>tiny words</p>",
    "text too wide": "<p style='width:30px;overflow:hidden;white-space:nowrap'>on and on</p>",
    "without a name": f"{LARGE}</button>",
}


@pytest.mark.parametrize("finding", PLANTED)
def test_what_is_planted_is_found(tab, address: str, finding: str) -> None:
    opened(tab, address, "no_axis")
    assert not tab.evaluate(LOOK)["findings"]
    tab.evaluate("html => document.body.insertAdjacentHTML('beforeend', html)", PLANTED[finding])
    assert any(finding in found for found in tab.evaluate(LOOK)["findings"])
