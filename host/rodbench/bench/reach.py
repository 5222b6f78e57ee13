"""Bringing a mounted rod to a place by hand: creep, hold-to-run, and a watch on each motion.

The person looks and lets go. Whoever is late is helped: a motion ends as soon as the current rises
suddenly, the pot stands, or a known rod comes to its own end, and that way then stays barred until
the rod has gone back a little.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from statistics import fmean
from typing import Protocol

from rodbench_protocol.names import AxisState, Ended

from rodbench.board import AxisSample, Motion, Outcome, Sample
from rodbench.clock import TICK_S
from rodbench.errors import Refused
from rodbench.science.rest import Rest, rest

from .ask import Kind, Question
from .budget import Budget
from .current import AtRest
from .job import Job, cause_words, failed, follow, rest_samples, settle
from .keeper import KnownRod
from .leg import Leg
from .polarity import Polarity

WAYS = {1: "out", -1: "in"}
PRESSES = {"out": (1, 1.0), "in": (-1, 1.0), "a little out": (1, 0.2), "a little in": (-1, 0.2)}
THERE = "there"
PRESSES_MOST = 600  # of one end; a person has given up long before
START_S = 0.2  # the start draws more
RISE = 1.4  # times what it drew a moment ago
RISE_STEPS = 5.0  # of the converter, at least
FEW = 3  # samples that must agree
USUAL_SHARE = 0.05  # of a sample in the running mean: about half a second
STANDS_S = 0.5
WRONG_WAY_RAW = 16.0
BACK_RAW = 24.0
CAPTURE_S = 1.0


def keys_words(end: str) -> str:
    """What a person at the keys is told."""
    return (
        f"       To the {end} working end: hold right to go out, left to go in; near it, single "
        "taps. Enter when it is there, q leaves."
    )


class Hand(Protocol):
    """A person's hand on the keys, and eyes on the rod."""

    def bring(self, reach: Reach, end: str) -> None:
        """Bring the rod to its working end ("retracted" or "extended"), as the person sees it."""
        ...


@dataclass(slots=True)
class _Going:
    """The motion under way: which way, where it began, and what it has drawn."""

    way: int
    samples: list[AxisSample] = field(default_factory=list)
    last: deque[float] = field(default_factory=lambda: deque(maxlen=FEW))
    moved_tick: int = 0
    mark_raw: float | None = None


NOT_SHOWN = (
    "Start again. If the rod stands where its pot says otherwise, the track is worn there "
    "(rodbench measure pot) or the wiper's wire is on a wrong lead (rodbench wire --identify)."
)


