"""The client: asks at most once, renews, and hears what comes unasked."""

from __future__ import annotations

import contextlib
import random
import statistics as numbers
import threading
from collections import deque
from collections.abc import Callable
from typing import Any

from rodbench_protocol.names import MAJOR, MINOR, REPLY_TIMEOUT_MS, SCHEMA_DIGEST, TRIES, ResetCause

from rodbench.clock import TICK_S, Clock
from rodbench.errors import (
    LinkLost,
    NeedsPerson,
    NoAnswer,
    OutcomeUnknown,
    ProtocolMismatch,
    Refused,
    RodbenchError,
)
from rodbench.link.api import LinkStatistics, Reply, Unasked, Who
from rodbench.link.heart import Heart, Pending, decode_unasked
from rodbench.link.refusals import major_refused, refusal
from rodbench.link.transport import ReaderThread, Transport

REPLY_TIMEOUT_S = REPLY_TIMEOUT_MS / 1000  # worst round trip is about 39 ms at 250 000 baud
HELLO_DEADLINE_S = 4.0  # boot pause of up to 2 s, bootloader noise, and some
HELLO_PERIOD_S = 0.2
ROUND_TRIPS_KEPT = 1024


class Client:
    """A link on a transport. With a threaded transport any thread may call it, and `stop` waits
    for nobody; else the caller's own waiting reads the port and lets time pass."""

    def __init__(
        self,
        transport: Transport,
        clock: Clock,
        *,
        warn: Callable[[str], None] | None = None,
        opened: Callable[[Client], None] | None = None,
        hello_deadline_s: float = HELLO_DEADLINE_S,
    ) -> None:
        self._transport = transport
        self._clock = clock
        self._warn = warn or (lambda text: None)
        self._opened = opened or (lambda client: None)
        self._statistics = LinkStatistics()
        self._heart = Heart(self._statistics)
        self._changed = threading.Condition()
        self._sequence = threading.RLock()  # one request in the sequence at a time
        self._failure: LinkLost | None = None
        self._hello: dict[str, Any] = {}
        self._fresh = False  # whether the open session is known to be good
        self._restarting = False  # asked for, and not over
        self._periods = (0, 0)
        self._tried = 0  # session number of the last open
        self._round_trips: deque[float] = deque(maxlen=ROUND_TRIPS_KEPT)
        self._warned: set[str] = set()
        self._reader = (
            ReaderThread(transport, self._take, self._fail) if transport.threaded else None
        )
        try:
            self.open_session(hello_deadline_s)
        except BaseException:
            self.close()
            raise

    # -- what a link offers

    @property
    def clock(self) -> Clock:
        """The clock that this link and its board live in."""
        return self._clock

    @property
    def newest_tick(self) -> int:
        """Newest board tick seen in this session."""
        return self._heart.newest_tick

    @property
    def commander(self) -> Who | None:
        """A port of one's own is nobody else's."""
        return None

    @property
    def dropped(self) -> int:
        """Frames that nobody polled in time."""
        return self._heart.dropped

    @property
    def alive_line(self) -> bool:
        """Whether the port is still there."""
        return self._failure is None

    @property
    def session(self) -> int:
        """Number of the open session; 0: none."""
        return self._heart.session

    @property
    def hello_fields(self) -> dict[str, Any]:
        """Fields of the last hello."""
        return self._hello

    def hello(self, deadline_s: float = HELLO_DEADLINE_S) -> Reply:
        """Ask who is there until somebody answers. Raises NoAnswer, ProtocolMismatch."""
        until = self._clock.now() + deadline_s
        seen = (self._heart.bytes_seen, self._statistics.frames_good)
        self._write(b"\0")  # ends half a frame that the board may still hold
        while True:
            pending = self._ask("hello", {})
            self._write(pending.frame)
            if self._wait(pending, min(until, self._clock.now() + HELLO_PERIOD_S)):
                return self._take_hello(pending)
            self._forget(pending)
            if self._clock.now() >= until - 1e-9:
                raise self._no_hello(deadline_s, seen)

    def open_session(self, deadline_s: float = HELLO_DEADLINE_S) -> None:
        """Hello, then take the board with a new session. Stops any host motion; moves nothing."""
        until = self._clock.now() + deadline_s
        with self._sequence:
            while True:
                hello = self.hello(max(HELLO_PERIOD_S, until - self._clock.now()))
                if self._open_once(hello):
                    break
                if self._clock.now() >= until:
                    raise NoAnswer(
                        f"{self._transport.name} says hello but opens no session",
                        hint="is another program talking to this board?",
                    )
            if any(self._periods):
                self._subscribe(*self._periods)
        self._opened(self)

    def request(self, name: str, **fields: Any) -> Reply:
        """Ask once and only once; see Link.request."""
        if name == "stop":
            return self.stop(fields.get("axis", 0), fields.get("category", 1))
        with self._sequence:
            if not self._fresh:
                self.open_session()
            self._statistics.requests += 1
            pending = self._ask(name, fields)
            try:
                self._exchange(pending)
            except OutcomeUnknown:
                self._fresh = False
                raise
            return self._reply(pending)

    def stop(self, axis: int = 0, category: int = 1) -> Reply:
        """Stop at once, beside whatever else is being asked. Safe to repeat."""
        self._statistics.requests += 1
        pending = self._ask("stop", {"axis": axis, "category": category})
        pending.frame = b"\0" + pending.frame  # ends a frame that an interrupt cut off
        self._exchange(pending)
        return self._reply(pending)

    def alive(self, tick: int | None = None) -> None:
        """Renew the motion of this session, echoing `tick`, or the newest seen."""
        with self._changed:
            frame = self._heart.alive(self._heart.newest_tick if tick is None else tick)
        self._write(frame)

    def poll(self, timeout_s: float = 0.0) -> list[Unasked]:
        """What came unasked, waiting up to `timeout_s` for the first."""
        return decode_unasked(self.poll_raw(timeout_s))

    def poll_raw(self, timeout_s: float = 0.0) -> list[bytes]:
        """As poll, but payloads as they came."""
        heart = self._heart
        until = self._clock.now() + timeout_s
        self._wait_until(lambda: bool(heart.unasked) or self._anew, until)
        with self._changed:
            if self._failure is not None and not heart.unasked:
                raise self._failure
            if self._anew:
                heart.restarted = self._fresh = False
                raise LinkLost(
                    "the board started anew",
                    kept="its outputs are off; nothing moves by itself",
                    hint="`rodbench info` says why it started",
                )
            taken = list(self._heart.unasked)
            self._heart.unasked.clear()
        return taken

    @property
    def _anew(self) -> bool:
        """The board started anew, and not because it was asked to."""
        return self._heart.restarted and not self._restarting

    def subscribe(self, axis_period_ms: int, board_period_ms: int) -> None:
        """Ask for telemetry; kept through a new session."""
        with self._sequence:
            before, self._periods = self._periods, (axis_period_ms, board_period_ms)
            try:
                if self._fresh:
                    self._subscribe(axis_period_ms, board_period_ms)
                else:
                    self.open_session()
            except Refused:
                self._periods = before  # else every later session would ask in vain
                raise

    def restart(self) -> Reply:
        """Restart the board and open a session with it; returns its hello."""
        with self._sequence:
            before = self._hello.get("boot_nonce")
            self._restarting = True  # whoever polls meanwhile is not told that the link was lost
            try:
                with contextlib.suppress(OutcomeUnknown):  # the nonce will tell
                    self.request("restart")
                self._fresh = False
                self.open_session()
            finally:
                self._restarting = False
            if self._hello["boot_nonce"] == before:
                raise OutcomeUnknown("the board did not restart", kept="its settings")
        return Reply("hello", self._heart.newest_tick, self._hello)

    def release(self) -> str:
        """Nobody else uses this link."""
        return ""

    def eye(self, **question: Any) -> dict[str, Any]:
        """A port has no eye."""
        raise NeedsPerson("only a person can see what this rod does", kept="nothing moved")

    def statistics(self) -> LinkStatistics:
        """What the link has seen."""
        trips = [1000 * t for t in self._round_trips]
        if trips:
            self._statistics.round_trip_ms_median = numbers.median(trips)
            self._statistics.round_trip_ms_worst = max(trips)
        return self._statistics

    def close(self) -> None:
        """Give the port up; safe to repeat."""
        if self._reader is not None:
            self._reader.end()
        self._transport.close()

    # -- hello and open

    def _take_hello(self, pending: Pending) -> Reply:
        fields = pending.fields or {}
        body = pending.raw[10:]  # header, tick, status, detail
        if len(body) >= 2 and body[0] != MAJOR:
            raise ProtocolMismatch(
                f"the board speaks protocol {body[0]}.{body[1]}, this program {MAJOR}.{MINOR}",
                kept="nothing was changed on the board",
                hint="load the firmware that belongs to this program, or install the other",
            )
        if not fields:
            raise NoAnswer(f"{self._transport.name} answers hello with something unreadable")
        self._hello = fields
        version = (fields["protocol_minor"], fields["schema_digest"])
        if version != (MINOR, SCHEMA_DIGEST):
            self._say_once(
                f"the board speaks protocol {fields['protocol_major']}."
                f"{fields['protocol_minor']} of another edition; the common part is used"
            )
        return Reply("hello", fields["tick"], fields)

    def _open_once(self, hello: Reply) -> bool:
        used = (self._heart.session, self._tried)
        session = random.SystemRandom().choice([s for s in range(1, 256) if s not in used])
        self._tried = session
        fields = {
            "boot_nonce": hello["boot_nonce"],
            "protocol_major": MAJOR,
            "protocol_minor": MINOR,
        }
        pending = self._ask("open", fields, session=session)
        try:
            self._exchange(pending)
            reply = self._reply(pending)
        except OutcomeUnknown:
            return False
        except Refused as error:
            if error.status_name in ("session_in_use", "wrong_nonce"):
                return False
            if error.status_name == "protocol_major":
                raise major_refused() from error
            raise
        with self._changed:
            self._heart.opened(session, reply.tick)
        self._statistics.sessions += 1
        self._fresh = True
        return True

    def _subscribe(self, axis_period_ms: int, board_period_ms: int) -> None:
        self.request("subscribe", axis_period_ms=axis_period_ms, board_period_ms=board_period_ms)

    def _no_hello(self, deadline_s: float, seen: tuple[int, int]) -> NoAnswer:
        count = self._heart.bytes_seen - seen[0]
        good = self._statistics.frames_good - seen[1]
        name = self._transport.name
        if count and not good:
            return NoAnswer(
                f"{name} sends something that is not this protocol ({count} bytes, no good frame)",
                kept="nothing was changed",
                hint="another device, another firmware, or another baud rate?",
            )
        return NoAnswer(
            f"no reply to hello in {deadline_s:.1f} s on {name}",
            kept="nothing was changed",
            hint="is the firmware on the board, and the board powered? `rodbench ports`",
        )

    def _say_once(self, text: str) -> None:
        if text not in self._warned:
            self._warned.add(text)
            self._warn(text)

    # -- asking and waiting

    def _ask(self, name: str, fields: dict[str, Any], session: int | None = None) -> Pending:
        with self._changed:
            if self._failure is not None:
                raise self._failure
            return self._heart.ask(name, fields, session=session)

    def _exchange(self, pending: Pending) -> None:
        """Send the same bytes up to three times, until the reply has come."""
        start = self._clock.now()
        try:
            for attempt in range(TRIES):
                self._statistics.tries += 1
                self._statistics.retries += attempt > 0
                self._write(pending.frame)
                if self._wait(pending, self._clock.now() + REPLY_TIMEOUT_S):
                    self._round_trips.append(self._clock.now() - start)
                    return
        finally:
            self._forget(pending)
        self._statistics.unanswered += 1
        raise OutcomeUnknown(
            f"no reply to {pending.name} in {TRIES} tries: whether it was carried out is unknown",
            kept="nothing is asked for again by itself; without its host the board stops the rod",
            hint="`rodbench watch` shows its state; is this computer busy, or the cable loose?",
        )

    def _reply(self, pending: Pending) -> Reply:
        fields = pending.fields or {}
        status = fields.get("status")
        if status == 0:
            return Reply(pending.name, fields["tick"], fields)
        if status is None:
            raise NoAnswer(f"the reply to {pending.name} is unreadable")
        error = refusal(pending.name, status, fields["detail"])
        if error.status_name in ("no_session", "sequence") and pending.name != "open":
            self._fresh = False
            raise self._session_gone(pending.name, error)
        raise error

    def _session_gone(self, name: str, error: Refused) -> RodbenchError:
        """Why the board no longer knows us: it started anew, or another host took it."""
        before = self._hello.get("boot_nonce")
        after = self.hello()
        if after["boot_nonce"] != before:
            cause = _cause_words(after["reset_cause"])
            return LinkLost(
                f"the board started anew ({cause}) before {name}",
                kept=f"{name} was not carried out; a draft that was open is gone",
                hint="outputs are off; look at the rod, then ask again",
            )
        if error.status_name == "no_session":
            return LinkLost(
                f"another host took the board before {name}", kept=f"{name} was not carried out"
            )
        return LinkLost(f"the board lost count before {name}", kept=f"{name} was not carried out")

    def _wait(self, pending: Pending, until: float) -> bool:
        self._wait_until(lambda: pending.fields is not None, until)
        if pending.fields is None and self._failure is not None:
            raise self._failure
        return pending.fields is not None

    def _wait_until(self, ready: Callable[[], bool], until: float) -> None:
        """Until `ready`, a failure, or the time `until`; reads the port where no thread does."""
        if self._reader is not None:
            with self._changed:
                while not ready() and self._failure is None:
                    left = until - self._clock.now()
                    if left <= 0:
                        return
                    self._changed.wait(left)
            return
        while True:
            self._read_here(0.0)
            if ready() or self._clock.now() >= until - 1e-9:
                return
            self._read_here(TICK_S)

    def _read_here(self, timeout_s: float) -> None:
        try:
            self._heart.feed(self._transport.read(timeout_s))
        except LinkLost as error:
            raise self._fail(error) from error

    def _write(self, data: bytes) -> None:
        try:
            self._transport.write(data)
        except LinkLost as error:
            raise self._fail(error) from error

    def _forget(self, pending: Pending) -> None:
        with self._changed:
            self._heart.forget(pending)

    # -- called by the reader thread

    def _take(self, data: bytes) -> None:
        with self._changed:
            self._heart.feed(data)
            self._changed.notify_all()

    def _fail(self, error: LinkLost) -> LinkLost:
        with self._changed:
            if self._failure is None:
                self._failure = LinkLost(
                    error.message,
                    kept="a motion under way is stopped by the board itself, "
                    "within its hold and its ramp",
                    hint="plug it in again; nothing moves by itself",
                )
            self._changed.notify_all()
            return self._failure


def _cause_words(number: int) -> str:
    known = {c.value: c.name.lower().replace("_", " ") for c in ResetCause}
    return known.get(number, f"cause {number}")
