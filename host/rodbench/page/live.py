"""The board behind a page: one thread holds it, keeps the feed, and works what is asked of it."""

from __future__ import annotations

import os
import queue
import threading
import traceback
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from concurrent.futures import TimeoutError as TooLong
from pathlib import Path
from typing import Any, TypeVar

from rodbench.board import Board, BoardSample, Event, Sample
from rodbench.errors import LinkLost, OutcomeUnknown, RodbenchError
from rodbench.page.feed import Feed
from rodbench.record.recorder import BEHIND_S
from rodbench.settings.parse import Named
from rodbench.settings.units import Units

T = TypeVar("T")
AXIS_S, BOARD_S = 0.01, 0.1  # telemetry
TURN_S = 0.02  # longest wait for telemetry in one turn
LOOK_S = 1.0  # how often digests and the link's figures are asked for
AGAIN_S = 1.0  # between attempts to get a lost board back
JOB_S = 30.0  # the longest that a job may take


class LiveFeed(Feed):
    """`open_board` opens the board, again after it was lost. `begin` first, `close` at the end."""

    def __init__(self, open_board: Callable[[], Board]) -> None:
        super().__init__()
        self.listeners: list[Callable[[Sample], None]] = []  # in the board's thread
        self.tenders: list[Callable[[Board], None]] = []  # the same, in each turn
        self.losses: list[Callable[[str], None]] = []  # the same, when the board is lost
        self._open_board = open_board
        self._board: Board | None = None
        self._jobs: queue.SimpleQueue[tuple[Callable[[Board], Any], Future[Any]]]
        self._jobs = queue.SimpleQueue()
        self._ending = threading.Event()
        self._looked_s = self._board_seen_s = float("-inf")
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)

    def begin(self) -> None:
        """Open the board, here, so that the caller hears why it cannot; then listen."""
        self._board = self._opened()
        self._thread.start()

    def close(self) -> None:
        """Leave the board."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(5.0)

    def describe(
        self,
        name: str,
        rods: Mapping[int, str | None],
        units: Units,
        machine_file: Path | None,
        positions: Mapping[str, Named],
    ) -> None:
        """What the machine file says."""
        self.name, self.rods, self.units = name, dict(rods), units
        self.machine_file, self.positions = machine_file, positions

    # -- asking

    def ask(self, job: Callable[[Board], T], timeout_s: float = JOB_S) -> T:
        """Run a job in the board's thread and wait for what it returns, or raises."""
        future = self.post(job)
        try:
            return future.result(timeout_s)
        except TooLong:
            future.cancel()
            raise OutcomeUnknown(
                f"the board was not reached in {timeout_s:g} s",
                kept="the board stops a motion by itself when nobody renews it",
                hint="look at the rod",
            ) from None

    def post(self, job: Callable[[Board], T]) -> Future[T]:
        """Run a job in the board's thread, as soon as it can."""
        future: Future[T] = Future()
        if self._board is None or self._ending.is_set():
            future.set_exception(LinkLost(self.lost or "the board is not open"))
        else:
            self._jobs.put((job, future))
        return future

    # -- the board's thread

    def _run(self) -> None:
        while not self._ending.is_set():
            try:
                board = self._board or self._opened()
                self._board = board
                with board:
                    self._serve(board)
            except Exception as error:  # whatever it is: nobody listens to the board any more
                if not isinstance(error, RodbenchError):
                    traceback.print_exception(error)
                    error = LinkLost(f"a fault of rodbench itself: {error!r}")
                self._lose(error)
                self._ending.wait(AGAIN_S)
        self._fail_jobs(LinkLost("the page's server ends"))

    def _opened(self) -> Board:
        board = self._open_board()
        try:
            board.subscribe(AXIS_S, BOARD_S)
            self.scopes = {number: board.read_scope(number) for number in board.scopes}
            self._looked_s = float("-inf")
            self._look(board)
        except BaseException:
            board.close()
            raise
        board.listeners.append(self._hear)
        if self.lost:
            self.note("the board is back")
        self.lost = ""
        return board

    def _serve(self, board: Board) -> None:
        while not self._ending.is_set():
            board.poll(TURN_S)
            self.tick = board.link.newest_tick
            self.commander = _other_commander(board)
            self._work(board)
            for tend in self.tenders:
                tend(board)
            self._look(board)

    def _hear(self, sample: Sample) -> None:
        self.take(sample)
        if isinstance(sample, BoardSample) and self._board is not None:
            self._board_seen_s = self._board.clock.now()
        for listener in self.listeners:
            listener(sample)
        if isinstance(sample, Event):
            self._looked_s = float("-inf")  # settings may have changed

    def _work(self, board: Board) -> None:
        while not self._jobs.empty():
            job, future = self._jobs.get()
            if not future.set_running_or_notify_cancel():
                continue
            try:
                future.set_result(job(board))
            except LinkLost as error:
                future.set_exception(error)
                raise
            except Exception as error:
                future.set_exception(error)

    def _look(self, board: Board) -> None:
        """Now and then: digests, and settings anew when somebody changed them. Right behind the
        board's own frame, so that no reply takes its place, as a recorder asks."""
        now = board.clock.now()
        waited_s = now - self._looked_s
        behind = now - self._board_seen_s < BEHIND_S
        if waited_s < LOOK_S or (waited_s < 2 * LOOK_S and not behind):
            return
        self._looked_s = now
        self.look(board)

    def look(self, board: Board) -> None:
        """Digests and settings as they are now; in the board's thread."""
        told = board.digests()
        if told["live"] != self.digest:
            self.scopes = {number: board.read_scope(number) for number in board.scopes}
        self.digest, self.stored = told["live"], told["stored"] == told["live"]
        self.link = board.statistics()
        self.version += 1

    def _lose(self, error: RodbenchError) -> None:
        was, self._board = self.lost, None
        self.lost = " ".join(text for text in (f"{error.message}.", error.hint) if text)
        self.commander = ""
        if not was:
            self.note(f"the board is lost: {error.message}")
            for heard in self.losses:
                heard(error.message)
        self.version += 1
        self._fail_jobs(error)

    def _fail_jobs(self, error: RodbenchError) -> None:
        while not self._jobs.empty():
            _, future = self._jobs.get()
            if future.set_running_or_notify_cancel():
                future.set_exception(error)


def _other_commander(board: Board) -> str:
    """Who commands the board, in words, unless it is this process."""
    who = board.commander
    return "" if who is None or who.pid == os.getpid() else str(who)
