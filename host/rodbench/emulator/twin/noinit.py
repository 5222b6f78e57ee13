"""What RAM keeps through a reset: cause of the start, nonce, duty, heat, totals, black box."""

from __future__ import annotations

import struct

from rodbench_protocol.names import ResetCause

from rodbench.emulator.twin.blackbox import BOX_BYTES, BlackBox
from rodbench.emulator.twin.duty import DUTY_BYTES, Duty
from rodbench.emulator.twin.totals import TOTALS_BYTES, Totals

RESET_FLAG_POWER_ON = 1
RESET_FLAG_EXTERNAL = 2
RESET_FLAG_BROWN_OUT = 4
RESET_FLAG_WATCHDOG = 8
_LAYOUT = struct.Struct("<HBBBII")


class NoInit:
    """The record. `valid` stands for the magic number of C's."""

    __slots__ = ("box", "credit", "duty", "heat", "mark", "nonce", "totals", "valid")

    def __init__(self) -> None:
        self.valid = False
        self.nonce = 0
        self.mark = int(ResetCause.UNKNOWN)
        self.credit = False
        self.duty = [Duty(), Duty()]
        self.heat = [0, 0]
        self.totals = Totals()
        self.box = BlackBox()

    def to_bytes(self) -> bytes:
        """For keeping the record between processes."""
        head = _LAYOUT.pack(self.nonce, self.mark, self.valid, self.credit, *self.heat)
        duty = b"".join(duty.to_bytes() for duty in self.duty)
        return head + duty + self.totals.to_bytes() + self.box.to_bytes()

    @classmethod
    def from_bytes(cls, data: bytes) -> NoInit:
        """Undo to_bytes; ValueError when it is not such a record."""
        if len(data) != _LAYOUT.size + 2 * DUTY_BYTES + TOTALS_BYTES + BOX_BYTES:
            raise ValueError("no record of this version")
        record = cls()
        record.nonce, record.mark, valid, credit, *record.heat = _LAYOUT.unpack_from(data)
        record.valid, record.credit = bool(valid), bool(credit)
        at = _LAYOUT.size
        for index in range(2):
            record.duty[index] = Duty.from_bytes(data[at : at + DUTY_BYTES])
            at += DUTY_BYTES
        record.totals = Totals.from_bytes(data[at : at + TOTALS_BYTES])
        record.box = BlackBox.from_bytes(data[at + TOTALS_BYTES :])
        return record


def _cause_of_flags(flags: int, kept: bool) -> int:
    if flags & RESET_FLAG_POWER_ON:
        return ResetCause.POWER_ON
    if flags & RESET_FLAG_BROWN_OUT:
        return ResetCause.BROWN_OUT
    if flags & RESET_FLAG_WATCHDOG:
        return ResetCause.WATCHDOG
    # A kept record without any flag: RAM lived and nobody marked it, so it was the reset line.
    return ResetCause.EXTERNAL if flags & RESET_FLAG_EXTERNAL or kept else ResetCause.UNKNOWN


def noinit_start(record: NoInit, reset_flags: int, nonce_seed: int) -> tuple[int, bool]:
    """Take the record up, or begin a new one: (reset cause, whether it was kept)."""
    kept = record.valid
    if kept and record.mark != ResetCause.UNKNOWN and record.mark <= max(ResetCause):
        cause = record.mark
    else:
        cause = _cause_of_flags(reset_flags, kept)
    step = 1 if nonce_seed == 0xFFFF else nonce_seed + 1
    record.nonce = (record.nonce + step) & 0xFFFF if kept else nonce_seed
    if not kept:
        record.box = BlackBox()
    record.mark = int(ResetCause.UNKNOWN)
    return int(cause), kept


def noinit_complete(record: NoInit) -> None:
    """All of the record is good now."""
    record.valid = True


def noinit_mark(record: NoInit, cause: int) -> None:
    """The board is about to start anew, for this cause."""
    record.mark = cause
