"""What a picture of a recording shows: peaks stay, gaps are not bridged, what was set is drawn."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from rodbench.errors import UsageError
from rodbench.record.recording import Recording
from rodbench.settings.units import Units
from rodbench.show import curve as curves
from rodbench.show import position_plot, recording_plot
from rodbench.show.curve import Curve
from rodbench_protocol.names import EventKind

from tests.record.bench import FakeBoard, event, recorder, sample, telemetry

# A layout that does not come out is a warning of matplotlib.
pytestmark = pytest.mark.filterwarnings("error")
EVERYTHING = (-math.inf, math.inf)


def thinned(y: np.ndarray, breaks: tuple[float, ...] = (), most: int = 400, piece: int = 777):
    x = np.arange(len(y)) * 0.01
    made = Curve(len(y), breaks, most)
    for at in range(0, len(y), piece):
        made.add(x[at : at + piece], y[at : at + piece])
    return made.points()


@pytest.mark.parametrize("piece", [1, 300, 50_000])
def test_peaks_stay_and_points_are_few(piece: int, monkeypatch) -> None:
    monkeypatch.setattr(curves, "PIECE", 5000)
    y = np.random.default_rng(1).normal(0.0, 0.1, 20_000)
    y[12_345], y[3_210] = 9.0, -9.0
    x, shown = thinned(y, piece=piece)
    assert len(x) < 700
    assert x[np.nanargmax(shown)] == pytest.approx(123.45)
    assert x[np.nanargmin(shown)] == pytest.approx(32.10)
    assert not np.isnan(shown).any()


@pytest.mark.parametrize("piece", [7, 100, 5000])
def test_the_line_is_broken_where_something_is_missing(piece: int) -> None:
    y = np.ones(1000)
    y[400:500] = np.nan
    x, shown = thinned(y, breaks=(2.0,), most=5000, piece=piece)
    empty = x[np.isnan(shown)]
    assert empty == pytest.approx([2.0, 3.99])
    assert np.isfinite(shown).sum() == 900


def test_no_point_is_made_up() -> None:
    y = np.sin(np.arange(30_000) / 500)
    _, shown = thinned(y)
    assert set(shown[np.isfinite(shown)]) <= set(y)


@pytest.fixture
def drawn(monkeypatch) -> list[Figure]:
    """The figures, as they are written."""
    kept: list[Figure] = []
    write = Figure.savefig

    def keep(figure: Figure, *args: Any, **more: Any) -> None:
        kept.append(figure)
        write(figure, *args, **more)

    monkeypatch.setattr(Figure, "savefig", keep)
    return kept


class Strokes:
    """A rod that goes out and in for some time, at 100 Hz."""

    def __init__(self, folder: Path) -> None:
        self.board = FakeBoard()
        self.recorder = recorder(folder, self.board)
        self.number = 0

    def go(self, seconds: float, taken: bool = True, **fields: int) -> None:
        for _ in range(round(seconds * 100)):
            self.board.clock.sleep(0.01)
            phase = self.number % 1000 / 500 - 1.0
            wire = {"position_um": round(10_000 + 80_000 * (1 - abs(phase))), "flags": 1}
            wire |= {"output_permille": 800 if phase < 0 else -800, "current_ma": 1300, **fields}
            if taken:
                seen = telemetry(self.number, 2 * self.number, **wire)
                self.recorder.take(sample(seen), self.board.clock.now())
            self.number += 1
        self.recorder.tend()

    def trip(self) -> None:
        seen = event(self.number, 2 * self.number, axis=1, kind=EventKind.TRIP, cause=6)
        self.recorder.take(sample(seen), self.board.clock.now())
        self.number += 1

    def read(self) -> Recording:
        return Recording.open(self.recorder.close())


def words(figure: Figure) -> str:
    return " ".join(text.get_text() for axes in figure.axes for text in axes.texts)


def test_a_gap_is_shaded_and_no_curve_crosses_it(tmp_path: Path, drawn: list[Figure]) -> None:
    run = Strokes(tmp_path)
    run.go(10.0)
    run.go(4.0, taken=False)
    run.go(6.0)
    recording_plot.plot_recording(run.read(), tmp_path / "a.png", [1], *EVERYTHING, Units())
    (figure,) = drawn
    for axes in figure.axes:
        spans = [p.get_extents().transformed(axes.transData.inverted()) for p in axes.patches]
        assert [(round(s.x0, 1), round(s.x1, 1)) for s in spans] == [(10.0, 14.0)]
        for line in axes.lines:
            x, y = (np.asarray(part, float) for part in line.get_data())
            if len(x) < 20:
                continue  # a setting, which holds all the time
            jump = np.nonzero(np.diff(x) > 1.0)[0]
            assert len(jump) == 1
            assert np.isnan(y[jump[0]])
    assert "gap: frames did not come" in words(figure)
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")


def test_what_was_set_and_what_happened_is_told(tmp_path: Path, drawn: list[Figure]) -> None:
    run = Strokes(tmp_path)
    run.go(5.0)
    run.board.live = 7
    run.board.values = {**run.board.values, 1: {**run.board.values[1], "trip_ma": 2500}}
    run.go(5.0)
    run.trip()
    run.go(1.0)
    recording_plot.plot_recording(run.read(), tmp_path / "a.svg", [1], *EVERYTHING, Units("in"))
    (figure,) = drawn
    labels = [axes.get_ylabel() for axes in figure.axes]
    assert labels == ["position, in", "current, A", "output, %", "duty used, %"]
    assert "trip\n4 A" in words(figure)
    assert "trip: " in words(figure)
    limits = [line for line in figure.axes[1].lines if line.get_linestyle() == "-."]
    assert limits[0].get_ydata().tolist() == [4.0, 4.0, 2.5, 2.5]
    assert figure.axes[-1].get_xlabel() == "board time, s"
    assert (tmp_path / "a.svg").read_text().startswith("<?xml")


def test_many_events_are_marks_and_trips_words(tmp_path: Path, drawn: list[Figure]) -> None:
    run = Strokes(tmp_path)
    for _ in range(40):
        run.go(0.2)
        seen = event(run.number, 2 * run.number, axis=1, kind=EventKind.MOTION_ENDED, cause=1)
        run.recorder.take(sample(seen), run.board.clock.now())
        run.number += 1
    run.trip()
    run.go(0.1)
    recording_plot.plot_recording(run.read(), tmp_path / "a.png", [1], *EVERYTHING, Units())
    assert "events: 41 (marks below), trips: 1" in words(drawn[0])
    assert words(drawn[0]).count("trip: ") == 1


def test_against_position_each_way_by_itself(tmp_path: Path, drawn: list[Figure]) -> None:
    run = Strokes(tmp_path)
    run.go(20.0)
    run.go(5.0, current_ma=1900)  # the third way out draws more
    position_plot.plot_positions(run.read(), tmp_path / "a.png", [1], *EVERYTHING, Units())
    out, back = drawn[0].axes
    assert out.get_ylabel() == "current, A, extending"
    newest = {
        axes: next(ln for ln in axes.lines if ln.get_label() == "newest") for axes in (out, back)
    }
    assert set(np.asarray(newest[out].get_ydata()).tolist()) == {1.9}
    assert set(np.asarray(newest[back].get_ydata()).tolist()) == {1.3}
    assert np.ptp(newest[out].get_xdata()) == pytest.approx(80.0, abs=1.0)
    assert "all 3 strokes" in [text.get_text() for text in out.get_legend().get_texts()]
    assert "all 2 strokes" in [text.get_text() for text in back.get_legend().get_texts()]


def test_a_rod_whose_place_is_not_known(tmp_path: Path, drawn: list[Figure]) -> None:
    run = Strokes(tmp_path)
    run.go(3.0, flags=0, raw=4000)
    read = run.read()
    recording_plot.plot_recording(read, tmp_path / "a.png", [1], *EVERYTHING, Units())
    assert drawn[0].axes[0].get_ylabel() == "pot, raw (uncalibrated)"
    with pytest.raises(UsageError, match="nothing to draw against it"):
        position_plot.plot_positions(read, tmp_path / "b.png", [1], *EVERYTHING, Units())


def test_nothing_to_draw(tmp_path: Path) -> None:
    read = Recording.open(recorder(tmp_path, FakeBoard()).close())
    with pytest.raises(UsageError, match="no sample"):
        recording_plot.plot_recording(read, tmp_path / "a.png", [1], *EVERYTHING, Units())
