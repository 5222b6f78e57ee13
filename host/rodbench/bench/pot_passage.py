"""Past a place where the wiper has no contact: at creep, as an uncalibrated axis."""

from __future__ import annotations

from dataclasses import dataclass

from rodbench.board import AxisSample
from rodbench.clock import TICK_S
from rodbench.errors import Faulted, Refused

from .job import REST_PERIOD_S, Job, rest_samples
from .pot_work import OF_THE_POT, PASSAGES, REST_S, Work, changed, keep

SOUND_S = 0.3  # of good readings end a passage at creep
TRUST_S = 0.1  # of readings that hang together: a lost contact decays in a third of it
FASTER = 2.0  # than the creep that is known: the most that creep can be
RUN_ON_S = 0.1  # of creep: after the output has ended
CLEAR_TRIES = 10


def get_past(work: Work, way: int, place: float) -> bool:
    """Past a place without contact, at creep and with the guards that judge by the pot at rest.

    False when there is no way through. Calibration is in force again when this returns.
    """
    job = work.job
    job.say(f"       contact lost at {job.units.length(place)}: on at creep")
    with changed(job, {"calibrated": 0}):
        through = _creep_on(work, way, place)
    clear(job)
    return through


def _creep_on(work: Work, way: int, place: float) -> bool:
    live = work.job.live
    creep = live["creep_output_permille"] / 1000.0
    passage = Passage(work, way, place, live["creep_speed_um_s"] / 1000.0)
    for _ in range(PASSAGES):
        if not clear(work.job):
            return False
        try:
            motion = work.job.axis.jog_output(way * creep)
        except Refused:
            continue
        seen: list[AxisSample] = []
        with motion:
            for sample in work.job.samples(motion):
                seen.append(sample)
                if passage.over(sample):
                    break
        keep(work, way, seen)
        passage.rested()
        if passage.sound or passage.at_stop:
            return passage.lost_s == 0.0 or passage.sound
        work.stopped_at.append(passage.guess)
    return False


@dataclass(slots=True)
class Passage:
    """Where the rod must be by now: by its readings where they hang together, else by its time.

    `place` was last read well; `lost_s` of output have passed since, over all starts.
    """

    work: Work
    way: int
    place: float
    speed: float
    lost_s: float = 0.0
    good_s: float = 0.0
    last_s: float | None = None
    last_mm: float | None = None
    from_mm: float | None = None
    sound: bool = False
    at_stop: bool = False

    def over(self, sample: AxisSample) -> bool:
        """Take a reading; whether the passage is over."""
        now, mm = sample.tick * TICK_S, self.work.mm(sample.raw)
        span = now - self.last_s if self.last_s is not None else REST_PERIOD_S
        self.good_s = self.good_s + span if self._goes_on(mm, span) else 0.0
        self.last_s, self.last_mm = now, mm
        if self.good_s >= TRUST_S:
            self.from_mm = mm if self.from_mm is None else self.from_mm
            self.place, self.lost_s = mm, 0.0
        else:
            self.lost_s += span
        self.sound = self.good_s >= SOUND_S and self._travelled()
        self.at_stop = self._left(self.furthest) < 1.0
        return self.sound or self.at_stop

    @property
    def guess(self) -> float:
        """Where the rod most likely is."""
        return self.place + self.way * self.speed * self.lost_s

    @property
    def furthest(self) -> float:
        """How far the rod can have come: creep is faster one way, and with less load."""
        return self.place + self.way * FASTER * self.speed * self.lost_s

    def rested(self) -> None:
        """The rod stands again; it ran on a little."""
        self.last_s = self.last_mm = None
        self.good_s = 0.0
        self.lost_s += 0.0 if self.sound else RUN_ON_S

    def _left(self, place: float) -> float:
        """The way from a place to the soft stop ahead, in mm."""
        track = self.work.track
        return self.way * ((track.high_mm if self.way > 0 else track.low_mm) - place)

    def _goes_on(self, mm: float, span: float) -> bool:
        """Whether a reading follows from the one before as the rod's own motion."""
        if self.last_mm is None or self.work.without_contact(mm):
            return False
        step, allowed = self.way * (mm - self.last_mm), self.work.allowed_mm
        return -allowed <= step <= FASTER * self.speed * span + allowed

    def _travelled(self) -> bool:
        """Whether the rod has moved at all among good readings."""
        return self.from_mm is not None and abs(self.place - self.from_mm) > max(
            0.3, self.work.allowed_mm
        )


def clear(job: Job) -> bool:
    """Clear the guard with the rod proven at rest; False when it comes back each time."""
    for _ in range(CLEAR_TRIES):
        samples = rest_samples(job, REST_S)[0]
        if not samples or any(s.output != 0.0 for s in samples[-5:]):
            continue
        if not samples[-1].faults:
            return True
        others = samples[-1].faults & ~sum(1 << (f - 1) for f in OF_THE_POT)
        if others:
            raise Faulted(
                f"axis {job.number}: a guard that has nothing to do with the pot tripped",
                axis=job.number,
                kept="The rod is stopped.",
                hint=f"Look at the rod, then: rodbench clear {job.number}",
            )
        job.axis.clear()
        if not job.axis.sample().faults:
            return True
    return False
