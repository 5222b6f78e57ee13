"""Faults that can be brought about: the kinds, where they sit, and what their value means."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One kind: `place` is "rod", "supply", "stop" or "line"; `value` says what a number means."""

    name: str
    place: str
    value: str
    default: float
    doc: str


KINDS = {
    kind.name: kind
    for kind in (
        FaultKind("pot_open", "rod", "", 0.0, "wiper off: the bleed pulls the input to 0"),
        FaultKind("pot_short", "rod", "share", 1.0, "wiper held at this share of the reference"),
        FaultKind("pot_jump", "rod", "share", 0.1, "the pot slipped: it reads so much further on"),
        FaultKind("pot_frozen", "rod", "", 0.0, "pot stays as it is, whatever the rod does"),
        FaultKind("pot_noisy", "rod", "LSB", 8.0, "noise of this many ADC steps rms is added"),
        FaultKind("pot_swapped", "rod", "", 0.0, "the pot's end wires changed places"),
        FaultKind("motor_open", "rod", "", 0.0, "a motor lead is off"),
        FaultKind("motor_swapped", "rod", "", 0.0, "the motor's leads changed places"),
        FaultKind("jam", "rod", "mm", 0.0, "an obstacle that the rod meets at this position"),
        FaultKind("end_switch_dead", "rod", "", 0.0, "the end switches do not open any more"),
        FaultKind(
            "backdrive", "rod", "mm/s", 5.0, "the load pushes the rod while nothing drives it"
        ),
        FaultKind("driver_stuck", "rod", "permille", 1000.0, "the bridge drives whatever is asked"),
        FaultKind("supply_sag", "supply", "V", 9.0, "the supply's own voltage falls to this"),
        FaultKind("supply_high", "supply", "V", 18.0, "the supply's own voltage rises to this"),
        FaultKind("stop_open", "stop", "", 0.0, "the stop circuit is open"),
        FaultKind("bytes_lost", "line", "share", 0.01, "this share of bytes never arrives"),
        FaultKind("bytes_damaged", "line", "share", 0.01, "a bit of this share of bytes flips"),
        FaultKind("bytes_doubled", "line", "share", 0.01, "this share of bytes arrives twice"),
        FaultKind("frames_lost", "line", "share", 0.05, "this share of frames never arrives"),
        FaultKind("frames_damaged", "line", "share", 0.05, "this share of frames has a bit wrong"),
        FaultKind("frames_doubled", "line", "share", 0.05, "this share of frames arrives twice"),
        FaultKind("frames_late", "line", "share", 0.05, "this share of frames waits for late_ms"),
    )
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a plant file: from `at_s` to `until_s` (0: for ever) of the machine's time."""

    kind: str
    axis: int = 0
    value: float = 0.0
    at_s: float = 0.0
    until_s: float = 0.0
