"""Nothing is lost unsaid: the frames' counter, the board's tick and its starts, frame by frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

STILL_TICKS = 100  # 0.5 s: too short for 256 frames, a turn of their counter, to be lost in
ANEW = "the board started anew"
WAITED_US = 1_000_000  # frames that came before the loss may be taken so long after it is told
_HALF, _TURN = 1 << 31, 1 << 32


class Frame(NamedTuple):
    """What counts of a frame. `counter` -1: not told; `telemetry`: its tick is no old one."""

    counter: int
    tick: int
    telemetry: bool
    host_us: int


@dataclass(slots=True)
class Account:
    """Where the frames of a recording stand."""

    start: int = 0  # starts of the board within the recording, from 0
    nonce: int | None = None  # of the board's present start
    anew: str = ""  # why the next frame is of a new start, whatever it says
    lost: str = ""  # why nothing comes, until something does
    lost_us: int = 0  # since when
    tick: int | None = None  # of the newest telemetry
    counter: int = -1  # of the last frame
    host_us: int = 0  # when it came
    gaps: int = 0
    missed: int = 0  # frames that are known to be missing

    def see(self, frame: Frame, nonce: int | None, why: str = "") -> dict[str, Any] | None:
        """Take a frame; the gap before it, if any. `nonce` is the last hello's, `why` a reason for
        missing frames where one is known. `start` is raised when a new one of the board begins."""
        gap, begins = None, False
        if self.lost and frame.host_us - self.lost_us < WAITED_US and self._follows(frame):
            self._go_on(frame, self.nonce, False)
            return None
        if self.tick is not None:
            begins = bool(self.anew) or self._begins(frame, nonce)
            reason = self.anew or self.lost or (ANEW if begins else why or "frames did not come")
            missed = None if begins else self._missing(frame)
            if missed != 0:
                gap = self._gap(frame, begins, reason, missed)
        self._go_on(frame, nonce, begins)
        self.anew = self.lost = ""
        return gap

    def end(self, host_us: int) -> dict[str, Any] | None:
        """The recording ends; the gap that is still open, if any."""
        if not self.lost or self.tick is None:
            return None
        self.gaps += 1
        return {
            "fact": "gap", "why": self.lost, "from": [self.start, self.tick], "to": None,
            "host_us": [self.host_us, host_us], "missed": None,
        }  # fmt: skip

    def _step(self, frame: Frame) -> int:
        return (frame.tick - (self.tick or 0)) % _TURN

    def _begins(self, frame: Frame, nonce: int | None) -> bool:
        """Frames that still waited when the board was lost go on from the last one, though a new
        hello has come already."""
        if frame.telemetry and self._step(frame) >= _HALF:
            return True
        return nonce != self.nonce and not self._follows(frame)

    def _follows(self, frame: Frame) -> bool:
        """Whether it is the very next one."""
        if frame.counter < 0 or frame.counter != (self.counter + 1) & 0xFF:
            return False
        return not frame.telemetry or self._step(frame) < STILL_TICKS

    def _missing(self, frame: Frame) -> int | None:
        """How many frames are missing before this one; None: some, not known how many."""
        if self._follows(frame):
            return 0
        if self.lost or (frame.telemetry and self._step(frame) >= STILL_TICKS):
            return None  # the counter may have turned, or begun anew with another session
        if frame.counter < 0 or self.counter < 0:
            return 0
        return (frame.counter - self.counter - 1) & 0xFF

    def _gap(self, frame: Frame, begins: bool, why: str, missed: int | None) -> dict[str, Any]:
        old = not frame.telemetry and self._step(frame) >= _HALF
        tick = self.tick if old and not begins else frame.tick
        self.gaps += 1
        self.missed += missed or 0
        return {
            "fact": "gap", "why": why, "from": [self.start, self.tick],
            "to": [self.start + begins, tick], "host_us": [self.host_us, frame.host_us],
            "missed": missed,
        }  # fmt: skip

    def _go_on(self, frame: Frame, nonce: int | None, begins: bool) -> None:
        if begins or self.tick is None:
            self.start += begins
            self.nonce = nonce
            self.tick = frame.tick
        elif frame.telemetry:
            self.tick = frame.tick
        self.counter, self.host_us = frame.counter, frame.host_us
