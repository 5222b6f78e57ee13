"""Duty budget: on-time within a rolling window of 30 full bins and the one under way.

The C record keeps what changes in two checked copies, to survive a reset at any instruction; Python
objects need no copies, so this holds one state. What is counted is the same.
"""

from __future__ import annotations

import struct
from typing import Any

from rodbench.emulator.twin.div import div_up

DUTY_FULL_BINS = 30
DUTY_SLOTS = DUTY_FULL_BINS + 1
DUTY_UNKNOWN = 0xFFFFFFFF
TICKS_PER_S = 200
_LAYOUT = struct.Struct(f"<{DUTY_SLOTS}HIIHHHB")


class Duty:
    """One axis's record; ticks throughout."""

    __slots__ = ("bin", "bin_ticks", "count", "elapsed", "slot", "sum", "total")

    def __init__(self) -> None:
        self.bin = [0] * DUTY_SLOTS
        self.sum = 0
        self.total = 0
        self.bin_ticks = 0
        self.elapsed = 0
        self.count = 0
        self.slot = 0

    def to_bytes(self) -> bytes:
        """For keeping the record between processes."""
        changing = (self.sum, self.total, self.bin_ticks, self.elapsed, self.count, self.slot)
        return _LAYOUT.pack(*self.bin, *changing)

    @classmethod
    def from_bytes(cls, data: bytes) -> Duty:
        """Undo to_bytes."""
        duty = cls()
        values = _LAYOUT.unpack(data)
        duty.bin = list(values[:DUTY_SLOTS])
        duty.sum, duty.total, duty.bin_ticks = values[DUTY_SLOTS : DUTY_SLOTS + 3]
        duty.elapsed, duty.count, duty.slot = values[DUTY_SLOTS + 3 :]
        return duty


DUTY_BYTES = _LAYOUT.size


def _bin_ticks_of(settings: Any) -> int:
    return div_up(settings.duty_window_s * TICKS_PER_S, DUTY_FULL_BINS)


def _fill(duty: Duty, bin_ticks: int, used: int, total: int, skip: int) -> None:
    duty.sum = 0
    duty.total = total
    duty.bin_ticks = bin_ticks
    duty.elapsed = duty.count = 0
    duty.slot = DUTY_FULL_BINS
    for slot in reversed(range(DUTY_FULL_BINS)):
        part = 0 if skip > 0 else min(used, bin_ticks)
        skip -= 1
        duty.bin[slot] = part
        used -= part
        duty.sum += part


def duty_begin(duty: Duty, settings: Any, used: int, off_s: int) -> None:
    """A new record: so much was spent until so long ago."""
    bin_ticks = _bin_ticks_of(settings)
    total = DUTY_UNKNOWN if used else 0
    _fill(duty, bin_ticks, used, total, off_s * TICKS_PER_S // bin_ticks)


def duty_resume(duty: Duty, settings: Any) -> None:
    """Take up a kept record; one that is not good counts as all spent."""
    if duty.bin_ticks == 0:
        duty_begin(duty, settings, DUTY_UNKNOWN, 0)
        return
    duty_settings_changed(duty, settings)


def duty_settings_changed(duty: Duty, settings: Any) -> None:
    """The window may have changed: on-time still counted goes into the newest bins."""
    bin_ticks = _bin_ticks_of(settings)
    if bin_ticks != duty.bin_ticks:
        used = duty.total if bin_ticks > duty.bin_ticks else duty_used(duty)
        _fill(duty, bin_ticks, used, duty.total, 0)


def duty_tick(duty: Duty, on: bool) -> None:
    """Count one tick, with output or without."""
    duty.elapsed += 1
    if on:
        duty.count += 1
        duty.total += duty.total != DUTY_UNKNOWN
    if duty.elapsed >= duty.bin_ticks:
        _next_bin(duty)


def _next_bin(duty: Duty) -> None:
    duty.bin[duty.slot] = duty.count
    duty.slot = (duty.slot + 1) % DUTY_SLOTS
    duty.sum += duty.count - duty.bin[duty.slot]
    duty.elapsed = duty.count = 0


def duty_budget(settings: Any) -> int:
    """Ticks per window."""
    return int(settings.duty_window_s * settings.duty_share_permille // (1000 // TICKS_PER_S))


def duty_used(duty: Duty) -> int:
    """Ticks with output that still count."""
    return duty.sum + duty.count


def duty_room(duty: Duty, settings: Any) -> int:
    """Ticks that may be spent now."""
    return max(0, duty_budget(settings) - duty.sum - duty.count)


def duty_wait(duty: Duty, most: int) -> int:
    """Ticks at rest until no more is used."""
    used, slot, bins = duty_used(duty), duty.slot, 0
    while used > most:
        slot = (slot + 1) % DUTY_SLOTS
        used -= duty.count if slot == duty.slot else duty.bin[slot]
        bins += 1
    return bins * duty.bin_ticks - duty.elapsed if bins else 0


def duty_used_permille(duty: Duty, settings: Any) -> int:
    """Share of the budget that is used; 1000: spent."""
    budget, used = duty_budget(settings), duty_used(duty)
    return 1000 if used >= budget else used * 1000 // budget


def duty_total(duty: Duty) -> int:
    """Ticks with output since the record began."""
    return duty.total
