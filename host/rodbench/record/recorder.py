"""Writing a recording: every sample and event of a board, on the disk within a second."""

from __future__ import annotations

import contextlib
import itertools
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from rodbench.board import AxisSample, Board, BoardSample, Sample
from rodbench.errors import RodbenchError
from rodbench.record import layout, wire
from rodbench.record.account import Account, Frame
from rodbench.record.file import OpenFile
from rodbench.record.layout import Head
from rodbench.record.logbook import Logbook, LogbookError

FOLDER = "recordings"
FLUSH_S = 0.7  # so that what a kill loses is less than a second
STOOD_S = 60.0  # this program stood still: a block's times reach over little more than an hour
ASK_S = 1.0  # how often the board is asked whether its settings are still the same
BEHIND_S = 0.03  # of the board's own frame, which comes every 0.05 s at most
UNITS = {
    "tick": "5 ms", "raw": "raw", "um": "um", "um_s": "um/s", "ma": "mA", "mv": "mV", "ms": "ms",
    "permille": "permille", "us": "us",
}  # fmt: skip
NAME_MOST = 120  # bytes of what the person called it; a file's name may have 255
ORDER_AT, HOST_AT, TICK_AT, AXIS_AT = 0, 1, 3, 4  # columns that every writer has there
Now: TypeAlias = Callable[[], datetime]
Whole: TypeAlias = npt.NDArray[np.int64]


def utc_now() -> datetime:
    """The date, UTC."""
    return datetime.now(UTC)


