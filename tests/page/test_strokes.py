"""What a stroke is looked at against: the baseline under the ruler, and the target on it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page
from rodbench.page import baseline
from rodbench.record import runs

from tests.cli.conftest import wait_for
from tests.page.bench import TRIES, PageBench

PLACES = np.linspace(3.0, 37.0, 200)
SERIES = """() => Object.fromEntries(rodbench.chart("strokes-1").getOption().series
  .map(s => [s.name, [s.lineStyle.type, s.data.filter(p => p[0] != null)]]))"""


def kept(name: str, kind: str, way: int, amps: float) -> runs.Stroke:
    """A stroke at one current, at rest before and after."""
    places = PLACES[::way]
    drive = np.full(len(places), 800.0 * way)
    drive[[0, -1]] = 0.0
    current = np.where(drive != 0, amps, 0.0)
    facts = {"kind": kind, "way": way}
    columns = (np.arange(len(places)) * 0.01, places, current, drive, np.full(len(places), 12.4))
    return runs.Stroke(name, facts, *columns)


def write_run(folder: Path, rod: str, out_a: float, back_a: float) -> str:
    """A whole run; its name."""
    writer = runs.Writer(folder)
    for stroke in (
        kept("extend-1", "move", 1, out_a),
        kept("retract-1", "move", -1, back_a),
        kept("extend-run-1", "run", 1, 9.0),
    ):
        writer.stroke(stroke)
    writer.finish(axis=1, rod=rod, settings=1, conditions={}, required=[])
    return writer.name


@pytest.fixture(scope="module")
def served(bench: PageBench) -> PageBench:
    """A page beside two runs, of which the older is the baseline."""
    name = write_run(bench.folder, "north", 1.25, 1.5)
    runs.set_baseline(bench.folder, 1, name)
    write_run(bench.folder, "north", 4.0, 4.0)
    bench.to_the_middle()
    bench.serve_page()
    return bench


def drawn(page: Page) -> dict[str, tuple[object, list[list[float]]]]:
    """Dash and points of each line of the chart under the ruler."""
    page.wait_for_function("rodbench.chart('strokes-1')?.getOption().series[0].data.length")
    return dict(page.evaluate(SERIES))


def amps(page: Page, line: str) -> set[float]:
    """Currents along one of the lines."""
    return {round(point[1], 2) for point in drawn(page)[line][1]}


def test_the_baseline_is_dashed_and_of_the_same_way(page: Page, served: PageBench) -> None:
    assert drawn(page)["baseline"][0] == "dashed"
    assert amps(page, "baseline") == {1.25, 1.5}  # nothing has moved yet: both ways
    places = [point[0] for point in drawn(page)["baseline"][1]]
    assert 3.0 < min(places) < 4.0 < 36.0 < max(places) < 37.0  # the rest is left out
    reached(page, served, "30 mm")
    wait_for(lambda: page.wait_for_timeout(50) or amps(page, "baseline") == {1.25}, what="its way")
    assert drawn(page)["this stroke"][1]


def reached(page: Page, bench: PageBench, place: str) -> None:
    """A move by the page, seen on its ruler; begun anew where a busy computer was late."""
    mm = float(place.split()[0])
    for _ in range(TRIES):
        page.get_by_role("textbox", name="Move north to").fill(place)
        page.get_by_role("button", name="Move", exact=True).click()
        page.wait_for_selector(".ruler .target", state="attached")
        said = page.locator("[role=status]").inner_text()
        bench.settle()
        page.wait_for_selector(".ruler .target", state="detached")
        if abs(bench.position_mm - mm) < 1.0:
            assert f"to {mm:.1f} mm" in said
            return
        if page.get_by_role("button", name="Clear").is_visible():
            page.get_by_role("button", name="Clear").click()
            page.get_by_role("button", name="Clear").wait_for(state="hidden")
    raise AssertionError(f"the rod does not come to {place}")


def test_a_baseline_that_does_not_hold_is_told_and_left_out(tmp_path: Path) -> None:
    assert baseline.strokes(tmp_path, {1: "north", 2: None}) == ({}, [])
    name = write_run(tmp_path, "north", 1.0, 1.0)
    assert baseline.strokes(tmp_path, {1: "north"}) == ({}, [])
    runs.set_baseline(tmp_path, 1, name)
    found, told = baseline.strokes(tmp_path, {1: "north"})
    assert [stroke.way for stroke in found[1]] == [1, -1]
    assert not told
    found, (line,) = baseline.strokes(tmp_path, {1: "south"})
    assert not found
    assert "of the rod north" in line
    (tmp_path / runs.FOLDER / name / "extend-1.csv").write_text("t_s\n")
    found, (line,) = baseline.strokes(tmp_path, {1: "north"})
    assert not found
    assert "not as it was written" in line
