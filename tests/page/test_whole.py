"""The whole page on an emulated board, as a person uses it: looking, moving, settings, recording,
and that recording on the page again."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.cli.conftest import wait_for
from tests.page.bench import RETRACT, STOP, PageBench, ready
from tests.page.test_hold import press


def digest(bench: PageBench) -> str:
    return str(bench.json("settings", "diff")["board"])


def place_shown_mm(page: Page) -> float:
    """What stands over the rod on the ruler."""
    return float((page.locator(".ruler .place").text_content() or "").split()[0])


def go(page: Page, bench: PageBench, text: str, mm: float) -> None:
    """Type a place, and wait until the rod rests there. A starved machine may let the page fall
    silent, which stops the rod, as it must: then again."""
    for _ in range(4):
        page.locator(".acts input").fill(text)
        page.keyboard.press("Enter")
        wait_for(lambda: bench.drive != 0, 5.0, f"motion to {text}")
        bench.settle()
        page.wait_for_timeout(300)  # the board's word that it rests
        if abs(bench.position_mm - mm) < 0.5:
            return
    said = page.locator(".events").all_text_contents()
    raise AssertionError(f"{text}: at {bench.position_mm:.1f} mm, {said}")


def hold(page: Page, bench: PageBench) -> None:
    """Retract until the page says so; again where a starved machine has let go."""
    for _ in range(4):
        bench.to_the_middle()
        press(page, bench, RETRACT)
        said = page.locator("header").inner_text()
        if "North retracts while held." in said:
            return
        page.mouse.up()
        bench.settle()
    raise AssertionError(said)


def test_the_trace_the_ruler_and_the_stroke_follow_the_rod(page: Page, served: PageBench) -> None:
    served.to_the_middle()
    expect(page.locator(".ruler .place")).to_have_text(re.compile(r"^(19|20)\.\d mm$"))
    page.get_by_text("Last 60 s", exact=True).click()
    before = page.evaluate("rodbench.rings[1].length")
    hold(page, served)
    page.wait_for_timeout(1000)
    page.mouse.up()
    served.settle()
    page.wait_for_timeout(500)
    assert page.evaluate("rodbench.rings[1].length") > before + 20
    assert abs(place_shown_mm(page) - served.position_mm) < 0.3
    drawn = page.evaluate(
        "rodbench.chart('trace-1').getOption().series.map(one => one.data.length)"
    )
    assert min(drawn) > before
    stroke = page.evaluate("rodbench.strokes[1].now")
    places = [mm for mm, _ in stroke]
    assert places[0] > places[-1]
    assert all(0.3 < amps < 3.0 for _, amps in stroke[3:])


def test_a_place_that_is_typed_is_gone_to(page: Page, served: PageBench) -> None:
    for text, mm in (("25", 25.0), ("1 in", 25.4), ("25 %", 11.0)):
        go(page, served, text, mm)
    page.locator(".acts input").fill("45 mm")
    page.keyboard.press("Enter")
    expect(page.locator(".answer")).to_contain_text("outside")
    assert abs(served.position_mm - 11.0) < 0.5


def test_soft_stops_are_dragged_checked_and_committed(page: Page, served: PageBench) -> None:
    before = digest(served)
    handle = page.locator(".soft-stop.high")
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 10, box["y"] + 20)
    page.mouse.down()
    page.mouse.move(box["x"] - 30, box["y"] + 20, steps=5)
    page.mouse.up()
    page.get_by_text("Check", exact=True).click()
    said = page.locator(".box li")
    expect(said).to_have_text(re.compile(r"Soft stop, extend side: 38\.0 mm becomes 3\d\.\d mm"))
    assert digest(served) == before
    new_mm = float(said.inner_text().split()[-2])
    page.get_by_text("Put in force and store").click()
    expect(page.locator(".box")).to_have_count(0, timeout=10_000)
    after = digest(served)
    assert after != before
    expect(page.locator(".board")).to_contain_text(f"{after}, stored")
    expect(handle).to_contain_text(f"{new_mm:.1f}")
    assert f"soft_stop_max_mm = {new_mm}" in (served.folder / "machine.toml").read_text()
    assert not served.json("settings", "diff")["differences"]


def test_what_the_board_would_refuse_is_not_sent(page: Page, served: PageBench) -> None:
    before, file = digest(served), (served.folder / "machine.toml").read_text()
    page.get_by_text("Soft stops and ramps").click()
    page.locator(".box input").first.fill("39")
    page.get_by_text("Check", exact=True).click()
    expect(page.locator(".box .answer")).to_contain_text("Nothing was sent")
    expect(page.get_by_text("Put in force and store")).to_be_hidden()
    assert digest(served) == before
    assert (served.folder / "machine.toml").read_text() == file


@pytest.fixture(scope="module")
def recording(served: PageBench, browser: Browser) -> Path:
    """A recording made from the page, of a move."""
    context = browser.new_context()
    page = ready(context.new_page(), served.keyed_url)
    page.get_by_text("Record", exact=True).click()
    expect(page.locator(".who")).to_contain_text("Recording ")
    name = page.locator(".who").inner_text().split("Recording ")[1].rstrip(".")
    go(page, served, "10", 10.0)
    go(page, served, "25", 25.0)
    page.get_by_text("End recording").click()
    expect(page.locator(".who")).not_to_contain_text("Recording ")
    context.close()
    found = list(served.folder.rglob(name))
    assert len(found) == 1
    return found[0]


def test_a_recording_replays_on_the_page_without_controls(
    recording: Path, served: PageBench, browser: Browser
) -> None:
    server = served.serve_page("--replay", str(recording.relative_to(served.folder)))
    context = browser.new_context()
    page = context.new_page()
    page.goto(served.url)
    page.wait_for_selector(".ruler .place")
    expect(page.locator(".who")).to_contain_text(f"Replay of {recording.name}")
    assert not page.locator(f"{STOP}, [data-jog-axis], .acts input, [data-take]").count()
    since = served.board.now
    page.keyboard.press("Space")
    slider = page.locator(".time [tabindex]").first
    slider.press("End")
    expect(page.locator(".ruler .place")).to_have_text(re.compile(r"^(24|25)\.\d mm$"))
    slider.press("Home")
    expect(page.locator(".ruler .place")).not_to_have_text(re.compile(r"^(24|25)\.\d mm$"))
    page.get_by_text("Play", exact=True).click()
    page.wait_for_timeout(1500)
    assert page.locator(".acts.replaying").inner_text().count("s of") == 1
    assert float(json.loads(page.locator(".time").get_attribute("aria-valuenow") or "0")) > 0.5
    assert not any(served.board.drives[since:])
    context.close()
    server.terminate()
    server.wait(10)
