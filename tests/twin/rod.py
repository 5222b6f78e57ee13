"""A rod for comparing twin and core: it lets motions run their course, and claims no truth."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

BRAKE, DRIVE = 1, 2


@dataclass(slots=True)
class Rod:
    """Places in raw. `rate` is raw per tick at full output; currents are sums of 4 conversions.

    After `runs_for` ticks under way, unless that is 0, something bars it until the output is off.
    """

    place: float
    low: float
    high: float
    rate: float
    motor_sign: int
    dead_zone: int
    noise: float
    running: float
    stalled: float
    zero: int
    switch_ends: bool
    centred: bool = False
    runs_for: int = 0
    ran: int = 0
    speed: float = 0.0
    jammed: bool = False
    frozen_at: int = -1
    forced_pot: int = -1
    forced_current: int = -1
    backwards: bool = False
    aside: int = 0  # raw, that the pot reads beside its place
    spark: int = 0  # ticks after which it does not any more; 0: always
    push: float = 0.0  # raw a tick, while nothing drives it

    def step(self, drive: int, bridge: int, rng: Random) -> tuple[int, int]:
        """Pot and current reading after a tick under these outputs."""
        wanted = self._wanted(drive if bridge == DRIVE else 0)
        grip = 0.8 if bridge == BRAKE else 0.3
        self.speed += (wanted - self.speed) * grip
        self.ran = self.ran + 1 if wanted else 0
        place = self.place + self.speed + (0.0 if drive else self.push)
        blocked = not self.low < place < self.high or self.jammed or self._barred()
        if blocked:
            place, self.speed = min(self.high, max(self.low, self.place)), 0.0
        self.place = place
        return self._pot(rng), self._current(drive, blocked, rng)

    def _barred(self) -> bool:
        return 0 < self.runs_for < self.ran

    def _wanted(self, drive: int) -> float:
        if abs(drive) <= self.dead_zone:
            return 0.0
        sign = -self.motor_sign if self.backwards else self.motor_sign
        return self.rate * drive / 1000 * sign

    def _pot(self, rng: Random) -> int:
        if self.forced_pot >= 0:
            return self.forced_pot
        reading = self.place + (rng.uniform(-self.noise, self.noise) if self.noise else 0.0)
        reading = min(8184, max(0, round(reading) + self.aside))
        if self.spark:
            self.spark -= 1
            self.aside = self.aside if self.spark else 0
        if self.frozen_at >= 0:
            return self.frozen_at
        return reading

    def _current(self, drive: int, blocked: bool, rng: Random) -> int:
        if self.forced_current >= 0:
            return self.forced_current
        flow = 0.0
        if drive:
            flow = self.running
            if blocked:
                flow = 0.0 if self.switch_ends else self.stalled * abs(drive) / 1000
            if self._barred():
                flow = 1.6 * self.running  # stalled, but at a current that a load might draw too
        if self.centred and drive < 0:
            flow = -flow
        return min(4092, max(0, self.zero + round(flow + rng.uniform(-2, 2))))