class Reach:
    """What a hand works with: presses one way or the other, each watched.

    `known` are the rod's own ends, where the bench has found them.
    """

    def __init__(self, job: Job, at_rest: AtRest, way: Polarity, known: KnownRod | None) -> None:
        self.job, self.at_rest, self.way, self.known = job, at_rest, way, known
        self.legs: list[Leg] = []
        self.barred: dict[int, tuple[float, str]] = {}  # way -> raw where it ended, and why
        self._usual_a = {1: way.current_a[0], -1: way.current_a[1]}
        self._going: _Going | None = None
        self._since: tuple[int, int] | None = None  # way of the last presses, raw where they began
        self._why = ""
        self._still_raw = max(12.0, 8.0 * at_rest.pot_noise_raw)

    @property
    def output_most(self) -> float:
        """The greater of the two creeps: what the board is to allow."""
        return max(self.way.creep_output)

    # ------------------------------------------------------------ a motion

    def begin(self, way: int) -> Motion | None:
        """Start this way at creep; None where the way is barred, and `why` says so. Raises Refused
        as the board does."""
        if why := self._bar(way):
            self._why = why
            return None
        self._why = ""
        motion = self.job.axis.jog_output(way * self.way.creep_of(way))
        self._going = _Going(way)
        return motion

    @property
    def why(self) -> str:
        """Why the motion under way has to end now, or could not begin; "" when it may go on."""
        return self._why

    def hear(self, sample: Sample) -> None:
        """A listener of the board while a hand is at work."""
        going = self._going
        if going is None or not isinstance(sample, AxisSample) or sample.state != AxisState.JOG:
            return
        if sample.axis == self.job.number and not self._why:
            going.samples.append(sample)
            if why := self._look(going, sample):
                self._why = why
                self.barred[going.way] = (sample.raw, why)

    def ended(self, outcome: Outcome | None) -> str:
        """Take a motion that has ended; what there is to say of it, or ""."""
        going, self._going = self._going, None
        if going is not None and going.samples:
            self.legs.append(Leg(going.way, self.way.creep_of(going.way), going.samples))
        if outcome is not None and outcome.ended == Ended.FAULT:
            self.job.axis.clear()
            why = f"the board stopped it: {cause_words(outcome)}"
            if going is not None:
                self.barred[going.way] = (float(outcome.raw), why)
            self._why = why
        return self._why

    def press(self, way: int, seconds: float) -> str:
        """One press of a key for so long; why it ended early, or ""."""
        try:
            motion = self.begin(way)
        except Refused as refused:
            if refused.status_name != "duty_spent":
                raise
            self._rest()
            motion = self.begin(way)
        if motion is None:
            return self._why
        with motion:
            follow(self.job, motion, seconds, lambda _: not self._why)
            if self._why:
                motion.stop(category=0)
        settle(self.job, 0.1)
        outcome = self.job.axis.outcome()
        if outcome.ended == Ended.DUTY:
            self._rest()
        return self.ended(outcome)

    def _rest(self) -> None:
        budget = Budget(self.job)
        budget.ensure(0.5 * budget.whole_s, "bringing the rod to its place")

    # ------------------------------------------------------------ the watch

    def _bar(self, way: int) -> str:
        """Why this way is barred; a rod that has gone back a little opens it again."""
        if way not in self.barred:
            return ""
        raw, why = self.barred[way]
        last = self.job.board.last_axis.get(self.job.number)
        if last is not None and way * self._rises * (raw - last.raw) > BACK_RAW:
            del self.barred[way]
            return ""
        return f"{WAYS[way]} is barred: {why}"

    @property
    def _rises(self) -> int:
        """Sense of the pot as the rod extends."""
        return -1 if self.way.pot_falls else 1

    def _look(self, going: _Going, sample: AxisSample) -> str:
        """Why the motion must end with this sample, or ""."""
        if self._since is None or self._since[0] != going.way:
            self._since = (going.way, sample.raw)
        gone = going.way * self._rises * (sample.raw - self._since[1])
        if gone < -max(WRONG_WAY_RAW, 10.0 * self.at_rest.pot_noise_raw):
            raise failed(
                self.job,
                f"the rod was told to go {WAYS[going.way]} and its pot goes the other way",
                "Were leads swapped when it was mounted? "
                f"rodbench calibrate polarity {self.job.number}",
            )
        if own := self._own_end(going, sample):
            return own
        on = going.way * self._rises * (sample.raw - (going.mark_raw or 0.0))
        if going.mark_raw is None or on > self._still_raw:
            going.mark_raw, going.moved_tick = float(sample.raw), sample.tick
        if (sample.tick - going.moved_tick) * TICK_S > self._stands_s(going.way):
            return "the rod stands: something is in its way"
        return self._risen(going, sample, (sample.tick - going.samples[0].tick) * TICK_S)

    def _stands_s(self, way: int) -> float:
        """How long the pot may stand: noise must not look like a stop."""
        return max(STANDS_S, 3.0 * self._still_raw / max(self.way.raw_s_of(way), 1.0))

    def _own_end(self, going: _Going, sample: AxisSample) -> str:
        if self.known is None:
            return ""
        low, high = self.known.raw
        share = (sample.raw - low) / (high - low)
        if (going.way > 0 and share > 1.0) or (going.way < 0 and share < 0.0):
            return "by its pot this is the rod's own end"
        return ""

    def _risen(self, going: _Going, sample: AxisSample, since_s: float) -> str:
        """A current that rises suddenly: the rod presses against something."""
        if self.at_rest.sensor is None or since_s < START_S:
            return ""
        usual = self._usual_a[going.way] = self._usual_a[going.way] or sample.current_a
        going.last.append(sample.current_a)
        most = max(RISE * usual, usual + RISE_STEPS * self.at_rest.current_step_a)
        if len(going.last) == FEW and min(going.last) > most:
            return f"the current rose to {fmean(going.last):.2f} A: something is in its way"
        self._usual_a[going.way] += USUAL_SHARE * (sample.current_a - usual)
        return ""


class AskedHand:
    """A hand that is asked what to press next: the plant's eye, or a test."""

    def bring(self, reach: Reach, end: str) -> None:
        """As Hand.bring. Raises ProcedureError when it never comes to an end."""
        question = Question(
            f"hand_{end}",
            f"       To the {end} working end: which way next?",
            Kind.FACT,
            (*PRESSES, THERE),
        )
        for _ in range(PRESSES_MOST):
            answer = reach.job.asker.ask(question)
            if answer == THERE:
                return
            if why := reach.press(*PRESSES[answer]):
                reach.job.say(f"       stopped: {why}")
        why = f": {reach.why}" if reach.why else ""
        raise failed(reach.job, f"the {end} working end was not shown{why}", NOT_SHOWN)


def capture(job: Job) -> Rest:
    """The pot at rest."""
    settle(job, 0.5)
    return rest([s.raw for s in rest_samples(job, CAPTURE_S)[0]])
