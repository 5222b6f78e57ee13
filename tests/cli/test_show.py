"""What a person sees: the live view, tables, plots, and the list of ports."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.board import AxisSample, BoardSample, Event
from rodbench.cli import ports
from rodbench.cli.talk import folded
from rodbench.link import holders
from rodbench.settings.units import Units
from rodbench.show.live import View
from rodbench.show.live_bars import BAR, position_bar
from rodbench.show.run import Recorder
from rodbench.show.words import ended, fault_sentence, state
from rodbench_protocol.names import AxisState, EventKind, Fault
from rodbench_protocol.schema import load_schema
from rodbench_protocol.settings import defaults

from tests.cli.conftest import Bench
from tests.cli.drawings import drawn

AXIS = {
    **defaults("axis"),
    "feedback": 1,
    "calibrated": 1,
    "stroke_um": 200_000,
    "soft_stop_min_um": 10_000,
    "soft_stop_max_um": 190_000,
    "trip_ma": 3000,
}
NO_AXIS = defaults("axis")


def sample(**changes: Any) -> AxisSample:
    known: dict[str, Any] = {
        "tick": 100, "axis": 1, "state": AxisState.MOVE, "raw": 4000, "position_mm": 100.0,
        "speed_mm_s": 8.0, "speed_raw_s": None, "reference_mm": 101.0, "current_a": 1.5,
        "output": 0.8, "faults": 0, "duty_used": 0.5, "motion": 1, "calibrated": True,
        "proven": True, "outside": False, "held_back": False, "braking": False,
    }  # fmt: skip
    return AxisSample(**(known | changes))


def view(units: str = "mm", **changes: Any) -> str:
    shown = View({0: defaults("board"), 1: AXIS, 2: NO_AXIS}, {1: "north"}, Units(units))
    shown.take(sample(**changes))
    shown.take(sample(axis=2, state=AxisState.NOT_FITTED, position_mm=None))
    shown.take(BoardSample(100, 12.41, None, 0, 0, (0, 0), (65.0, 300.0), 0, 0))
    lines = shown.lines()
    assert all(len(line) <= 80 for line in lines)
    return "\n".join(lines)


def test_the_view_says_where_the_rod_is_and_what_it_may() -> None:
    text = view()
    assert 'Axis 1 "north"' in text
    assert "move" in text
    assert "duty used 50 %, 1 min 05 s left" in text
    assert "100.0 mm" in text
    assert "1.50 A of 3" in text
    assert "Axis 2" not in text  # not fitted: it raises nothing and is not shown


def test_the_view_in_inches() -> None:
    assert "3.937 in" in view("in")
    assert " mm" not in view("in")


def test_faults_are_sentences_with_what_to_do() -> None:
    text = view(faults=1 << (Fault.NO_CURRENT - 1), state=AxisState.FAULT)
    assert "no current: output on, hardly any current." in text
    assert "rodbench clear 1" in text.replace("\n    ", " ")


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"outside": True}, "only the way back is open"),
        ({"held_back": True}, "A soft stop holds the motion back"),
        ({"proven": False}, "the first motion goes at creep"),
        ({"duty_used": 1.0}, "The duty budget is spent"),
        ({"position_mm": None, "calibrated": False}, "not calibrated, raw 4000"),
    ],
)
def test_remarks(changes: dict[str, Any], text: str) -> None:
    assert text in view(**changes)


def test_the_bar_puts_rod_and_soft_stops_to_scale() -> None:
    bar = position_bar(100.0, 200.0, 10.0, 190.0)
    assert len(bar) == BAR
    assert abs(bar.index("#") - (BAR - 1) / 2) <= 1
    assert bar.index("[") == round(10 / 200 * (BAR - 1))
    assert bar.index("]") == round(190 / 200 * (BAR - 1))
    for position in (-5.0, 0.0, 200.0, 230.0):
        assert len(position_bar(position, 200.0, 10.0, 190.0)) == BAR


def test_every_fault_state_and_ending_has_words() -> None:
    schema = load_schema()
    for fault in schema.enums["fault"].values:
        assert "a guard tripped" not in fault_sentence(fault.name, 1), fault.name
    for choice in schema.enums["ended"].values:
        assert not ended(choice.value).startswith("ended ("), choice.name
    for choice in schema.enums["axis_state"].values:
        assert state(choice.value) == choice.name.replace("_", " ")


def test_the_picture_has_units_trip_and_events_and_no_colour(tmp_path: Path) -> None:
    import matplotlib.colors

    run = Recorder(SimpleNamespace(listeners=[]), 1)  # type: ignore[arg-type]
    for tick in range(200):
        run.hear(sample(tick=tick, position_mm=50.0 + tick / 10, reference_mm=51.0 + tick / 10))
    run.hear(Event(150, 1, 1, EventKind.TRIP, Fault.STALL, 0, 65.0, 1.0, 0.5, 0, 0))
    figure = drawn(run, tmp_path / "a.png", AXIS, "in")
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    top, middle, bottom = figure.axes
    assert [a.get_ylabel() for a in (top, middle, bottom)] == [
        "position, in", "current, A", "output, %",
    ]  # fmt: skip
    assert bottom.get_xlabel() == "time, s"
    texts = [t.get_text() for a in figure.axes for t in a.texts]
    assert {"trip 3 A", "trip: stall", "upper soft stop", "lower soft stop"} <= set(texts)
    for line in (line for a in figure.axes for line in a.lines):
        red, green, blue = matplotlib.colors.to_rgb(line.get_color())
        assert red == green == blue, "told apart without colour"
    assert top.lines[2].get_ydata()[0] == pytest.approx(50.0 / 25.4)


def listed(monkeypatch: pytest.MonkeyPatch, device: Path) -> list[dict[str, Any]]:
    from serial.tools import list_ports

    port = SimpleNamespace(device=str(device), description="a bridge", hwid="USB")
    monkeypatch.setattr(list_ports, "comports", lambda: [port])
    return ports.list_ports()


def test_ports_names_the_group_that_has_the_port(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    device = tmp_path / "ttyUSB0"
    device.touch(0o660)
    monkeypatch.setattr(ports.os, "access", lambda path, mode: False)
    found = listed(monkeypatch, device)[0]
    assert found["usable"] is False
    assert found["why"] == "no permission"
    assert "usermod -aG" in found["try"]
    device.chmod(0o600)
    assert "udev" in listed(monkeypatch, device)[0]["try"]


def test_ports_names_who_holds_the_port(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    device = tmp_path / "ttyUSB0"
    device.touch()
    monkeypatch.setattr(holders, "find", lambda path: [holders.Holder(4711, "terminal program")])
    found = listed(monkeypatch, device)[0]
    assert found["why"] == "held by terminal program (process 4711)"
    assert not found["usable"]


def test_no_port_at_all_says_so(bench: Bench) -> None:
    code = (
        "from serial.tools import list_ports\nlist_ports.comports = lambda: []\n"
        "from rodbench.cli.main import run\nrun(['ports'])\n"
    )
    import subprocess
    import sys

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 3
    assert done.stderr.startswith("error: there is no serial port on this computer\n")


@given(st.text("ab  ", max_size=300))
def test_folding_keeps_every_word_and_the_width(text: str) -> None:
    parts = folded(text)
    assert " ".join(parts).split() == text.split()
    assert all(len(part) <= 80 or " " not in part.strip() for part in parts)


def test_a_folded_line_goes_on_below_its_last_column() -> None:
    head = "  trip    3.40 A     "  # 21 columns: twelve words of four letters fit in the rest
    assert folded(head + "abcd " * 14 + "end") == [
        head + " ".join(["abcd"] * 12),
        " " * len(head) + "abcd abcd end",
    ]


def test_watch_to_a_pipe_gives_the_last_view(bench: Bench) -> None:
    bench.run("settings", "push")
    text = bench.run("watch", "--for", "1 s").stdout
    assert text.splitlines()[0].endswith("nobody commands")
    assert text.splitlines()[2].startswith('Axis 1 "north"')
    assert "not calibrated, raw" in text


def test_demo_replaces_the_folder_of_an_earlier_demo(bench: Bench) -> None:
    (bench.folder / "ridge-vent").mkdir()
    (bench.folder / "ridge-vent" / "demo.txt").touch()
    done = bench.run("demo", timeout_s=600)
    assert "made anew" in done.stderr
    assert "quick: does not fit: force: it is rated for 180 N" in done.stderr
    assert "these rods would do it: from-24-V, even, strong" in done.stdout
    assert "end at                 203.0 mm       0.0 mm" in done.stdout
    folder = bench.folder / "ridge-vent"
    assert (folder / "size.png").read_bytes().startswith(b"\x89PNG")
    assert (folder / "move.png").read_bytes().startswith(b"\x89PNG")
    kinds = [
        json.loads(line)["kind"]
        for line in (folder / "logbook" / "log.jsonl").read_text().splitlines()
    ]
    assert kinds[0] == "new"
    assert kinds.count("commission") == 2
    learned = kinds[kinds.index("move") + 1 : kinds.index("baseline") + 1]
    assert learned == ["calibrate linearity", "learned", "measure motor", "proof", "baseline"]
    assert kinds[-7:] == ["commission", "level", "move", "trip", "clear", "proof", "level"]
    assert "a proof of axis 1: passed" in done.stdout
    assert "6 points, in force" in done.stderr
    stall = done.stdout.split("stall by its motor's figures: ")[1].splitlines()[0]
    best, half = (float(one) for one in stall.removesuffix(" A").split(" +-"))
    assert abs(best - 12.43 / 2.08) <= half + 0.05 * best  # 2 ohm, warm by 10 K, no meter reading
    assert "a jam: axis 2 stopped at" in done.stdout
    visit = done.stdout.split("a later visit: ")[1].splitlines()[0]
    place = float(visit.removeprefix("Binding near ").split(" mm")[0])
    assert 130.0 <= place <= 150.0
    assert len([one for one in visit.split(". ") if "more" in one]) == 1, "and nothing besides"
    assert "Trip log: trip 1, axis 2: over current" in done.stderr
    for name in ("linearity", "trip", "compare"):
        assert (folder / f"{name}.png").read_bytes().startswith(b"\x89PNG")
    gang = (folder / "machine.toml").read_text("utf-8").split("[gang]")[1]
    assert "axes = [1, 2]" in gang
    check = bench.run("settings", "check", "-m", str(folder / "machine.toml"))
    assert "holds: settings" in check.stdout
    digest = check.stdout.split("settings ")[1][:8]
    assert all(
        digest in (folder / page).read_text("utf-8") for page in ("report.html", "card.html")
    )
    assert "</svg>" in (folder / "wiring.svg").read_text("utf-8")
