"""Hands at the board's local inputs: buttons, a stick, a servo pulse; by a plant file or a test."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from rodbench_protocol.names import Inputs

from rodbench.errors import UsageError

STICK_TOP = 1023
STICK_NOISE_LSB = 0.4
PULSE_JITTER_US = 1.5
CHANNELS = (5, 6)  # of the sticks
_BITS = (
    {"extend": int(Inputs.EXTEND_1), "retract": int(Inputs.RETRACT_1)},
    {"extend": int(Inputs.EXTEND_2), "retract": int(Inputs.RETRACT_2)},
)


@dataclass(frozen=True, slots=True)
class InputKind:
    """One kind: what its value means, and its greatest."""

    name: str
    top: float
    value: str
    doc: str


KINDS = {
    kind.name: kind
    for kind in (
        InputKind("extend", 1.0, "1: pressed", "the extend button closes to ground"),
        InputKind("retract", 1.0, "1: pressed", "the retract button closes to ground"),
        InputKind("stick", 1.0, "share", "the stick's wiper, as a share of the board's own supply"),
        InputKind("pulse", 25000.0, "us", "width of the servo pulses, 50 in a second; 0: none"),
    )
}


@dataclass(frozen=True, slots=True)
class Input:
    """A step of an input in a plant file: its value from `at_s` on."""

    kind: str
    axis: int = 1
    value: float = 0.0
    at_s: float = 0.0


@dataclass(slots=True)
class Hands:
    """What is done to the inputs now. Nothing wired: buttons open, sticks at 0, no pulse."""

    rng: Random
    inputs: int = 0
    stick: list[float] = field(default_factory=lambda: [0.0, 0.0])
    pulse_us: list[float] = field(default_factory=lambda: [0.0, 0.0])

    def set(self, kind: str, axis: int, value: float) -> None:
        """Bring an input about now."""
        if kind not in KINDS:
            raise UsageError(f"no input is called {kind}", hint=", ".join(KINDS))
        if axis not in (1, 2):
            raise UsageError(f"there is no axis {axis}", hint="1 or 2")
        if not 0.0 <= value <= KINDS[kind].top:
            raise UsageError(f"{kind} goes from 0 to {KINDS[kind].top:g}, not {value:g}")
        if kind == "stick":
            self.stick[axis - 1] = value
        elif kind == "pulse":
            self.pulse_us[axis - 1] = value
        else:
            bit = _BITS[axis - 1][kind]
            self.inputs = self.inputs | bit if value else self.inputs & ~bit

    def stick_code(self, index: int) -> int:
        """A conversion of a stick; what nothing is wired to is held at ground."""
        share = self.stick[index]
        if share == 0.0:
            return 0
        code = share * STICK_TOP + self.rng.gauss(0.0, STICK_NOISE_LSB)
        return min(max(round(code), 0), STICK_TOP)

    def pulse(self, index: int) -> int:
        """Width that the board stamps, in steps of 2 us; 0: there is none."""
        width = self.pulse_us[index]
        if width == 0.0:
            return 0
        return max(round((width + self.rng.gauss(0.0, PULSE_JITTER_US)) / 2.0) * 2, 2)
