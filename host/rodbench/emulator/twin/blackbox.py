"""The black box: the last 0.3 s of both axes before a trip, every second tick."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rodbench.emulator.twin.axis import Axis
    from rodbench.emulator.twin.core import Twin

EVERY = 2
BOX_SAMPLES = 30
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


def blackbox_start(core: Twin, kept: bool) -> None:
    """A record that RAM has not kept begins anew."""
    if not kept:
        core.noinit.box = BlackBox()


def _take(axis: Axis) -> bytes:
    current = min(max(axis.current_ma >> 6, 0), 0xFF)
    return _SAMPLE.pack(axis.raw >> 3 << 6 | (axis.output_permille >> 5) + 32, current)


def _begins(axis: Axis) -> bool:
    return axis.on_ticks == 1 and axis.output_permille != 0


def blackbox_tick(core: Twin) -> None:
    """Before control: takes what the tick before has left."""
    box = core.noinit.box
    if box.fault and any(map(_begins, core.axis)) and not core.faulted():
        box.fault = 0
        box.sample = [[], []]
    if box.fault or core.ticks % EVERY:
        return
    for index, axis in enumerate(core.axis):
        box.sample[index] = [*box.sample[index], _take(axis)][-BOX_SAMPLES:]


def blackbox_freeze(core: Twin, axis: int, fault: int) -> None:
    """A trip; of several the first counts."""
    box = core.noinit.box
    if not box.fault:
        box.axis = axis
        box.fault = fault


def blackbox_items(box: BlackBox, index: int, first: int, room: int) -> bytes:
    """Samples of an axis from `first` on, as many as fit."""
    return b"".join(box.sample[index][first : first + room // _SAMPLE.size])
