"""The serial line, tick by tick: bytes take their time, and get lost or spoilt when asked to.

A tick of 5 ms carries baud / 2000 bytes each way (8N1: ten bits a byte), whole bytes only, what is
left over counting for the next tick while the line is busy. What is written between two ticks
travels in the tick that follows.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Mapping

TICKS_PER_S = 200
BITS_PER_BYTE = 10
FRAME_FAULTS = ("frames_lost", "frames_damaged", "frames_doubled", "frames_late")
BYTE_FAULTS = ("bytes_lost", "bytes_damaged", "bytes_doubled")


class Channel:
    """One direction of a line. `faults` is read as it stands: kind -> share."""

    def __init__(self, baud: int, faults: Mapping[str, float], seed: int, late_ms: float) -> None:
        self.bytes_per_tick = baud / BITS_PER_BYTE / TICKS_PER_S
        self.faults = faults
        self.late_ticks = round(late_ms * TICKS_PER_S / 1000.0)
        self._draw = random.Random(seed)
        self._queue: deque[tuple[int, bytes]] = deque()  # the tick from which it may travel
        self._partial = b""  # of a frame that waits for its end, while frames have faults
        self._credit = 0.0
        self._tick = 0

    @property
    def waiting(self) -> int:
        """Bytes that are still on their way."""
        return sum(len(data) for _, data in self._queue) + len(self._partial)

    def push(self, data: bytes) -> None:
        """Bytes into the line."""
        if self._partial or (self.faults and any(self.faults.get(k) for k in FRAME_FAULTS)):
            frames = (self._partial + data).split(b"\0")
            self._partial = frames.pop()
            for frame in frames:
                self._push_frame(frame + b"\0")
        elif data:
            self._push_bytes(data, self._tick)

    def pull(self) -> bytes:
        """The bytes that arrive in this tick; call it once a tick."""
        self._tick += 1
        if not self._queue:
            self._credit = 0.0
            return b""
        self._credit += self.bytes_per_tick
        arrived = bytearray()
        while self._queue and self._credit >= 1.0 and self._queue[0][0] < self._tick:
            due, data = self._queue.popleft()
            room = int(self._credit)
            arrived += data[:room]
            self._credit -= len(data[:room])
            if data[room:]:
                self._queue.appendleft((due, data[room:]))
        if self._credit >= 1.0:  # idle time cannot be saved up
            self._credit = 0.0
        return bytes(arrived)

    def drop(self) -> None:
        """Forget what is on its way (the far side lost its power, or was reset)."""
        self._queue.clear()
        self._partial = b""

    def _chance(self, kind: str) -> bool:
        share = self.faults.get(kind, 0.0)
        return share > 0.0 and self._draw.random() < share

    def _push_frame(self, frame: bytes) -> None:
        if self._chance("frames_lost"):
            return
        if self._chance("frames_damaged"):
            frame = self._damage(frame, self._draw.randrange(len(frame)))
        if self._chance("frames_doubled"):
            frame += frame
        late = self.late_ticks if self._chance("frames_late") else 0
        self._push_bytes(frame, self._tick + late)

    def _push_bytes(self, data: bytes, due: int) -> None:
        if self.faults and any(self.faults.get(kind) for kind in BYTE_FAULTS):
            data = self._spoil(data)
        if data:
            self._queue.append((due, data))

    def _spoil(self, data: bytes) -> bytes:
        spoilt = bytearray()
        for place in range(len(data)):
            byte = data[place : place + 1]
            if self._chance("bytes_lost"):
                continue
            if self._chance("bytes_damaged"):
                byte = self._damage(byte, 0)
            spoilt += byte * 2 if self._chance("bytes_doubled") else byte
        return bytes(spoilt)

    def _damage(self, data: bytes, place: int) -> bytes:
        spoilt = bytearray(data)
        spoilt[place] ^= 1 << self._draw.randrange(8)
        return bytes(spoilt)
