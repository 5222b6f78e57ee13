"""A recording gives back what was taken, in its order and under its settings."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rodbench.board import AxisSample, BoardSample, Event
from rodbench.record import layout
from rodbench.record.recording import Recording
from rodbench_protocol.names import AxisTelemetry, BoardTelemetry
from rodbench_protocol.names import Event as WireEvent
from rodbench_protocol.schema import load_schema

from tests.record.bench import FakeBoard, recorder, sample, telemetry, two_axes

KINDS = {
    "telemetry_axis": AxisTelemetry,
    "telemetry_board": BoardTelemetry,
    "event": WireEvent,
}


@st.composite
def frames(draw):
    """A frame with any values that fit its fields."""
    name = draw(st.sampled_from(sorted(KINDS)))
    values = {"counter": draw(st.integers(0, 255))}
    for field in load_schema().messages[name].body.fields:
        bits = 8 * field.size
        low, high = (
            (-(1 << bits - 1), (1 << bits - 1) - 1)
            if field.type[0] == "i"
            else (0, (1 << bits) - 1)
        )
        values[field.name] = draw(st.integers(low, high))
    if name == "telemetry_axis":
        values["axis"] = draw(st.integers(1, 2))
        values["flags"] = draw(st.integers(0, 31)) | draw(st.sampled_from([0, 0x20, 0x40, 0x80]))
    return KINDS[name](**values)


@given(st.lists(st.tuples(frames(), st.floats(0.0, 0.4)), max_size=40))
@settings(max_examples=60, deadline=None)
def test_any_samples_come_back_as_they_were_and_in_order(taken):
    board = FakeBoard()
    with tempfile.TemporaryDirectory() as folder:
        recording = recorder(Path(folder), board)
        for wire, pause in taken:
            board.clock.sleep(pause)
            recording.take(sample(wire), board.clock.now())
        found = list(Recording.open(recording.close()).samples())
    assert found == [sample(wire) for wire, _ in taken]
    assert [s.counter for s in found] == [wire.counter for wire, _ in taken]


@given(st.lists(st.lists(st.integers(0, 2**32 - 1), min_size=5, max_size=5), min_size=1))
def test_tables_of_any_words_come_back(rows):
    words = np.array(rows, np.uint32)
    assert (layout.unpack_table(layout.pack_table(words), 5, len(rows)) == words.T).all()


def test_a_run_of_two_axes_is_there_whole(tmp_path: Path):
    board, clock, _ = two_axes()
    taken: list[AxisSample | BoardSample | Event] = []
    with board:
        board.subscribe(0.01, 0.1)
        recording = recorder(tmp_path, board)
        motions = [board.axis(1).move(70.0), board.axis(2).move(20.0)]
        while clock.now() < 12.0:
            for seen in board.pump(0.02):
                recording.take(seen, clock.now())
                taken.append(seen)
            recording.tend()
    del motions
    read = Recording.open(recording.close())
    assert list(read.samples()) == taken
    assert not read.gaps
    assert not read.repaired
    assert read.ended == "asked to"
    assert read.events() == [s for s in taken if isinstance(s, Event)]
    assert 2 in {event.axis for event in read.events()}
    position = read.axis(1, ["t_s", "position_mm"], 1.0, 2.0)
    truth = [s for s in taken if isinstance(s, AxisSample) and s.axis == 1]
    start = min(s.tick for s in taken if not isinstance(s, Event))
    wanted = [s.position_mm for s in truth if 1.0 <= (s.tick - start) * 0.005 <= 2.0]
    assert position["position_mm"].tolist() == wanted
    assert position["t_s"][0] == pytest.approx(1.0, abs=0.011)


def test_the_header_says_what_was_in_force(tmp_path: Path):
    board = FakeBoard()
    read = Recording.open(recorder(tmp_path, board, name="free run / no load").close())
    assert read.path.name == "2026-05-04T10-11-12Z-free-run-no-load.rodrec"
    assert read.header["machine"] == "test"
    assert read.header["rods"] == {"1": "north", "2": None}
    assert read.header["digest"] == "ABCD1234"
    assert read.header["scopes"]["1"]["stroke_um"] == 100_000
    assert read.header["hello"]["name"] == "made up"
    assert read.settings[0].digest == "ABCD1234"


def test_new_settings_are_noted_with_their_digest(tmp_path: Path):
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    for number in range(300):
        board.clock.sleep(0.01)
        if number == 150:
            board.live = 0x00001111
            board.values = {**board.values, 1: {**board.values[1], "trip_ma": 3500}}
        recording.take(sample(telemetry(number, 2 * number)), board.clock.now())
        recording.tend()
    first, second = Recording.open(recording.close()).settings
    assert (first.digest, second.digest) == ("ABCD1234", "00001111")
    assert (first.scopes[1]["trip_ma"], second.scopes[1]["trip_ma"]) == (4000, 3500)
    assert 1.5 <= second.t_s <= 2.6


def test_two_begun_in_the_same_second_have_two_names(tmp_path: Path):
    board = FakeBoard()
    one, other = recorder(tmp_path, board), recorder(tmp_path, board)
    assert one.close() != other.close()


def test_uncalibrated_positions_are_no_numbers(tmp_path: Path):
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    for number in range(10):
        wire = telemetry(number, number, flags=number % 2, position_um=number * 1000)
        recording.take(sample(wire), board.clock.now())
    position = Recording.open(recording.close()).axis(1, ["position_mm"])["position_mm"]
    assert np.isnan(position[::2]).all()
    assert position[1::2].tolist() == [1.0, 3.0, 5.0, 7.0, 9.0]


@pytest.mark.parametrize("name", ["n" * 300, "\U00020000" * 60, "../../x", "\udcff", "a\nb"])
def test_any_name_gives_a_file_in_the_logbook(tmp_path: Path, name: str):
    path = recorder(tmp_path, FakeBoard(), name).close()
    assert path.parent == tmp_path / "recordings"
    assert Recording.open(path).ended == "asked to"


def test_a_program_that_stood_still_for_hours_goes_on(tmp_path: Path):
    """A block's times reach over little more than an hour."""
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    for number, tick in enumerate((0, 2, 4, 2_000_000)):
        board.clock.sleep(0.01 if tick < 9 else 10_000.0)
        recording.take(sample(telemetry(number, tick)), board.clock.now())
    read = Recording.open(recording.close())
    assert read.frames == 4
    assert read.duration_s == pytest.approx(10_000.0)