class Recorder:
    """One recording under way. `take` every sample of `Board.poll`, and `tend` between polls."""

    def __init__(self, file: OpenFile, board: Board, begun_s: float, now: Now) -> None:
        self.path = file.path
        self.board = board  # may be replaced when the owner was started anew
        self.frames = 0  # taken
        self.account = Account(nonce=_nonce(board))
        self.settings: dict[str, Any] = {}  # digest and scopes in force
        self._file = file
        self._begun_s = begun_s
        self._now = now
        self._written_s = self._asked_s = board.clock.now()
        self._board_seen_s = float("-inf")
        self._block = 0
        self._rows: tuple[list[tuple[int, ...]], ...] = ([], [], [])
        self._facts: list[Mapping[str, Any]] = []
        self._dropped = board_dropped(board)
        self._closed = False

    @classmethod
    def begin(
        cls,
        folder: Path,
        board: Board,
        *,
        machine: str,
        rods: Mapping[int, str | None],
        now: Now = utc_now,
        name: str = "",
        known: tuple[int, Mapping[int, Mapping[str, int]]] | None = None,
    ) -> Recorder:
        """A new recording in `recordings` of a logbook's folder. `known`: digest and scopes as the
        caller has them already, so that asking costs none of the first frames; they are looked at
        within two seconds. Raises RecordingError where that cannot be written, and what the link
        raises."""
        started = now().astimezone(UTC)
        settings = _settings(board) if known is None else _said(*known)
        head = {"machine": machine, "rods": {str(n): rod for n, rod in rods.items()}}
        head |= {
            "started": started.isoformat(timespec="milliseconds"),
            "hello": asdict(board.hello),
        }
        head |= {**settings, "units": UNITS}
        file = _create(folder / FOLDER, started, name, layout.header_bytes(head))
        made = cls(file, board, board.clock.now(), now)
        made.settings = settings
        if known is not None:
            made._asked_s -= ASK_S
        return made

    @classmethod
    def resume(cls, path: Path, board: Board, *, now: Now = utc_now) -> tuple[Recorder, str]:
        """Go on in a recording, behind its last whole block: a torn tail is cut off, and said.
        Host time goes on by the date, since the monotonic clock may have begun anew."""
        file = OpenFile.hold(path)  # before it is read: another may write into it until then
        try:
            return cls._resumed(file, board, now)
        except BaseException:
            file.close()
            raise

    @classmethod
    def _resumed(cls, file: OpenFile, board: Board, now: Now) -> tuple[Recorder, str]:
        from rodbench.record.recording import Recording

        path = file.path
        settings, old = _settings(board), Recording.open(path)
        if old.header["columns"] != layout.all_columns():
            raise layout.RecordingError(
                f"{path} has other columns: another version of rodbench began it",
                kept="the recording stays as it is",
                hint="begin a new one",
            )
        away_s = (now() - datetime.fromisoformat(old.header["started"])).total_seconds()
        begun_s = board.clock.now() - max(away_s, old.host_end_s)
        file.cut(old.whole_bytes)
        made = cls(file, board, begun_s, now)
        made._block, made.frames, made.account = old.next_block, old.next_order, old.account()
        made.settings = settings
        made._facts.append(
            {"fact": "settings", "at": [made.account.start, made.account.tick], **settings}
        )
        made.mark("gone on", cut=old.repaired, hello=asdict(board.hello))
        return made, old.repaired

    # -- what comes

    def take(self, sample: Sample, host_s: float) -> None:
        """Any sample or event of the board, which came at `host_s` of its clock."""
        if host_s - self._written_s >= STOOD_S:
            self.flush()
        host_us = max(0, round((host_s - self._begun_s) * 1e6))
        row: tuple[int, ...]
        if isinstance(sample, AxisSample):
            row, kind = wire.axis(sample), 0
        elif isinstance(sample, BoardSample):
            row, kind = wire.board(sample), 1
            self._board_seen_s = host_s
        else:
            row, kind = wire.event(sample), 2
        self._see(Frame(row[0], row[1], kind < 2, host_us))
        self._rows[kind].append((self.frames, host_us, *row))
        self.frames += 1
        if host_s - self._written_s >= FLUSH_S or self.frames % layout.ROWS_MOST == 0:
            self.flush()

    def mark(self, what: str, **facts: Any) -> None:
        """Keep that something happened on this side ("lost", "back", "dropped" ...), at once on
        the disk. After "lost" the next sample ends a gap."""
        if what == "lost":
            self.account.lost = str(facts.get("why", "the link was lost"))
            self.account.lost_us = self._host_us()
        self._mark(what, **facts)
        self.flush()

    def tend(self) -> None:
        """Between polls: write what has waited long enough, ask for new settings."""
        now = self.board.clock.now()
        if now - self._written_s >= FLUSH_S:
            self.flush()
        if self._may_ask(now):
            self._asked_s = now
            with contextlib.suppress(RodbenchError):  # a link that is lost is told by poll
                self._look_at_settings()

    def _may_ask(self, now: float) -> bool:
        """A reply takes the room of the board's own frame when both are due in the same tick, and
        that one is dropped: so right behind one is the time to ask."""
        if self.account.lost or now - self._asked_s < ASK_S:
            return False
        return now - self._board_seen_s < BEHIND_S or now - self._asked_s >= 2 * ASK_S

    def flush(self) -> None:
        """All that was taken is on the disk when this returns. Raises RecordingError."""
        self._written_s = self.board.clock.now()
        if not any(self._rows) and not self._facts:
            return
        tables = _tables(self._rows)
        wall_ms = round(self._now().timestamp() * 1000)
        head = _timed(Head(self._block, start=self.account.start, wall_ms=wall_ms), tables)
        words = [table.astype(np.uint32) for table in tables]
        self._file.add(layout.pack_block(head, words, self._facts))
        self._rows, self._facts = ([], [], []), []  # kept when the writing was interrupted
        self._block += 1

    def close(self, ended: str = "asked to") -> Path:
        """Write the rest, why it ended, and a line in the logbook; safe to repeat. Raises
        RecordingError."""
        if not self._closed:
            self._closed = True
            try:
                self._end(ended)
            finally:
                self._file.close()
                with contextlib.suppress(LogbookError):  # the recording itself says the same
                    self._note(ended)
        return self.path

    @property
    def seconds(self) -> float:
        """Host time from the beginning to the newest frame."""
        return self.account.host_us / 1e6

    @property
    def size(self) -> int:
        """Bytes on the disk."""
        return self._file.size

    # -- the parts

    def _see(self, frame: Frame) -> None:
        before, lost = self.account.start, self.account.lost
        gap = self.account.see(frame, _nonce(self.board), self._why())
        if self.account.start != before:
            after, self.account.start = self.account.start, before
            self.flush()  # a block is of one start
            self.account.start = after
            self._asked_s = float("-inf")
        if gap:
            self._facts.append(gap)
        if lost and not self.account.lost:
            self._mark("back", hello=asdict(self.board.hello))

    def _why(self) -> str:
        """A reason for missing frames that the link knows of."""
        before, self._dropped = self._dropped, board_dropped(self.board)
        return "this computer was too slow to take them" if self._dropped > before else ""

    def _host_us(self) -> int:
        return round((self.board.clock.now() - self._begun_s) * 1e6)

    def _mark(self, what: str, **facts: Any) -> None:
        host_us = self._host_us()
        place = [self.account.start, self.account.tick]
        told = {"fact": "mark", "what": what, "host_us": host_us, "at": place}
        self._facts.append({**facts, **told})

    def _look_at_settings(self) -> None:
        if f"{self.board.digests()['live']:08X}" == self.settings["digest"]:
            return
        before, self.settings = self.settings["digest"], _settings(self.board)
        place = [self.account.start, self.account.tick]
        self._facts.append({"fact": "settings", "at": place, "before": before, **self.settings})
        self.flush()

    def _end(self, ended: str) -> None:
        host_us = self._host_us()
        gap = self.account.end(host_us)
        told = {"frames": self.frames, "missed": self.account.missed, "host_us": host_us}
        self._facts += [gap] if gap else []
        self._facts.append({"fact": "end", "ended": ended, **told})
        self.flush()

    def _note(self, ended: str) -> None:
        data = {"file": f"{FOLDER}/{self.path.name}", "seconds": round(self.seconds, 1)}
        data |= {"frames": self.frames, "gaps": self.account.gaps, "ended": ended}
        digest = int(self.settings["digest"], 16)
        Logbook(self.path.parent.parent).append("recording", digest=digest, **data)


