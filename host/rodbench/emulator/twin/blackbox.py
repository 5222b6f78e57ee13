"""The black box: the last 0.3 s of both axes before a trip, every second tick."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from rodbench.emulator.twin.draft import DRAFT_NONE

if TYPE_CHECKING:
    from rodbench.emulator.twin.axis import Axis
    from rodbench.emulator.twin.core import Twin

BOX_SAMPLES = 30
ITEMS_MOST = 16
_SAMPLE = struct.Struct("<HB")
_KEPT = struct.Struct("<BBBB")
BOX_BYTES = 2 * BOX_SAMPLES * _SAMPLE.size + _KEPT.size


class BlackBox:
    """`sample` of each axis, oldest first; `fault` 0: not frozen."""

    __slots__ = ("axis", "fault", "sample")

    def __init__(self) -> None:
        self.sample: list[list[bytes]] = [[], []]
        self.axis = 0
        self.fault = 0

    def to_bytes(self) -> bytes:
        """For keeping it between processes."""
        count = len(self.sample[0])
        data = _KEPT.pack(count, self.axis, self.fault, 0)
        empty = bytes(_SAMPLE.size) * (BOX_SAMPLES - count)
        return data + b"".join(b"".join(of_axis) + empty for of_axis in self.sample)

    @classmethod
    def from_bytes(cls, data: bytes) -> BlackBox:
        """Undo to_bytes."""
        box = cls()
        count, box.axis, box.fault, _ = _KEPT.unpack_from(data)
        for index in range(2):
            at = _KEPT.size + index * BOX_SAMPLES * _SAMPLE.size
            box.sample[index] = [
                data[at + n * _SAMPLE.size : at + (n + 1) * _SAMPLE.size] for n in range(count)
            ]
        return box


def _take(axis: Axis) -> bytes:
    current = min(max(axis.current_ma >> 6, 0), 0xFF)
    return _SAMPLE.pack((axis.raw >> 3 << 6) + 32 + (axis.output_permille >> 5), current)


def blackbox_tick(core: Twin) -> None:
    """Before control: takes what the tick before has left."""
    box = core.noinit.box
    if box.fault or core.ticks & 1 or core.draft.number != DRAFT_NONE:
        return
    for index, axis in enumerate(core.axis):
        box.sample[index] = [*box.sample[index], _take(axis)][-BOX_SAMPLES:]


def blackbox_freeze(box: BlackBox, axis: int, fault: int) -> None:
    """A trip; of several the first counts."""
    if not box.fault:
        box.axis = axis
        box.fault = fault


def blackbox_motion(core: Twin) -> None:
    """A motion begins."""
    box = core.noinit.box
    if box.fault and not core.faulted():
        box.fault = 0
        box.sample = [[], []]


def blackbox_items(box: BlackBox, index: int, first: int) -> bytes:
    """Samples of an axis from `first` on, as many as fit a reply."""
    return b"".join(box.sample[index][first : first + ITEMS_MOST])
