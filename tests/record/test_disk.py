"""A disk that is full, a file that may grow no further, a folder that must not be written."""

from __future__ import annotations

import errno
import json
import os
import resource
import shutil
import signal
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from rodbench.record.layout import RecordingError
from rodbench.record.recorder import Recorder
from rodbench.record.recording import Recording

from tests.record.bench import FakeBoard, recorder, sample, telemetry

NOBODY = 65534


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user reaches."""
    folder = Path(tempfile.mkdtemp(prefix="rodbench-record-"))
    folder.chmod(0o777)
    yield folder
    shutil.rmtree(folder)


def in_child(work: Callable[[], object]) -> object:
    """What it returns, or the words of its RecordingError, from a process of its own."""
    read, write = os.pipe()
    child = os.fork()
    if not child:
        try:
            told = ["done", work()]
        except RecordingError as error:
            told = ["error", error.message, error.kept, error.hint]
        except BaseException as error:
            told = ["other", repr(error)]
        os.write(write, json.dumps(told).encode())
        os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        told = json.loads(pipe.read())
    os.waitpid(child, 0)
    return told


def feed(recording: Recorder, board: FakeBoard, first: int, count: int) -> None:
    for number in range(first, first + count):
        board.clock.sleep(0.01)
        wire = telemetry(number, 2 * number, raw=number * 7919 % 8000, motion=number)
        recording.take(sample(wire), board.clock.now())


def test_a_file_that_may_grow_no_further_stays_whole(open_folder: Path) -> None:
    def work() -> None:
        board = FakeBoard()
        recording = recorder(open_folder, board)
        feed(recording, board, 0, 200)
        recording.flush()
        limit = recording.size + 100  # in the middle of the next block
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        feed(recording, board, 200, 200)

    kind, message, kept, hint = in_child(work)
    assert kind == "error"
    assert "File too large" in message
    assert kept == "what was recorded before is whole and can be read"
    assert hint
    (path,) = open_folder.glob("recordings/*.rodrec")
    read = Recording.open(path)
    assert not read.repaired
    assert [s.motion for s in read.samples()] == list(range(200))


def full(monkeypatch, after: int) -> None:
    """A disk with room for so many bytes; it takes the part of a write that fits."""
    write, left = os.write, [after]

    def limited(handle: int, data: bytes) -> int:
        if handle < 3:
            return write(handle, data)
        if left[0] <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        done = write(handle, bytes(data)[: left[0]])
        left[0] -= done
        return done

    monkeypatch.setattr(os, "write", limited)


def test_a_full_disk_is_told_and_all_before_it_is_there(tmp_path: Path, monkeypatch) -> None:
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    feed(recording, board, 0, 200)
    recording.flush()
    full(monkeypatch, 100)
    with pytest.raises(RecordingError, match="No space left") as caught:
        feed(recording, board, 200, 200)
    assert "make room" in str(caught.value.hint)
    with pytest.raises(RecordingError):
        recording.close()
    monkeypatch.undo()
    read = Recording.open(recording.path)
    assert not read.repaired
    assert [s.motion for s in read.samples()] == list(range(200))


def test_room_that_comes_again_loses_nothing(tmp_path: Path, monkeypatch) -> None:
    """What could not be written waits, and is in the next block."""
    board = FakeBoard()
    recording = recorder(tmp_path, board)
    feed(recording, board, 0, 30)
    full(monkeypatch, 100)
    with pytest.raises(RecordingError):
        recording.flush()
    monkeypatch.undo()
    feed(recording, board, 30, 30)
    read = Recording.open(recording.close())
    assert [s.motion for s in read.samples()] == list(range(60))
    assert read.ended


def test_no_room_at_the_beginning_leaves_no_file(open_folder: Path) -> None:
    def work() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
        recorder(open_folder, FakeBoard())

    kind, message, kept, _ = in_child(work)
    assert (kind, kept) == ("error", "nothing is recorded")
    assert "File too large" in message
    assert not list(open_folder.glob("recordings/*"))
    assert not list(open_folder.glob("recordings/.*"))


def test_a_folder_that_must_not_be_written(open_folder: Path) -> None:
    folder = open_folder / "logbook"
    folder.mkdir()
    folder.chmod(0o555)

    def work() -> None:
        if os.getuid() == 0:
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        recorder(folder, FakeBoard())

    kind, message, kept, hint = in_child(work)
    assert kind == "error"
    assert "Permission denied" in message
    assert kept == "nothing is recorded"
    assert hint == "may this user write into that folder?"
    folder.chmod(0o755)


@pytest.mark.parametrize("kind", ["a file", "a link to nothing"])
def test_what_is_no_folder_in_its_place_is_said(tmp_path: Path, kind: str) -> None:
    """It was taken for a name that is taken, and the next one tried, for ever."""
    place = tmp_path / "recordings"
    place.write_text("") if kind == "a file" else place.symlink_to(tmp_path / "away")
    told = in_child(lambda: (signal.alarm(5), recorder(tmp_path, FakeBoard()))[0])
    assert told[0] == "error"
    assert str(place) in told[1]
    assert told[2] == "nothing is recorded"
