"""Board and Axis: everything that the command does, for scripts."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from types import TracebackType
from typing import Any

from rodbench_protocol.names import ALIVE_PERIOD_MS, Commander, EventKind, JogUnit, Status

from rodbench.board import convert, local, memory, settings, signals
from rodbench.board.motion import Motion
from rodbench.board.types import (
    AxisSample,
    BlackBox,
    BoardSample,
    Event,
    Hello,
    Outcome,
    Sample,
    Totals,
    Trip,
)
from rodbench.clock import Clock
from rodbench.errors import (
    HeldError,
    LinkLost,
    NoAnswer,
    Refused,
    RodbenchError,
    SettingsError,
    UsageError,
)
from rodbench.link.api import Link, LinkStatistics, Reply, Who
from rodbench.link.client import Client
from rodbench.link.transport import Transport

ALIVE_S = ALIVE_PERIOD_MS / 1000
AXIS_PERIOD_MS = 10  # telemetry while a motion runs
BOARD_PERIOD_MS = 100
WIRE_I16, WIRE_I32 = 2**15 - 1, 2**31 - 1
STORE_ASK_S = 0.25  # how often a store is asked for whose event does not come


class Board:
    """A board on a link. Opening one moves nothing. Use it as a context, or `close` it."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.listeners: list[Callable[[Sample], None]] = []  # in the caller's own thread
        self.last_axis: dict[int, AxisSample] = {}
        self.last_board: BoardSample | None = None
        self._periods = (0, 0)
        self._motions: list[Motion] = []
        self._renewed_s = float("-inf")

    @classmethod
    def open(
        cls,
        port: str,
        *,
        folder: str | None = None,
        warn: Callable[[str], None] | None = None,
        who: str | None = None,
    ) -> Board:
        """Through the owner process of `port`, which starts by itself.

        Ports: `/dev/ttyUSB0`, `COM3`, `tcp:HOST:PORT`, `emulator`, `emulator:FILE`. `folder` is
        the machine folder, where the emulator keeps its state. `warn` hears of another protocol
        minor and the like. `who` names this command to others ("jog 1"). Raises PortError,
        NoAnswer, ProtocolMismatch.
        """
        from rodbench.owner.link import OwnerLink

        return cls(OwnerLink.connect(port, folder=folder, warn=warn, who=who))

    @classmethod
    def direct(
        cls, transport: Transport, clock: Clock, *, warn: Callable[[str], None] | None = None
    ) -> Board:
        """On a transport of this process, without an owner: for embedding, tests, and emulated
        boards faster than real time (a VirtualClock)."""
        return cls(Client(transport, clock, warn=warn))

    @property
    def clock(self) -> Clock:
        """The clock that the board, the link and a procedure on it share."""
        return self.link.clock

    @property
    def hello(self) -> Hello:
        """What the board said when it was opened or last asked."""
        return convert.hello(self.link.hello_fields)

    @property
    def commander(self) -> Who | None:
        """Who commands the board, this program or another, as of the last poll; None: nobody."""
        return self.link.commander

    @property
    def dropped(self) -> int:
        """Frames of telemetry that were thrown away because this program did not poll in time."""
        return self.link.dropped

    def ask_hello(self) -> Hello:
        """Ask again (digests, reset cause)."""
        return convert.hello(self.link.hello().fields)

    def axis(self, number: int) -> Axis:
        """One of the board's axes, from 1. Raises UsageError for another number."""
        if number not in self.scopes[1:]:
            has = " and ".join(str(axis) for axis in self.scopes[1:])
            raise UsageError(f"this board has no axis {number}", hint=f"it has axis {has}")
        return Axis(self, number)

    def request(self, name: str, **fields: Any) -> Reply:
        """A request by its schema name, wire units."""
        return self.link.request(name, **fields)

    # -- listening

    def subscribe(self, axis_period_s: float = 0.01, board_period_s: float = 0.1) -> None:
        """Ask for telemetry; 0 ends it. The API subscribes by itself when a motion starts.

        Through the owner the shortest period that any program asks for is in force for all that
        ask: one that asks for 20 a second gets 100 while another does. Draw by your own clock.
        """
        self._periods = (round(axis_period_s * 1000), round(board_period_s * 1000))
        self.link.subscribe(*self._periods)

    def poll(self, timeout_s: float = 0.0) -> list[Sample]:
        """What came unasked, waiting up to `timeout_s` for the first. Keeps nothing alive."""
        minor = self.link.hello_fields["protocol_minor"]
        samples = [convert.sample(u, minor) for u in self.link.poll(timeout_s)]
        for sample in samples:
            self._note(sample)
        return samples

    def pump(self, timeout_s: float = 0.025) -> list[Sample]:
        """As poll, and renews the motions of this Board: for loops of your own."""
        samples = self.poll(timeout_s)
        if self._motions and self.clock.now() - self._renewed_s >= ALIVE_S - 1e-9:
            self._renewed_s = self.clock.now()
            self.link.alive()
        return samples

    def watch(self, seconds: float) -> list[Sample]:
        """All samples of the next `seconds` of the clock. Subscribes if nothing is subscribed."""
        self._listen()
        return self._collect(seconds)

    def sleep(self, seconds: float) -> None:
        """Let `seconds` of the clock pass while listening; samples go to the listeners."""
        self._collect(seconds)

    # -- acting

    def stop(self, axis: int = 0, category: int = 1) -> None:
        """Stop one axis, or all (0), whoever commands."""
        self.link.stop(axis, category)

    def clear(self, axis: int = 0) -> int:
        """Clear latched faults of an axis (0: all and the board); returns the bits cleared."""
        return int(self.link.request("clear", axis=axis)["cleared"])

    def outcome(self, axis: int) -> Outcome:
        """How the last motion of the axis ended."""
        return convert.outcome(self.link.request("outcome", axis=axis).fields)

    def counters(self) -> dict[str, int]:
        """What the board has counted since its start."""
        return _without_head(self.link.request("counters"))

    # -- what the board remembers; raises Refused where its firmware does not

    def trips(self) -> list[Trip]:
        """The last trips, oldest first; they outlive power."""
        return memory.trips(self)

    def black_box(self, axis: int) -> BlackBox | None:
        """The last 0.3 s before the last trip; None: power was lost, or a motion has begun since
        (see SPEC.md), or nothing has tripped."""
        return memory.black_box(self, axis)

    def totals(self, axis: int) -> Totals:
        """On-time, starts and travel of an axis in all."""
        return memory.totals(self, axis)

    def credit_off(self, seconds: float) -> None:
        """Tell how long the board was without power, for duty and heat to fall by it.

        Once after power came on, before anything moves; else Refused. Only what is known for
        sure: too long a time makes the motor warmer than the board reckons.
        """
        memory.credit_off(self, seconds)

    # -- settings

    @property
    def scopes(self) -> range:
        """The scopes of settings that this board has: 0 the board, then its axes."""
        return range(1 + self.hello.axis_count)

    def read_scope(self, scope: int, which: str = "live") -> dict[str, int]:
        """Settings of scope 0 (board), 1 or 2 by key name, wire units; `which` live or draft."""
        return settings.read(self.link, scope, which)

    def write_scope(self, scope: int, values: dict[str, int], store: bool = False) -> int:
        """Change keys of a scope: draft, check, commit; all or nothing. Returns the scope's digest.

        Raises Refused (with key and rule in its text) and leaves the board as it was; raises
        LinkLost when the board started anew in the middle and the draft is gone. `store` also
        stores.
        """
        digest = settings.write(self.link, scope, values)
        if store:
            self.store()
        return digest

    def check_scope(self, scope: int, values: dict[str, int]) -> int:
        """As write_scope, but the board only checks, and the draft is dropped again."""
        return settings.check(self.link, scope, values)

    def store(self, timeout_s: float = 6.0) -> int:
        """Store the live settings and wait until it is done; returns the generation."""
        generation = int(self.link.request("store")["generation"])
        deadline = self.clock.now() + timeout_s
        ask_at = self.clock.now() + STORE_ASK_S
        while self.clock.now() < deadline:
            for sample in self.pump():
                if isinstance(sample, Event) and sample.kind == EventKind.STORED:
                    return _stored(generation, sample.cause == 0)
            if self.clock.now() >= ask_at:  # the event may be lost
                ask_at += STORE_ASK_S
                digests = self.digests()
                if not digests["storing"]:
                    return _stored(generation, digests["stored"] == digests["live"])
        raise NoAnswer(f"the store did not end in {timeout_s} s", hint="ask for `digests`")

    def digests(self) -> dict[str, int]:
        """live, stored, board, axis_1, axis_2, storing: one round trip."""
        return _without_head(self.link.request("digests"))

    def restart(self) -> Hello:
        """Restart the board, wait for it and open a new session."""
        return convert.hello(self.link.restart().fields)

    # -- the link

    def statistics(self) -> LinkStatistics:
        """What the link has seen."""
        return self.link.statistics()

    def close(self) -> None:
        """Give the link up; a motion of this command is stopped first."""
        for motion in list(self._motions):
            motion.stop_now()
        self.link.close()

    def __enter__(self) -> Board:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # -- used by Axis and Motion

    def begin(self, motion: Motion) -> None:
        """A motion has begun: renew it from now on, and turn signals into exceptions."""
        signals.raising.hold()
        self._motions.append(motion)

    def end(self, motion: Motion) -> str:
        """A motion has ended. Returns who else asked for a stop meanwhile, "" for nobody."""
        if motion not in self._motions:
            return ""
        self._motions.remove(motion)
        signals.raising.release()
        if not self._motions:
            with contextlib.suppress(RodbenchError):
                return self.link.release()
        return ""

    def start(self, axis: int, name: str, **fields: Any) -> Reply:
        """Ask for a motion; stops the axis when the asking itself is interrupted."""
        self._listen()
        try:
            return self.link.request(name, axis=axis, **fields)
        except Refused as error:
            if error.status == Status.LOCAL_CONTROL:
                raise local.refused(self, axis, error) from None
            raise
        except (HeldError, LinkLost):
            raise  # not carried out, or nobody there to stop
        except BaseException:
            self._stop_quietly(axis)
            raise

    def _stop_quietly(self, axis: int) -> None:
        with signals.held_back(), contextlib.suppress(RodbenchError):
            self.link.stop(axis, 1)

    def _listen(self) -> None:
        """Telemetry at full rate, unless something was subscribed already."""
        if not self._periods[0] or not self._periods[1]:
            self.subscribe(AXIS_PERIOD_MS / 1000, BOARD_PERIOD_MS / 1000)

    def _collect(self, seconds: float) -> list[Sample]:
        until = self.clock.now() + seconds
        found: list[Sample] = []
        while (left := until - self.clock.now()) > 1e-9:
            found += self.pump(min(left, 0.025))
        return found

    def _note(self, sample: Sample) -> None:
        if isinstance(sample, AxisSample):
            self.last_axis[sample.axis] = sample
            for motion in self._motions:
                motion.see(sample)
        elif isinstance(sample, BoardSample):
            self.last_board = sample
        for listener in self.listeners:
            listener(sample)


