"""The whole page on a real server: what is live moves, an edit reaches the board, a recording made
here is replayed."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, Page

from tests.cli.conftest import wait_for
from tests.page.bench import PageBench, press


def digest(bench: PageBench) -> str:
    """Of the settings that the board has in force."""
    return str(bench.json("settings", "diff")["board"])


def shown_mm(page: Page) -> float:
    """The position beside the rod."""
    return float(page.locator(".now-1 .now-position").inner_text().split()[0])


def test_what_is_live_moves(page: Page, served: PageBench) -> None:
    seen = page.locator("body").inner_text()
    press(page, served, seconds=0.8)
    page.mouse.up()
    served.settle()
    wait_for(
        lambda: page.wait_for_timeout(100) or abs(shown_mm(page) - served.position_mm) < 0.5,
        what=f"{served.position_mm:.1f} mm on the page",
    )
    assert page.locator("body").inner_text() != seen


def test_an_edit_is_checked_and_reaches_the_board(page: Page, served: PageBench) -> None:
    before = digest(served)
    page.get_by_role("button", name="Soft stops and ramps").first.click()
    page.get_by_role("textbox", name="Soft stop, extend side").fill("35.0")
    page.get_by_role("button", name="Check").click()
    page.get_by_role("button", name="Put in force and store").click()
    wait_for(
        lambda: "soft_stop_max_mm = 35.0" in (served.folder / "machine.toml").read_text(),
        what="the new value in the file",
    )
    assert digest(served) != before
    served.run("settings", "diff")  # exit code 0: file and board agree


def test_a_recording_made_here_is_replayed(
    page: Page, context: BrowserContext, served: PageBench
) -> None:
    page.get_by_role("button", name="Record", exact=True).click()
    page.get_by_role("button", name="End recording").wait_for()
    press(page, served, seconds=0.8)
    page.mouse.up()
    served.settle()
    page.get_by_role("button", name="End recording").click()
    page.get_by_role("button", name="Record", exact=True).wait_for()
    (path,) = (served.folder / "logbook" / "recordings").iterdir()
    process = served.serve_page("--replay", str(path))
    replay = context.new_page()
    replay.goto(served.url)
    replay.get_by_role("button", name="On 10 s").wait_for()
    assert replay.locator("[data-jog-axis], .jog-speed").count() == 0
    replay.get_by_role("button", name="On 10 s").click()
    slider = replay.get_by_role("slider").first
    wait_for(
        lambda: replay.wait_for_timeout(100) or float(slider.get_attribute("aria-valuenow") or 0),
        what="another time",
    )
    process.terminate()
    assert process.wait(10.0) == 130
