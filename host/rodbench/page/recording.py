"""A recording that a page begins and ends; it goes on through a lost board, and marks the gap."""

from __future__ import annotations

from collections.abc import Callable

from rodbench.board import Board, Sample
from rodbench.errors import RodbenchError, UsageError
from rodbench.page.live import LiveFeed
from rodbench.record.logbook import Logbook
from rodbench.record.recorder import Recorder


class Recording:
    """At most one at a time. All but `__init__` runs in the board's thread."""

    def __init__(self, live: LiveFeed) -> None:
        self._live = live
        self._recorder: Recorder | None = None
        live.listeners.append(self._hear)
        live.tenders.append(self._tend)
        live.losses.append(self._lose)

    def begin(self, board: Board) -> str:
        """Record from now on; returns the file's name. Raises what the recorder raises."""
        live = self._live
        if self._recorder is not None:
            raise UsageError(f"already recording into {live.recording}", kept="it goes on")
        if live.machine_file is None:
            raise UsageError(
                "a recording is kept in the logbook beside a machine file, and there is none",
                kept="nothing is recorded",
                hint="`rodbench new DIR` makes a machine folder",
            )
        folder = Logbook.beside(live.machine_file).folder
        known = (live.digest, live.scopes)
        self._recorder = Recorder.begin(
            folder, board, machine=live.name, rods=live.rods, known=known
        )
        live.recording = self._recorder.path.name
        live.version += 1
        return live.recording

    def end(self, why: str = "asked to") -> str:
        """Close the file; returns its path, or "" where nothing was recorded."""
        recorder, self._recorder = self._recorder, None
        self._live.recording = ""
        self._live.version += 1
        return "" if recorder is None else str(recorder.close(why))

    def _hear(self, sample: Sample) -> None:
        if self._recorder is not None:
            self._guarded(lambda r: r.take(sample, r.board.clock.now()))

    def _tend(self, board: Board) -> None:
        if self._recorder is not None:
            self._recorder.board = board  # maybe another than before it was lost
            self._guarded(lambda r: r.tend())

    def _lose(self, why: str) -> None:
        if self._recorder is not None:
            self._guarded(lambda r: r.mark("lost", why=why))

    def _guarded(self, work: Callable[[Recorder], object]) -> None:
        """A disk that is full ends the recording, not the page."""
        recorder = self._recorder
        assert recorder is not None
        try:
            work(recorder)
        except RodbenchError as error:
            self._recorder = None
            self._live.recording = ""
            self._live.note(f"the recording ended: {error.message}")
