"""Files that are cut, changed, of another kind or of another version: refused, or read with words;
never silently wrong."""

from __future__ import annotations

import random
import struct
import zlib
from datetime import timedelta
from pathlib import Path

import pytest
from rodbench.record import layout
from rodbench.record.layout import RecordingError
from rodbench.record.recorder import Recorder
from rodbench.record.recording import Recording

from tests.record.bench import BEGUN, FakeBoard, recorder, sample, telemetry

FRAMES = 180


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> bytes:
    """A recording of a few blocks."""
    board = FakeBoard()
    recording = recorder(tmp_path_factory.mktemp("whole"), board)
    rng = random.Random(3)
    for number in range(FRAMES):
        board.clock.sleep(0.01)
        wire = telemetry(number, 2 * number, position_um=rng.randrange(100_000), raw=number)
        recording.take(sample(wire), board.clock.now())
    return recording.close().read_bytes()


def raws(recording: Recording) -> list[int]:
    return [s.raw for s in recording.samples()]


def ends(data: bytes) -> list[int]:
    """Where each block ends, by the words of RECORDING.md alone."""
    place = 20 + struct.unpack_from("<I", data, 12)[0]
    found = [place]
    while place < len(data):
        place += 68 + struct.unpack_from("<I", data, place + 8)[0]
        found.append(place)
    return found


def test_every_length_that_a_cut_can_leave(whole: bytes, tmp_path: Path) -> None:
    path = tmp_path / "cut.rodrec"
    places = ends(whole)
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        if length < places[0]:
            with pytest.raises(RecordingError):
                Recording.open(path)
            continue
        read = Recording.open(path)
        kept = max(place for place in places if place <= length)
        assert read.whole_bytes == kept
        assert bool(read.repaired) == (length != kept)
        assert not read.gaps
        assert not read.ended
        found = raws(read)
        assert found == list(range(len(found)))
    path.write_bytes(whole)
    assert len(raws(Recording.open(path))) == FRAMES


def test_every_bit_flipped_is_refused_or_told(whole: bytes, tmp_path: Path) -> None:
    path = tmp_path / "flipped.rodrec"
    header = ends(whole)[0]
    rng = random.Random(4)
    for place in [*range(header, len(whole)), *rng.sample(range(header), 200)]:
        changed = bytearray(whole)
        changed[place] ^= 1 << rng.randrange(8)
        path.write_bytes(changed)
        if place < header:
            with pytest.raises(RecordingError):
                Recording.open(path)
            continue
        read = Recording.open(path)
        found = raws(read)
        lost = FRAMES - len(found)
        assert lost > 0 or not read.ended
        assert found == [n for n in range(FRAMES) if n in set(found)]
        assert read.repaired or (read.gaps and read.gaps[0].why == "damaged in the file")
        if read.gaps and read.gaps[0].missed is not None:
            assert read.gaps[0].missed == lost


def test_a_block_that_is_gone_and_its_length_with_it(whole: bytes, tmp_path: Path) -> None:
    """Behind damage the next block is found again, and what is missing is counted."""
    places = ends(whole)
    path = tmp_path / "hole.rodrec"
    path.write_bytes(whole[: places[1]] + whole[places[2] :])
    read = Recording.open(path)
    (gap,) = read.gaps
    assert gap.missed == FRAMES - len(raws(read))
    assert gap.why == "damaged in the file"
    path.write_bytes(whole[: places[1]] + bytes(500) + whole[places[2] :])
    assert Recording.open(path).gaps == read.gaps


def test_two_blocks_changed_over_are_no_order_of_time(whole: bytes, tmp_path: Path) -> None:
    """A file put together anew is no recording: what does not go on in order is told."""
    at = ends(whole)
    path = tmp_path / "changed_over.rodrec"
    path.write_bytes(whole[: at[1]] + whole[at[2] : at[3]] + whole[at[1] : at[2]] + whole[at[3] :])
    assert Recording.open(path).gaps


