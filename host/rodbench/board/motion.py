"""A motion under way, kept alive by the caller's own loop and stopped whatever happens."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import TracebackType
from typing import TYPE_CHECKING

from rodbench_protocol.names import Ended

from rodbench.board import signals
from rodbench.board.types import RESTING, AxisSample, Outcome
from rodbench.errors import Faulted, NoAnswer, RodbenchError, StopAsked
from rodbench.link.api import Reply
from rodbench.link.refusals import fault_words

if TYPE_CHECKING:
    from rodbench.board.board import Axis

PUMP_S = 0.025  # longest wait for telemetry in one turn of a loop
SILENCE_S = 0.3  # no sample for so long: ask the board itself
REST_DEADLINE_S = 20.0  # after this a stop is repeated as category 0


class Motion:
    """A motion that the board has accepted. Use it as a context: leaving stops what still runs.

    Nothing renews it but the loops of `wait`, `samples` and `Board.pump`: who does not loop lets
    it lapse. `change` is given for jogs.
    """

    def __init__(
        self, axis: Axis, number: int, tick: int, change: Callable[[float], Reply] | None = None
    ) -> None:
        self.axis = axis
        self.number = number
        self.ended: Outcome | None = None
        self._start_tick = tick
        self._change = change
        self._at_rest = False
        self._mate_rests = True  # of a gang both must rest, or silence would end the other's motion
        self._seen_s = axis.board.clock.now()
        self._stopped = False
        axis.board.begin(self)

    @property
    def start_tick(self) -> int:
        """The board's tick at which it was accepted; its output begins with the next."""
        return self._start_tick

    def wait(
        self,
        timeout_s: float | None = None,
        *,
        until: Callable[[AxisSample], bool] | None = None,
    ) -> Outcome | None:
        """Keep the motion alive until it ends: returns how it ended.

        With `until`, also returns None as soon as a sample of this axis satisfies it, and with
        `timeout_s` (seconds of the link's clock) when that time has passed; the motion goes on.
        Any exception or signal meanwhile stops the rod first (category 1, then 0 if that is not
        answered). Raises LinkLost when the port goes away or the board starts anew, and
        StopAsked when another command asked for a stop.
        """
        clock = self.axis.board.clock
        deadline = None if timeout_s is None else clock.now() + timeout_s
        for sample in self._run(deadline):
            if until is not None and until(sample):
                return None
        return self.ended

    def finish(self, timeout_s: float | None = None) -> Outcome:
        """As wait, for motions that end by themselves: stopped and NoAnswer after `timeout_s`."""
        outcome = self.wait(timeout_s)
        if outcome is None:
            self.stop()
            raise NoAnswer(
                f"axis {self.axis.number} did not come to rest in {timeout_s} s",
                kept="the rod was stopped",
            )
        return outcome

    def samples(self) -> Iterator[AxisSample]:
        """Samples of this axis while the motion is kept alive, until it ends."""
        yield from self._run(None)

    def change(self, value: float) -> None:
        """Another speed in mm/s (or output, -1..1, while uncalibrated) for a running jog."""
        if self._change is None:
            raise TypeError("only a jog changes its speed")
        with self._guarded():
            reply = self._change(value)
        self.number, self._start_tick, self._at_rest = reply["motion"], reply.tick, False

    def stop(self, category: int = 1) -> Outcome:
        """Stop and wait for rest; returns how the motion ended."""
        board = self.axis.board
        with self._guarded():
            board.link.stop(self.axis.number, category)
            self._stopped = True
        deadline = board.clock.now() + REST_DEADLINE_S
        for _ in self._run(deadline):
            pass
        if self.ended is None:
            board.link.stop(self.axis.number, 0)
            return self._ask()
        return self.ended

    def __enter__(self) -> Motion:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self.ended is not None:
            return
        if error is None:
            self.stop()
        elif not self._stopped:
            self.stop_now()

    def stop_now(self) -> None:
        """Stop with an error on its way up: category 1, then 0; raises nothing."""
        with signals.held_back():
            for category in (1, 0):
                with contextlib.suppress(RodbenchError):
                    self.axis.board.link.stop(self.axis.number, category)
                    self._stopped = True
                    break
            self.axis.board.end(self)

    # -- called by the board for every sample of an axis

    def see(self, sample: AxisSample) -> None:
        """Take a sample: of its axis, or of the one that is ganged with it."""
        if sample.axis != self.axis.number:
            self._mate_rests = sample.state in RESTING or not sample.ganged
            return
        self._seen_s = self.axis.board.clock.now()
        if sample.tick >= self._start_tick:
            self._at_rest = sample.motion != self.number or sample.state in RESTING

    # -- the loop

    def _run(self, deadline: float | None) -> Iterator[AxisSample]:
        board = self.axis.board
        while self.ended is None:
            with self._guarded():
                samples = board.pump(PUMP_S)
                self._settle()
            for sample in samples:
                if isinstance(sample, AxisSample) and sample.axis == self.axis.number:
                    yield sample
            if deadline is not None and board.clock.now() >= deadline:
                return

    @contextlib.contextmanager
    def _guarded(self) -> Iterator[None]:
        try:
            yield
        except BaseException:
            if self.ended is None:
                self.stop_now()
            raise

    def _settle(self) -> None:
        """See whether it has ended, by the samples or, when none come, by asking."""
        silent = self.axis.board.clock.now() - self._seen_s > SILENCE_S
        if not ((self._at_rest and self._mate_rests) or silent):
            return
        self._seen_s = self.axis.board.clock.now()
        outcome = self._ask()
        if outcome.ended != Ended.RUNNING:
            self._finished(outcome)

    def _ask(self) -> Outcome:
        outcome = self.axis.outcome()
        if outcome.motion != self.number:
            return replace(outcome, motion=self.number, ended=Ended.REPLACED)
        return outcome

    def _finished(self, outcome: Outcome) -> None:
        self.ended = outcome
        if by := self.axis.board.end(self):
            raise StopAsked(
                f"axis {self.axis.number} was stopped: {by} asked for it",
                kept="the rod is at rest",
                hint="see why; then ask again",
            )


def check_outcome(outcome: Outcome) -> Outcome:
    """The same outcome; raises Faulted when a guard ended the motion."""
    if outcome.cause and outcome.ended in (Ended.FAULT, Ended.SILENCE):
        raise Faulted(
            f"axis {outcome.axis} stopped: {fault_words(outcome.cause)}",
            axis=outcome.axis,
            fault=outcome.cause,
            kept="the fault is latched: nothing moves until it is cleared",
            hint=f"look at the rod, then `rodbench clear {outcome.axis}`",
        )
    return outcome


__all__ = ["Motion", "check_outcome"]
