"""Rods with faults on demand, and hands at local inputs: what the board reads, and what is true."""

from __future__ import annotations

import ctypes as ct
from random import Random

from rodbench_protocol.names import Bridge, LocalAs, LocalSource

from tests.core import gang_rods
from tests.core.motion_promise import Plant

FULL_SCALE = 8184
TICK_S = 0.005
LIES = ("pot_open", "pot_short", "pot_jump", "pot_frozen", "pot_noisy", "pot_swapped")
LOOSE = ("motor_open", "motor_swapped", "backdrive", "driver_stuck")  # the board moves it not alone
ROD_FAULTS = (*LIES, *LOOSE, "jam", "end_switch_dead")
REST, OUT, LOST = range(3)
KNOB = {LocalSource.STICK: (100, 512, 10, 900), LocalSource.PULSE: (1000, 1500, 20, 2000)}


class FaultyRod(gang_rods.Rod):
    """A plant of the soft stops' promise, with faults on it; `reversed` are its motor's leads."""

    def __init__(self, library: ct.CDLL, plant: Plant, share: float, random: Random) -> None:
        super().__init__(library, plant, share)
        self.random = random
        self.reversed = False
        self.faults: dict[str, float] = {}
        self.jumped = False  # for good: the pot has slipped
        self.supply = 1.0  # of nominal
        self.moved = False  # in the last tick
        self._frozen = 0

    @property
    def mm(self) -> float:
        """Where it truly is."""
        return float(self.state.x_mm)

    @property
    def lies(self) -> bool:
        """What the pot shows is not where the rod is."""
        return self.jumped or any(kind in self.faults for kind in LIES)

    @property
    def loose(self) -> bool:
        """Something other than the board's output, or a braked motor, decides where it goes."""
        return any(kind in self.faults for kind in LOOSE)

    def begin(self, kind: str) -> None:
        """Bring about a fault of a rod, its size by chance."""
        random = self.random
        value = {"pot_jump": random.choice((-1, 1)) * random.uniform(0.01, 0.3) * FULL_SCALE}
        value["pot_noisy"] = random.uniform(5, 80)
        value["jam"] = self.mm + random.choice((-1, 1)) * random.uniform(0, 10)
        value["backdrive"] = random.choice((-1, 1)) * random.uniform(1, 10) * TICK_S
        value["driver_stuck"] = random.choice((1000, -1000, 400))
        self._frozen = self.library.plant_pot(ct.byref(self.state))
        self.faults[kind] = value.get(kind, 0.0)
        self.jumped |= kind == "pot_jump"
        if kind == "end_switch_dead":
            self.plant.switched = 0.0

    def end(self, kind: str) -> None:
        """A pot that slipped does not slip back, and a switch does not mend."""
        if kind != "pot_jump":
            self.faults.pop(kind, None)

    def step(self, drive: int, bridge: int) -> tuple[int, int]:
        """5 ms under the lines; pot and current as read."""
        faults, before = self.faults, self.state.x_mm
        if "driver_stuck" in faults:
            drive, bridge = int(faults["driver_stuck"]), Bridge.DRIVE
        if self.reversed != ("motor_swapped" in faults):
            drive = -drive
        if "motor_open" in faults:
            drive, bridge = 0, Bridge.OFF
        drive = int(drive * self.supply)
        self.library.plant_step(ct.byref(self.state), drive, bridge)
        if "backdrive" in faults and bridge != Bridge.DRIVE:
            self._push(faults["backdrive"])
        if "jam" in faults:
            self._jam(before, faults["jam"], drive if bridge == Bridge.DRIVE else 0)
        self.moved = self.state.x_mm != before
        return self._pot(), self.library.plant_current4(ct.byref(self.state))

    def _push(self, mm: float) -> None:
        self.state.x_mm = min(self.plant.stroke_mm, max(0.0, self.state.x_mm + mm))

    def _jam(self, before: float, at: float, drive: int) -> None:
        if (before - at) * (self.state.x_mm - at) <= 0 and self.state.x_mm != before:
            self.state.x_mm, self.state.v = before, 0.0
            self.state.i = abs(drive) / 1000

    def _pot(self) -> int:
        pot, faults = int(self.library.plant_pot(ct.byref(self.state))), self.faults
        if "pot_swapped" in faults:
            pot = FULL_SCALE - pot
        if "pot_noisy" in faults:
            pot += round(self.random.gauss(0, faults["pot_noisy"]))
        pot += round(faults.get("pot_jump", 0.0))
        pot = self._frozen if "pot_frozen" in faults else pot
        pot = FULL_SCALE if "pot_short" in faults else 0 if "pot_open" in faults else pot
        return min(FULL_SCALE, max(0, pot))


def local_settings(random: Random, source: int) -> dict[str, int]:
    """Settings of a local input."""
    low, rest, band, high = KNOB.get(LocalSource(source), (100, 512, 10, 900))
    places = random.choice(((0, 65535), (65535, 0), (6000, 50000)))
    ends = (high, low) if random.random() < 0.3 else (low, high)
    return {
        "local_source": source,
        "local_as": random.choice((LocalAs.SPEED, LocalAs.POSITION)),
        "local_low_end": ends[0],
        "local_rest": rest,
        "local_rest_band": band,
        "local_high_end": ends[1],
        "local_place_retract": places[0],
        "local_place_extend": places[1],
        "local_loss_ms": random.choice((30, 100, 300)),
    }


class Hand:
    """At rest, out, or its wire is lost. `state` says which, as the observer may know it."""

    def __init__(self, random: Random, values: dict[str, int]) -> None:
        self.random, self.values = random, values
        self.state, self.left = REST, random.randrange(20, 60)
        self.value, self.buttons = values["local_rest"], 0

    def step(self) -> tuple[int, int]:
        """Value of stick or pulse, and two bits of buttons, of a tick."""
        self.left -= 1
        if self.left < 0:
            self._next()
        return self.value, self.buttons

    def _next(self) -> None:
        random, values = self.random, self.values
        self.state = random.choice((OUT, OUT, OUT, LOST)) if self.state == REST else REST
        self.left = random.randrange(25, 90) if self.state == REST else random.randrange(5, 400)
        self.value, self.buttons = values["local_rest"], 0
        if values["local_source"] == LocalSource.BUTTONS and self.state != REST:
            self.state, self.buttons = OUT, random.choice((1, 2, 1, 2, 3))
        elif self.state == OUT:
            end = values[random.choice(("local_low_end", "local_high_end"))]
            share = random.choice((1.0, 1.0, random.uniform(0.2, 1.0)))
            self.value = round(self.value + share * (end - self.value))
        elif self.state == LOST:
            self.value = 0 if values["local_source"] == LocalSource.PULSE else 1023
