"""What all parts of `measure pot` share: places in mm, speeds, readings at rest, sweeps kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from statistics import fmean, median

from rodbench_protocol.names import Fault

from rodbench.board import AxisSample
from rodbench.board.convert import mm_per_raw
from rodbench.clock import TICK_S
from rodbench.errors import RodbenchError
from rodbench.science.pot import Sweep, Track, follow

from .budget import Budget
from .job import Job, rest_samples
from .places import places

SHARE_OF_FULL = 0.6  # of full speed
FASTEST_MM_S = 25.0  # a reading each quarter of a millimetre
REST_S = 0.4
READ_S = 0.25
PASSAGES = 40  # stops by a guard in one sweep, then the way counts as barred
KEPT = "The rod is stopped; no setting was changed."
OF_THE_POT = {
    Fault.POT_BAND,
    Fault.POT_OPEN,
    Fault.POT_SHORT,
    Fault.POT_JUMP,
    Fault.WRONG_WAY,
    Fault.POT_NOT_FOLLOWING,
}


@dataclass(slots=True)
class Work:
    """One measurement under way."""

    job: Job
    budget: Budget
    track: Track
    mm: Callable[[float], float]  # of a raw reading, as the board reckons it
    sweeps: list[Sweep] = field(default_factory=list)
    stopped_at: list[float] = field(default_factory=list)
    blocked_at_mm: float | None = None
    stuck: bool = False  # it rests without contact, and the board will not move it

    def speed(self, way: int, wanted_mm_s: float) -> tuple[float, float]:
        """Output and the speed in mm/s that it should give, not below creep."""
        live = self.job.live
        name = "extend" if way > 0 else "retract"
        full = live[f"full_speed_{name}_um_s"] / 1000.0
        creep = (live["creep_output_permille"] / 1000.0, live["creep_speed_um_s"] / 1000.0)
        if full <= creep[1]:
            return creep
        dead = live[f"dead_zone_{name}_permille"] / 1000.0
        speed = min(SHARE_OF_FULL * full, wanted_mm_s)
        output = dead + (1.0 - dead) * speed / full
        most = live["output_max_permille"] / 1000.0
        return creep if output <= creep[0] else (min(output, most), speed)

    def here(self, seconds: float = READ_S) -> float:
        """Where the rod rests, in mm: the readings that an open wiper would not give."""
        places = [self.mm(s.raw) for s in rest_samples(self.job, seconds)[0]]
        ordered = sorted(places, key=lambda place: abs(place - self.track.open_mm))
        best = ordered[-max(3, len(ordered) // 4) :]
        sound = [p for p in places if abs(p - median(best)) < self.allowed_mm]
        return fmean(sound or best)

    def without_contact(self, place: float) -> bool:
        """Whether a place is what an open wiper reads, not a place between the soft stops."""
        track = self.track
        least = min(abs(track.low_mm - track.open_mm), abs(track.high_mm - track.open_mm))
        return abs(place - track.open_mm) < 0.5 * least

    def stopped(self) -> float:
        """Where the rod rests after a run, in mm; the end of the run's line where the wiper has no
        contact there."""
        place = self.here()
        if self.without_contact(place) and self.sweeps and len(self.sweeps[-1].mm) > 2:
            return float(follow(self.sweeps[-1], self.track).line_mm[-1])
        return place

    @property
    def allowed_mm(self) -> float:
        """What noise alone may put between two readings of one place."""
        return 8.0 * self.track.noise_mm + 3.0 * self.track.count_mm


def begin(job: Job) -> Work:
    """The work of a calibrated axis, by the settings in force."""
    live = job.live
    per_raw = mm_per_raw(live)
    stops = live["soft_stop_min_um"] / 1000.0, live["soft_stop_max_um"] / 1000.0
    track = track_of(job, live["raw_retracted"], per_raw, *stops)
    return Work(job, Budget(job), track, places(live))


def track_of(job: Job, raw_retracted: int, per_raw: float, low_mm: float, high_mm: float) -> Track:
    """What is known of the pot, its line being `per_raw` mm from `raw_retracted` on."""
    noise = max(job.live["noise_x16"] / 16.0, 1.0)
    return Track(
        noise_mm=noise * abs(per_raw),
        count_mm=abs(per_raw),
        open_mm=-raw_retracted * per_raw,
        low_mm=low_mm,
        high_mm=high_mm,
    )


def keep(work: Work, way: int, seen: Sequence[AxisSample]) -> None:
    moving = [s for s in seen if s.output != 0.0]
    seconds = [s.tick * TICK_S for s in moving]
    work.sweeps.append(Sweep(way, seconds, [work.mm(s.raw) for s in moving]))


@contextmanager
def changed(job: Job, during: Mapping[str, int]) -> Iterator[None]:
    """Other settings for a while. When something goes wrong inside the rod is stopped first; if
    they cannot be put back then, the board keeps them until its reset."""
    before = {key: job.live[key] for key in during}
    job.commit(during)
    try:
        yield
    except BaseException:
        with suppress(RodbenchError):
            job.board.stop(job.number, 0)
            job.board.sleep(REST_S)
            job.commit(before)
        raise
    job.commit(before)