def board_dropped(board: Board) -> int:
    """Frames that the link says this program was too slow for."""
    return board.dropped


def _nonce(board: Board) -> int | None:
    return board.link.hello_fields.get("boot_nonce")


def _settings(board: Board) -> dict[str, Any]:
    """Digest in force and all scopes, wire units; read anew if they changed meanwhile."""
    while True:
        digest = board.digests()["live"]
        scopes = {number: board.read_scope(number) for number in board.scopes}
        if board.digests()["live"] == digest:
            return _said(digest, scopes)


def _said(digest: int, scopes: Mapping[int, Mapping[str, int]]) -> dict[str, Any]:
    """Settings as a recording has them."""
    return {"digest": f"{digest:08X}", "scopes": {str(n): dict(of) for n, of in scopes.items()}}


def _create(folder: Path, started: datetime, name: str, header: bytes) -> OpenFile:
    """Under a name that is not taken: the date, then what the person called it."""
    word = re.sub(r"[^\w-]+", "-", name).strip("-").encode()[:NAME_MOST].decode(errors="ignore")
    stem = f"{started:%Y-%m-%dT%H-%M-%SZ}" + (f"-{word}" if word else "")
    for number in itertools.count(1):
        end = "" if number == 1 else f"-{number}"
        with contextlib.suppress(FileExistsError):
            return OpenFile.create(folder / f"{stem}{end}{layout.SUFFIX}", header)
    raise AssertionError("there is always another number")


def _tables(rows: tuple[list[tuple[int, ...]], ...]) -> list[Whole]:
    """Rows of each table as whole numbers; one axis after the other, so that the differences
    between rows are small."""
    made = []
    for name, table in zip(layout.TABLES, rows, strict=True):
        whole = np.array(table, np.int64).reshape(len(table), len(layout.columns(name)))
        if name == "axis":
            whole = whole[np.argsort(whole[:, AXIS_AT], kind="stable")]
        made.append(whole)
    return made


def _timed(head: Head, tables: list[Whole]) -> Head:
    """The head with the times of these rows, whose host times become relative to its first."""
    hosts = np.concatenate([t[:, HOST_AT] for t in tables])
    if not len(hosts):
        return head
    first, last = int(hosts.min()), int(hosts.max())
    for table in tables:
        table[:, HOST_AT] -= first
    telling = tables[:2] if len(tables[0]) or len(tables[1]) else tables[2:]  # events may be old
    pairs = np.concatenate([t[:, [TICK_AT, HOST_AT]] for t in telling])
    begun = pairs[0, 0]
    ticks = (pairs[:, 0] - begun + (1 << 31)) % (1 << 32) - (1 << 31)  # a block may span the wrap
    best = int(np.argmin(pairs[:, 1] - ticks * layout.TICK_US))
    marked = [int(tick + begun) % (1 << 32) for tick in (ticks.min(), ticks.max(), ticks[best])]
    host_us = (first, last, first + int(pairs[best, 1]))
    return replace(head, ticks=(marked[0], marked[1], marked[2]), host_us=host_us)
