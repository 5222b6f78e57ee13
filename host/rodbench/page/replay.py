"""A recording in the place of a board: the same feed, at a time that a slider sets."""

from __future__ import annotations

import threading
import time
from datetime import datetime
from pathlib import Path

from rodbench.board import Event, Sample
from rodbench.errors import RodbenchError
from rodbench.page.feed import KEPT_S, Feed
from rodbench.record.recording import Change, Gap, Recording
from rodbench.settings.units import Units

TURN_S = 0.05
FIRST_S = 0.1  # at the very beginning nothing has been heard yet: what comes in this is shown


class ReplayFeed(Feed):
    """`playing` runs at the pace at which it was recorded. Every page of a server sees the same."""

    replay = True

    def __init__(self, path: Path, units: Units) -> None:
        super().__init__()
        self._recording = Recording.open(path)
        head = self._recording.header
        self.name, self.units = str(head["machine"]), units
        self.rods = {int(axis): rod for axis, rod in head["rods"].items()}
        self.recording = path.name
        self.duration_s = self._recording.duration_s
        self.gaps: list[Gap] = list(self._recording.gaps)
        self.playing = False
        self.at_s = 0.0
        self._begun_s = datetime.fromisoformat(head["started"]).timestamp()
        self._settings = self._recording.settings
        self._shown_s = 0.0  # until when samples have been taken
        self._sought = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="replay", daemon=True)
        if self._recording.repaired:
            self.note(self._recording.repaired)

    def begin(self) -> None:
        """From the first sample on."""
        self.seek(0.0)
        self._show_anew()
        self._thread.start()

    def close(self) -> None:
        """End."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(2.0)

    def seek(self, at_s: float) -> None:
        """Go to this time in the recording."""
        self.at_s = min(max(at_s, 0.0), self.duration_s)
        self._sought.set()

    # -- the replay's thread

    def _run(self) -> None:
        before = time.monotonic()
        while not self._ending.wait(TURN_S):
            now = time.monotonic()
            try:
                self._turn(now - before)
            except RodbenchError as error:
                self.playing = False
                self.lost = error.message
                self.version += 1
            before = now

    def _turn(self, passed_s: float) -> None:
        if self._sought.is_set():
            self._show_anew()
        elif self.playing:
            self.at_s = min(self.at_s + passed_s, self.duration_s)
            self.playing = self.at_s < self.duration_s
            self._show_on(self._shown_s)

    def _show_anew(self) -> None:
        """What led up to this time, as a live page would have kept it."""
        self._sought.clear()
        for kept in (self.last_axis, self.traces, self.strokes, self.events):
            kept.clear()
        self.last_board = None
        self._show_on(max(0.0, self.at_s - KEPT_S) - 1e-6)

    def _show_on(self, since_s: float) -> None:
        until_s = max(self.at_s, FIRST_S)
        for t_s, sample in self._recording.timed_samples(since_s, until_s):
            if t_s > since_s:
                self._take_at(t_s, sample)
        self._shown_s = until_s
        change = self._change(until_s)
        self.scopes = {scope: dict(values) for scope, values in change.scopes.items()}
        self.digest = int(change.digest, 16)
        self.lost = next((g.why for g in self.gaps if g.start_s < until_s < g.end_s), "")
        self.version += 1

    def _take_at(self, t_s: float, sample: Sample) -> None:
        self.take(sample)
        if isinstance(sample, Event):
            self.events[-1] = (self._begun_s + t_s, sample)
        else:
            self.tick = sample.tick

    def _change(self, at_s: float) -> Change:
        """The settings that were in force then."""
        return [change for change in self._settings if change.t_s <= at_s or not change.t_s][-1]
