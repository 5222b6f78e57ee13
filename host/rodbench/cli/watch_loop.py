"""The loop of `watch`: listens, takes keys, draws, and looks again after a lost link."""

from __future__ import annotations

import contextlib
import os
import time
from typing import TYPE_CHECKING

from rodbench.board import BoardSample
from rodbench.cli import talk
from rodbench.cli.watch_jog import RUN_KEYS, JogKeys
from rodbench.errors import (
    Interrupted,
    LinkLost,
    NoAnswer,
    OutcomeUnknown,
    RodbenchError,
    StopAsked,
)
from rodbench.owner.link import OwnerGone

if TYPE_CHECKING:
    from rodbench.board import Board, Sample
    from rodbench.cli.keys import Keys
    from rodbench.cli.options import Setup
    from rodbench.cli.screen import Screen

ASK_S = 1.0  # between two looks at link figures and settings
BEHIND_S = 0.02  # right behind the board's own frame, whose room a reply would else take
AGAIN_S = 1.0  # between two tries to reach a board whose owner is gone
LATE_S = 0.2  # between two looks at the keys
NOTE_S = 12.0  # so long a note stays
NO_STOP = "THE STOP DID NOT REACH THE BOARD. If a rod moves, cut motor power."


class Watch:
    """Until q, the time is over, or a signal. Whatever ends it: a rod of its own stops first."""

    def __init__(
        self,
        setup: Setup,
        stack: contextlib.ExitStack,
        board: Board,
        screen: Screen,
        keys: Keys | None,
    ) -> None:
        self._setup = setup
        self._stack = stack
        self._board = board
        self._screen = screen
        self._view = screen.view
        self._keys = keys
        self._asked_s = 0.0
        self._board_s = 0.0  # when the board's own frame came
        self._taken_s = time.monotonic()  # when the keys were looked at
        self._noted_s = 0.0
        self._lasting = False
        self._digest: int | None = None
        self._ending = False
        self._gone_s: float | None = None  # since when the owner is gone
        self.jog = JogKeys(setup, board, keys, self.tell)
        self._listen()

    def _listen(self) -> None:
        self._board.listeners.append(self._hear)
        self._board.subscribe(0.05, 0.25)

    def run(self, deadline: float) -> None:
        """Raises Interrupted by a signal or a closed terminal."""
        try:
            while self._board.clock.now() < deadline and self._turn():
                self._show()
        finally:
            self._ending = True
            self.jog.off()

    def tell(self, *notes: str, lasting: bool = False) -> None:
        """Notes above the keys: they stay for a while, or until the next."""
        self._view.notes = [note for note in notes if note]
        self._noted_s, self._lasting = time.monotonic(), lasting

    # -- one turn

    def _turn(self) -> bool:
        try:
            if not self._take_keys():
                return False
            if self._gone_s is not None:
                self._reach_again()
            else:
                self.jog.turn()
                self._look()
        except StopAsked as stop:
            self.jog.off(talk.sentences(f"{stop.message}."))
        except Interrupted:
            raise
        except RodbenchError as error:
            self._trouble(error)
        return True

    def _take_keys(self) -> bool:
        """All keys that wait: a backlog must not outlast the finger. False: the person leaves.

        Keys that waited long, behind an answer or a stop, run nothing: the finger may be gone."""
        late = False
        while self._keys is not None:
            late = late or time.monotonic() - self._taken_s > LATE_S
            key = self._keys.read(0.0)
            self._taken_s = time.monotonic()
            if not key:
                break
            if not (late and key in RUN_KEYS) and not self._key(key):
                return False
        return True

    def _key(self, key: str) -> bool:
        leave = key == "quit" and not self.jog.asking
        if key == "stop":
            self._stop_all()
        elif self.jog.moving and key not in RUN_KEYS:
            self.jog.end()
        elif not leave:
            self.jog.key(key)
        return not leave

    def _stop_all(self) -> None:
        """Whoever commands, and whatever else goes on here."""
        self.jog.asking = False
        try:
            self._board.stop()
            self.tell("Stop sent to all axes.")
        except RodbenchError as error:
            self.tell(NO_STOP, f"{error.message}.")
        self.jog.end()

    def _trouble(self, error: RodbenchError) -> None:
        """The link, or a request that failed: the keys move nothing until asked for again."""
        self.tell(talk.sentences(f"{error.message}. {error.hint or ''}"))
        self.jog.off(talk.sentences(f"{error.message}."))
        if isinstance(error, (LinkLost, NoAnswer, OutcomeUnknown)):
            self._view.lost = error.message
        if isinstance(error, OwnerGone):
            self._gone_s = time.monotonic()

    def _reach_again(self) -> None:
        """By another owner process, after a while."""
        assert self._gone_s is not None
        time.sleep(0.02)
        if time.monotonic() - self._gone_s < AGAIN_S:
            return
        self._gone_s = time.monotonic()
        self._stack.close()
        try:
            self._board = self._stack.enter_context(self._setup.board("watch"))
        except RodbenchError as error:
            self._view.lost = error.message
            return
        self._gone_s = None
        self.jog = JogKeys(self._setup, self._board, self._keys, self.tell)
        self._listen()

    # -- what is shown

    def _hear(self, sample: Sample) -> None:
        self._view.lost = ""
        self._view.take(sample)
        if isinstance(sample, BoardSample):
            self._board_s = time.monotonic()
        self._show()

    def _show(self) -> None:
        if self._ending:
            return  # the terminal may be gone, and a rod is being stopped
        view = self._view
        if view.notes and not self._lasting and time.monotonic() - self._noted_s > NOTE_S:
            view.notes = []
        view.commands, view.dropped = self._who(), self._board.dropped
        view.keys = self.jog.lines()
        with talk.forgiving():
            self._screen.draw()

    def _who(self) -> str:
        if self._view.lost:
            return "who commands is not known"
        who = self._board.commander
        if who is not None and who.pid != os.getpid():
            return f"{who} commands"
        return "you command" if self.jog.moving else "nobody commands"

    def _look(self) -> None:
        """Link figures, and settings that another command has changed. Not while a rod of ours
        moves: each answer takes a few ms."""
        now = time.monotonic()
        if now - self._asked_s < ASK_S or now - self._board_s > BEHIND_S or self.jog.moving:
            return
        self._asked_s = now
        self._view.link = self._board.statistics()
        digest = self._board.digests()["live"]
        if self._digest is not None and digest != self._digest:
            self._view.scopes = {n: self._board.read_scope(n) for n in self._board.scopes}
            self.jog.off("The settings have changed.")
        self._digest = digest
