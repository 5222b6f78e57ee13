"""One motion that a page keeps alive: whose it is, by what it was last renewed, and how it ends."""

from __future__ import annotations

from dataclasses import dataclass, field

from rodbench.board import RESTING, AxisSample

JOG, MOVE = "jog", "move"
SILENCE_S = {JOG: 0.15, MOVE: 0.3}  # without a renewal for so long it is stopped
_HALF = 1 << 31


def later(one: int, other: int) -> bool:
    """Whether board tick `one` comes after `other`; they count modulo 2^32."""
    return 0 < (one - other) % (2 * _HALF) < _HALF


@dataclass(slots=True)
class Held:
    """`seen`: the newest board tick that its page has echoed. `over`: nothing renews it any more.
    `ended`: the rods are at rest again."""

    page_id: str
    axis: int
    kind: str  # JOG or MOVE
    seen: int
    renewed_s: float
    stops: int  # how many stops had been asked for when it was begun
    over: bool = False
    why: str = ""
    ended: bool = False
    over_s: float = 0.0
    number: int | None = None  # the board's, once it has accepted
    start_tick: int = 0
    targets: dict[int, float] = field(default_factory=dict)  # mm, by axis: of a move
    _mate_rests: bool = True
    _rests: bool = False

    def accepted(self, number: int, tick: int) -> None:
        """The board has begun it."""
        self.number, self.start_tick = number, tick

    def renew(self, seen: int, now_s: float) -> bool:
        """A renewal of its page; False where it does not count, being no newer than the last."""
        if self.over or not later(seen, self.seen):
            return False
        self.seen, self.renewed_s = seen, now_s
        return True

    def silent(self, now_s: float) -> bool:
        """Whether its page has been silent for too long."""
        return not self.over and now_s - self.renewed_s >= SILENCE_S[self.kind]

    def see(self, sample: AxisSample) -> bool:
        """A sample; True once all that it moves is at rest."""
        if self.number is None or later(self.start_tick, sample.tick):
            return False
        if sample.axis != self.axis:
            self._mate_rests = sample.state in RESTING or not sample.ganged
        else:
            self._rests = sample.motion != self.number or sample.state in RESTING
        return self._rests and self._mate_rests
