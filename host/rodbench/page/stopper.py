"""A line of its own to the board for stops, so that no other work can stand before one."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable

from rodbench.board import Board
from rodbench.errors import LinkLost, RodbenchError


class Stopper:
    """Sends stops from any thread. `open_board` opens one more line to the same board."""

    def __init__(self, open_board: Callable[[], Board]) -> None:
        self._open_board = open_board
        self._board: Board | None = None
        self._lock = threading.Lock()

    def stop(self, axis: int = 0) -> None:
        """Stop one axis or all, category 1. Raises what the link raises."""
        with self._lock:
            try:
                self._line().stop(axis)
            except LinkLost:  # the process that holds the port was started anew, maybe
                self._leave()
                self._line().stop(axis)

    def tend(self) -> None:
        """Now and then: take what came, and have the line ready before it is needed."""
        with self._lock, contextlib.suppress(RodbenchError):
            try:
                self._line().poll(0.0)
            except RodbenchError:
                self._leave()

    def close(self) -> None:
        """Leave the board."""
        with self._lock:
            self._leave()

    def _line(self) -> Board:
        if self._board is None:
            self._board = self._open_board()
        return self._board

    def _leave(self) -> None:
        board, self._board = self._board, None
        if board is not None:
            with contextlib.suppress(RodbenchError):
                board.close()