def test_a_block_that_swells_is_refused(whole: bytes, tmp_path: Path) -> None:
    """Its check sum holds, and a kilobyte would become a gigabyte."""
    bomb = zlib.compress(bytes(50_000_000), 9)
    head = layout.Head(0, len(bomb), zlib.crc32(bomb), (1, 0, 0), 0, 0)
    path = tmp_path / "swells.rodrec"
    path.write_bytes(whole[: ends(whole)[0]] + head.pack() + bomb)
    with pytest.raises(RecordingError, match="not what its head says"):
        raws(Recording.open(path))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "nothing was recorded"),
        (b"rodr", "nothing was recorded"),
        (b"t_s,position_mm\n0,1\n", "is no recording"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "is no recording"),
        (b"rodrec\n" + bytes(100), "is no recording"),  # line ends changed on the way
        (struct.pack("<8sHHII", layout.MAGIC, 2, 0, 4, 0) + b"{}  ", "of version 2"),
        (struct.pack("<8sHHII", layout.MAGIC, 1, 0, 2, zlib.crc32(b"{}")) + b"{}", "lacks"),
        (struct.pack("<8sHHII", layout.MAGIC, 1, 0, 2, zlib.crc32(b"[]")) + b"[]", "lacks"),
        (struct.pack("<8sHHII", layout.MAGIC, 1, 0, 2**31, 0), "damaged or cut off"),
    ],
)
def test_what_is_no_recording_is_refused(content: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "other.rodrec"
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=words):
        Recording.open(path)
    assert path.read_bytes() == content


def test_a_folder_and_a_file_that_is_not_there(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.rodrec"):
        with pytest.raises(RecordingError):
            Recording.open(path)


def test_going_on_cuts_a_torn_tail_and_marks_the_gap(whole: bytes, tmp_path: Path) -> None:
    places = ends(whole)
    path = tmp_path / "torn.rodrec"
    path.write_bytes(whole[: places[-2] - 7])
    board = FakeBoard()
    begun = board.clock.now()
    again, words = Recorder.resume(
        path, board, now=lambda: BEGUN + timedelta(seconds=60 + board.clock.now() - begun)
    )  # fmt: skip
    assert "no whole block" in words
    for number in range(100):
        board.clock.sleep(0.01)
        wire = telemetry(number, 5000 + 2 * number, raw=1000 + number)
        again.take(sample(wire), board.clock.now())
    read = Recording.open(again.close())
    found = raws(read)
    kept = [raw for raw in found if raw < 1000]
    assert kept == list(range(len(kept)))
    assert found[len(kept) :] == list(range(1000, 1100))
    (gap,) = read.gaps
    assert gap.why == "the recording was gone on with"
    assert gap.start_s == pytest.approx(0.01 * (len(kept) - 1))
    assert gap.end_s == pytest.approx(60.01, abs=0.02)  # by the date
    assert not read.repaired
    assert read.path.read_bytes()[: places[-3]] == whole[: places[-3]]


def test_one_of_another_version_is_read_but_not_gone_on_with(tmp_path: Path, monkeypatch) -> None:
    """Rows of two widths in one file could not be told apart."""
    columns = layout.columns
    monkeypatch.setattr(
        layout, "columns", lambda t: tuple(c for c in columns(t) if c[0] != "also")
    )  # fmt: skip
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    monkeypatch.setattr(layout, "columns", columns)
    recording.close()
    path = recording.path
    before = path.read_bytes()
    assert "also" not in Recording.open(path).header["columns"]["axis"]
    with pytest.raises(RecordingError, match="other columns"):
        Recorder.resume(path, board)
    assert path.read_bytes() == before


def test_reading_changes_nothing(whole: bytes, tmp_path: Path) -> None:
    path = tmp_path / "torn.rodrec"
    path.write_bytes(whole[:-3])
    path.chmod(0o400)
    assert Recording.open(path).repaired
    assert path.read_bytes() == whole[:-3]


def test_one_that_is_being_written_is_not_gone_on_with(tmp_path: Path) -> None:
    """Two in one file would write over each other's blocks."""
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    recording.take(sample(telemetry(1, 2, raw=7)), board.clock.now())
    with pytest.raises(RecordingError, match="another program is recording"):
        Recorder.resume(recording.path, board)
    recording.close()
    Recorder.resume(recording.path, board)[0].close()
    assert raws(Recording.open(recording.path)) == [7]
