"""The only thing of the page that moves rods. Every rule is held here, whatever a page shows.

A motion is kept alive by renewals of the page that began it and by nothing else; each one echoes a
board tick which that page was sent, and goes on to the board as it is, so that the board's own hold
spans the whole way from the finger. After a silence the server stops the rod explicitly.
"""

from __future__ import annotations

import contextlib
import os
import threading
import time
from collections.abc import Callable
from typing import TypeVar

from rodbench.board import AxisSample, Board, Sample
from rodbench.board.gang import Gang
from rodbench.errors import Interrupted, RodbenchError, StopAsked, UsageError
from rodbench.page import capture, draft
from rodbench.page.control import Control
from rodbench.page.feed import Feed
from rodbench.page.held import JOG, MOVE, Held, later
from rodbench.page.live import LiveFeed
from rodbench.page.recording import Recording
from rodbench.page.stopper import Stopper
from rodbench.settings.transfer import Difference

T = TypeVar("T")
WATCH_S = 0.01  # how often silence is looked for
TEND_S = 1.0
FRESH_TICKS = 40  # 0.2 s: a press that comes later than this was held up on its way
CLEAN_S = 3.0  # after this a motion that is over is forgotten, whatever the board tells
REPLAYED = "this is a recording: nothing moves"


class Hands:
    """Of a recording (`live` None) every method refuses, and `stop` does nothing."""

    def __init__(
        self,
        feed: Feed,
        control: Control,
        live: LiveFeed | None = None,
        stopper: Stopper | None = None,
    ) -> None:
        self.feed = feed
        self.control = control
        self.refused_renewals = 0
        # By page, until it has shown it: why not, or None once something began after that.
        self.errors: dict[str, RodbenchError | None] = {}
        self._live = live
        self._stopper = stopper
        self._held: Held | None = None
        self._jog_speeds_mm_s: dict[int, float] = {}  # asked for, by axis
        self._stops = 0
        self._lock = threading.RLock()
        self._ending = threading.Event()
        self._recorded = None if live is None else Recording(live)
        control.let_go = self.let_go
        if live is not None:
            live.listeners.append(self._hear)
            live.losses.append(lambda why: self._end("the board was lost", stop=False))
            threading.Thread(target=self._watch, name="silence", daemon=True).start()

    # -- stop: never refused

    def stop(self) -> None:
        """Stop all, whoever commands: for every page, with the key or without."""
        with self._lock:
            self._stops += 1
        self._end("stopped", stop=False)
        if self._stopper is not None:
            self._stopper.stop(0)

    # -- hold-to-run

    def jog_begin(self, page_id: str, axis: int, way: int, seen: int | None = None) -> None:
        """Run while `jog_renew` comes; `way` 1 extends, -1 retracts. Raises what refuses it."""
        live = self._scope(axis)
        held = self._take(page_id, axis, JOG, seen)
        self._start(held, "jog", **self._jog_fields(axis, way, live))

    def jog_renew(self, page_id: str, seen: int) -> None:
        """The page still holds, and has seen this board tick."""
        with self._lock:
            held = self._held
            mine = held is not None and held.page_id == page_id and self.control.may(page_id)
            if held is None or not mine or later(seen, self.feed.tick):
                self.refused_renewals += 1
                return
            if not held.renew(seen, time.monotonic()):
                self.refused_renewals += 1
                return
        if held.number is not None and self._live is not None:
            self._live.post(lambda board: _renew(board, seen))

    def jog_end(self, page_id: str) -> None:
        """The page has let go."""
        if self.holds(page_id) == JOG:
            self._end("")

    def let_go(self, page_id: str) -> None:
        """Stop what this page moves, whatever it is."""
        if self.holds(page_id):
            self._end("its page let go")

    def holds(self, page_id: str) -> str:
        """What this page keeps alive: "jog", "move" or ""."""
        with self._lock:
            held = self._held
            return held.kind if held and not held.over and held.page_id == page_id else ""

    def set_jog_speed(self, page_id: str, axis: int, speed_mm_s: float) -> None:
        """The speed of the next jog; the board caps it by its settings."""
        self.control.check(page_id)
        self._scope(axis)
        self._jog_speeds_mm_s[axis] = max(speed_mm_s, self.jog_most_mm_s(axis) / 20)

    def jog_speed_mm_s(self, axis: int) -> float:
        """The speed of the next jog of a calibrated axis: half of the most, unless set."""
        most = self.jog_most_mm_s(axis)
        return min(self._jog_speeds_mm_s.get(axis, most / 2), most)

    def jog_most_mm_s(self, axis: int) -> float:
        """What the settings in force allow."""
        return self.feed.scopes[axis]["speed_max_um_s"] / 1000

    # -- other motion and asking

    def move(self, page_id: str, axis: int, target_mm: float, seen: int | None = None) -> None:
        """Go to a position; renewed as a jog is, and stopped when its page goes."""
        if not self._scope(axis)["calibrated"]:
            raise UsageError(
                f"axis {axis} is not calibrated: it has no positions yet",
                kept="nothing moves",
                hint="hold to run; `rodbench commission` calibrates it",
            )
        held = self._take(page_id, axis, MOVE, seen)
        held.targets = self._targets(axis, target_mm)
        self._start(held, "move", target_um=round(target_mm * 1000), speed_um_s=0)

    def clear(self, page_id: str, axis: int = 0) -> int:
        """Clear latched faults; returns their bits."""
        return self._ask(page_id, lambda board: board.clear(axis))

    def store(self, page_id: str) -> None:
        """Store the settings in force."""
        self._ask(page_id, lambda board: board.store())
        self._ask(page_id, self._board().look)

    # -- settings: `changes` are wire values by scope and key

    def check(self, page_id: str, changes: draft.Changes) -> list[str]:
        """What stands against these changes, in sentences."""
        file = self.feed.machine_file
        return self._at_rest(page_id, lambda board: draft.check(board, file, changes))

    def diff(self, page_id: str, changes: draft.Changes) -> list[Difference]:
        """All that a commit of them would change on the board. Raises as a check fails."""
        file = self.feed.machine_file
        return self._at_rest(page_id, lambda board: draft.differences(board, file, changes))

    def commit(self, page_id: str, changes: draft.Changes, store: bool = True) -> draft.Committed:
        """Put them in force, at rest; `store` also keeps them."""
        file = self.feed.machine_file

        def work(board: Board) -> draft.Committed:
            try:
                done = draft.commit(board, file, changes, store)
            finally:
                self._board().look(board)
            for text in done.notes:
                self.feed.note(text)
            return done

        return self._at_rest(page_id, work)

    def capture_endpoint(self, page_id: str, axis: int, which: str) -> capture.Captured:
        """The place where the rod rests as its "retracted" or "extended" end: for a draft."""
        self.control.check(page_id)
        self._scope(axis)
        return capture.endpoint(self.feed, axis, which)

    # -- recording

    def record_start(self, page_id: str) -> str:
        """Record from now on; returns the file's name."""
        return self._ask(page_id, self._recording().begin)

    def record_stop(self, page_id: str) -> str:
        """End the recording; returns its path."""
        return self._ask(page_id, lambda board: self._recording().end())

    def close(self) -> None:
        """Stop what a page still moves, and end."""
        self._end("the page's server ends")
        self._ending.set()
        if self._live is not None and self._live.recording:
            with contextlib.suppress(RodbenchError):
                self._live.ask(lambda board: self._recording().end("the page's server ended"))

    # -- the parts

    def _recording(self) -> Recording:
        if self._recorded is None:
            raise UsageError(REPLAYED, kept="nothing is recorded")
        return self._recorded

    def _board(self) -> LiveFeed:
        if self._live is None:
            raise UsageError(REPLAYED, kept="nothing was asked of a board")
        return self._live

    def _ask(self, page_id: str, job: Callable[[Board], T]) -> T:
        self.control.check(page_id)
        return self._board().ask(job)

    def _at_rest(self, page_id: str, job: Callable[[Board], T]) -> T:
        """The board's thread would be busy for long, and renew nothing meanwhile."""
        self.control.check(page_id)
        if self.feed.moving:
            raise UsageError(
                "settings are left alone while a rod moves",
                kept="nothing was changed",
                hint="wait until it rests, or stop it",
            )
        return self._ask(page_id, job)

    def _scope(self, axis: int) -> dict[str, int]:
        self._board()
        live = self.feed.scopes.get(axis)
        if live is None or not axis:
            raise UsageError(f"this board has no axis {axis}", kept="nothing moves")
        return live

    def _jog_fields(self, axis: int, way: int, live: dict[str, int]) -> dict[str, int]:
        from rodbench_protocol.names import JogUnit

        sign = 1 if way > 0 else -1
        if not live["calibrated"]:
            return {"unit": JogUnit.OUTPUT, "value": sign * live["creep_output_permille"]}
        return {"unit": JogUnit.SPEED, "value": sign * round(1000 * self.jog_speed_mm_s(axis))}

    def _targets(self, axis: int, target_mm: float) -> dict[int, float]:
        """Where the rods go: of two that are ganged both."""
        gang = Gang.by(self.feed.scopes)
        mates = {} if gang is None else {3 - axis: gang.same_place_mm(axis, target_mm)}
        return {axis: target_mm, **mates}

    def _take(self, page_id: str, axis: int, kind: str, seen: int | None) -> Held:
        """The one motion is this page's from now on; one before it is stopped."""
        newest = self.feed.tick
        if seen is not None and ((newest - seen) % (1 << 32)) > FRESH_TICKS:
            raise Interrupted(
                f"the {kind} was asked for too long ago",
                kept="nothing moves",
                hint="the connection is slow; press again",
            )
        with self._lock:
            self.control.check(page_id)
            before = self._held
            seen = newest if seen is None else seen
            held = Held(page_id, axis, kind, seen, time.monotonic(), self._stops)
        if before is not None and not before.over:
            self._end("another motion was asked for")
        with self._lock:
            self.control.check(page_id)
            self._held = held
        return held

    def _start(self, held: Held, name: str, **fields: int) -> None:
        """Ask the board in its thread; raises why not."""

        def begin(board: Board) -> None:
            held.accepted(*self._ask_to_start(board, held, name, fields))
            self.errors[held.page_id] = None
            with self._lock:
                if not held.over:
                    self.feed.targets = held.targets
            if held.over:  # let go meanwhile: the stop may have overtaken the start
                board.stop(held.axis)

        try:
            self._board().ask(begin)
        except BaseException:
            held.over = held.ended = True
            raise

    def _ask_to_start(
        self, board: Board, held: Held, name: str, fields: dict[str, int]
    ) -> tuple[int, int]:
        """The motion's number and the tick of its acceptance."""
        for last in (False, True):
            self._check_by(board.link.release())
            with self._lock:
                self._check_still(held)
            try:
                reply = board.start(held.axis, name, **fields)
                return int(reply["motion"]), reply.tick
            except StopAsked as error:  # maybe our own, of the motion before, which came late
                if last or not _ours(error.message):
                    raise
        raise AssertionError("returned or raised")

    def _check_by(self, by: str) -> None:
        """A stop that another command asked for is heard before anything begins."""
        if by and not _ours(by):
            raise StopAsked(
                f"not begun: {by} asked for a stop",
                kept="nothing moves",
                hint="see why it was stopped; then press again",
            )

    def _check_still(self, held: Held) -> None:
        if held.over or held is not self._held or held.stops != self._stops:
            raise Interrupted("let go, or stopped, before it began", kept="nothing moves")

    def _end(self, why: str, stop: bool = True) -> None:
        """Nothing renews the motion any more; and the rod is told to stop."""
        with self._lock:
            held = self._held
            if held is None or held.over:
                return
            held.over, held.why, held.over_s = True, why, time.monotonic()
            self.feed.targets = {}
        if why:
            self.feed.note(f"axis {held.axis}: the {held.kind} ends: {why}")
        if stop and self._stopper is not None:
            with contextlib.suppress(RodbenchError):  # the board's own hold is the last line
                self._stopper.stop(held.axis)

    # -- the board's thread

    def _hear(self, sample: Sample) -> None:
        held = self._held
        if held is None or held.ended or not isinstance(sample, AxisSample):
            return
        if held.see(sample) or (held.over and time.monotonic() - held.over_s > CLEAN_S):
            held.over = held.ended = True
            self.feed.targets = {}
            self._board().post(lambda board: self._ended(board, held))

    def _ended(self, board: Board, held: Held) -> None:
        """At rest: others may command now; how it ended is told."""
        from rodbench.show.words import ended

        outcome = board.outcome(held.axis)
        by = board.link.release()
        if by and not _ours(by):
            said = f"axis {held.axis} was stopped: {by} asked for it"
            self.errors[held.page_id] = StopAsked(f"{said}; see why before you press again")
            self.feed.note(said)
        elif held.number == outcome.motion:
            self.feed.note(f"axis {held.axis}: the {held.kind} {ended(outcome.ended)}")

    # -- the thread that looks for silence

    def _watch(self) -> None:
        tended_s = time.monotonic()
        while not self._ending.wait(WATCH_S):
            now = time.monotonic()
            with self._lock:
                silent = self._held is not None and self._held.silent(now)
            if silent:
                self._end("its page was silent")
            if self._stopper is not None and now - tended_s >= TEND_S:
                tended_s = now
                self._stopper.tend()


def _ours(said: str) -> bool:
    """Whether a program that is named is this one: its line for stops."""
    return f"(process {os.getpid()})" in said


def _renew(board: Board, seen: int) -> None:
    """Pass a renewal on, with the tick that the page has seen."""
    board.link.alive(seen)