def _wire(value: float, most: int = WIRE_I32) -> int:
    """In thousandths, as it goes over the wire. Raises UsageError for what no field can hold."""
    if not abs(value) * 1000 <= most:  # nan is no less than anything
        raise UsageError(
            f"{value:g} is beyond all that a board can be asked for",
            kept="nothing was sent",
            hint="is the unit right?",
        )
    return round(value * 1000)


class Axis:
    """One axis. Every motion method returns at acceptance with a Motion to wait on.

    Motion methods raise Refused with the board's reason (uncalibrated, outside, duty_spent ...).
    """

    def __init__(self, board: Board, number: int) -> None:
        self.board = board
        self.number = number

    def jog(self, speed_mm_s: float) -> Motion:
        """Hold-to-run at a speed, positive extends; a calibrated axis."""
        return self._jog(JogUnit.SPEED, speed_mm_s)

    def jog_output(self, output: float) -> Motion:
        """Hold-to-run at an output (-1..1, capped at creep by the board); an uncalibrated axis."""
        return self._jog(JogUnit.OUTPUT, output)

    def run(self, output: float) -> Motion:
        """Hold-to-run at an output (-1..1) for measuring; a calibrated axis."""
        return self._begin("run", output_permille=_wire(output, WIRE_I16))

    def run_to_end(self, direction: int) -> Motion:
        """Hold-to-run at the output ceiling to an end (1 extend, -1 retract), which the current
        shows; a rod without a pot, once its stroke times are set."""
        return self.run(float(direction))

    def seek(self, direction: int) -> Motion:
        """Creep to an end (1 extend, -1 retract); an uncalibrated axis."""
        return self._begin("seek", direction=direction)

    def move(self, target_mm: float, speed_mm_s: float = 0.0) -> Motion:
        """Go to a position, in mm from the retracted end; speed 0: the setting's."""
        return self._begin("move", target_um=_wire(target_mm), speed_um_s=_wire(speed_mm_s))

    def level(self, speed_mm_s: float) -> Motion:
        """Hold-to-run of this rod of a gang alone, at creep at most, to level the two."""

        def ask(new: float) -> Reply:
            return self.board.start(self.number, "level", speed_um_s=_wire(new))

        reply = ask(speed_mm_s)
        return Motion(self, reply["motion"], reply.tick, ask)

    def stop(self, category: int = 1) -> None:
        """Stop this axis, whoever commands; of a gang both."""
        self.board.stop(self.number, category)

    def sample(self, timeout_s: float = 1.0) -> AxisSample:
        """The next sample of this axis. Raises NoAnswer when none comes."""
        board = self.board
        board._listen()
        board.pump(0.0)  # what waited is not next
        deadline = board.clock.now() + timeout_s
        while board.clock.now() < deadline:
            for sample in board.pump():
                if isinstance(sample, AxisSample) and sample.axis == self.number:
                    return sample
        raise NoAnswer(f"no telemetry of axis {self.number} in {timeout_s} s")

    def take(self) -> None:
        """From now on the host commands this axis, not its local input; what that has under way
        stops. After 10 s of this host's silence at rest the input has it again."""
        self.board.request("hand_over", axis=self.number, commander=int(Commander.HOST))

    def give_back(self) -> None:
        """The local input commands again, once it was seen at rest."""
        self.board.request("hand_over", axis=self.number, commander=int(Commander.LOCAL))

    def clear(self) -> int:
        """Clear latched faults of this axis; returns the bits cleared."""
        return self.board.clear(self.number)

    def outcome(self) -> Outcome:
        """How the last motion of this axis ended."""
        return self.board.outcome(self.number)

    def settings(self) -> dict[str, int]:
        """Live settings of this axis, wire units."""
        return self.board.read_scope(self.number)

    def _begin(self, name: str, **fields: Any) -> Motion:
        reply = self.board.start(self.number, name, **fields)
        return Motion(self, reply["motion"], reply.tick)

    def _jog(self, unit: JogUnit, value: float) -> Motion:
        def ask(new: float) -> Reply:
            return self.board.start(self.number, "jog", unit=unit, value=_wire(new))

        reply = ask(value)
        return Motion(self, reply["motion"], reply.tick, ask)


def _without_head(reply: Reply) -> dict[str, int]:
    return {k: v for k, v in reply.fields.items() if k not in ("tick", "status", "detail")}


def _stored(generation: int, good: bool) -> int:
    if not good:
        raise SettingsError(
            "the board could not store its settings",
            kept="the settings in force, and those stored before",
            hint="store again; if it fails again the memory is worn out",
        )
    return generation


__all__ = ["Axis", "Board"]
