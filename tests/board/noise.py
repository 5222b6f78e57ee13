"""Noise on the line of the binary in simavr: nothing moves, nothing hangs.

python -m tests.board.noise 1000000            figures; --seed 2 for others
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field
from random import Random

from rodbench_protocol import framing, messages
from rodbench_protocol.names import Status

from tests.board import build
from tests.board.session_board import codes_of
from tests.board.simboard import BOOT_CYCLES, OK, Chip
from tests.core.noise import Noise, settings_with_two_rods

PER_TICK = 100  # bytes that reach the next tick, with room before its boundary
HOLD_AND_RAMP = 62  # ticks: 50, and from creep 10 of 30 permille each
READINGS = {"pot": [4000, 4000], "current": [0, 0], "supply": 430, "bandgap": 225}


@dataclass
class Run:
    """A host with a session on a chip, and noise beside it."""

    seed: int
    sent: int = 0
    bursts: int = 0
    jogs: int = 0
    driven: int = 0
    chances: int = 0
    session: int = 0
    seq: int = 0
    tick: int = 0
    still: int = 0  # no output from this tick on
    splitter: framing.Splitter = field(default_factory=framing.Splitter)
    replies: list[messages.Message] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.random, self.noise = Random(self.seed), Noise.start(self.seed)
        self.chip = Chip(build.firmware(), settings_with_two_rods())
        self.step(b"", BOOT_CYCLES)
        self.open()

    def step(self, data: bytes, cycles: int = 0) -> None:
        """A tick, and what must hold in each."""
        chip = self.chip
        chip.codes(codes_of(READINGS))
        chip.send(data)
        assert (chip.tick(cycles) if cycles else chip.tick()) == OK, "the board restarted"
        self.tick += 1
        for frame in self.splitter.feed(chip.take()):
            message = messages.parse(framing.decode(frame))
            self.tick = max(self.tick, message.fields["tick"])
            if message.kind == "reply":
                self.replies.append(message)
        self.noise.tick = self.tick
        drives = any(chip.axis(index)[1] for index in (0, 1))
        self.driven += drives
        assert not drives or self.tick < self.still or self.noise.acts, f"tick {self.tick} drives"

    def ask(self, name: str, session: int, seq: int, **fields: int) -> dict[str, int]:
        """A request, answered within six ticks: the line takes its time too."""
        frame = b"\0" + framing.encode(messages.pack(name, session, seq, **fields))
        self.noise.hear(frame)
        self.replies.clear()
        self.step(frame)
        for _ in range(6):
            if self.replies:
                break
            self.step(b"")
        (reply,) = self.replies
        assert (reply.name, reply.session, reply.seq) == (name, session, seq)
        return reply.fields

    def next(self, name: str, **fields: int) -> dict[str, int]:
        """A request of the session that must be carried out."""
        self.seq = self.noise.seq = (self.seq + 1) % 256
        found = self.ask(name, self.session, self.seq, **fields)
        assert found["status"] == Status.OK, (name, found)
        return found

    def counted(self) -> int:
        """The frames that the board has counted: good, bad, dropped."""
        found = self.next("counters")
        return found["frames_good"] + found["frames_bad"] + found["frames_dropped"]

    def quiet(self, ticks: int) -> None:
        """Nothing from the host."""
        for _ in range(ticks):
            self.step(b"")

    def open(self) -> None:
        """Rest, and a new session."""
        self.ask("stop", 1, 1, axis=0, category=0)
        self.quiet(400)
        nonce = self.noise.nonce = self.ask("hello", 0, 0)["boot_nonce"]
        for _ in range(9):
            self.session = self.session % 255 + 1
            self.seq = self.random.randrange(256)
            fields = {"boot_nonce": nonce, "protocol_major": 1, "protocol_minor": 0}
            if self.ask("open", self.session, self.seq, **fields)["status"] == Status.OK:
                break
        self.noise.session, self.noise.seq = self.session, self.seq
        self.next("clear", axis=0)
        self.next("subscribe", axis_period_ms=20, board_period_ms=100)
        self.noise.acts = 0
        self.base = self.counted() - self.noise.runs

    def jog(self) -> None:
        """A motion that noise must not prolong."""
        self.still = self.tick + HOLD_AND_RAMP + 8  # as far as `tick` may lag behind
        self.next("jog", axis=1, unit=0, value=1000)
        self.jogs += 1

    def burst(self, ticks: int) -> None:
        """Noise, closed by a zero."""
        waiting = b""
        for _ in range(ticks):
            while len(waiting) < PER_TICK and not self.noise.acts:
                waiting += self.noise.next()
            waiting = self._some(waiting)
        waiting += self.noise.end()
        while waiting:
            waiting = self._some(waiting)

    def _some(self, waiting: bytes) -> bytes:
        size = self.random.randrange(PER_TICK // 2, PER_TICK + 1)
        self.step(waiting[:size])
        self.sent += len(waiting[:size])
        return waiting[size:]

    def go(self, most: int) -> None:
        """Bursts until so many bytes were sent; after each the next request is answered."""
        while self.sent < most:
            if self.bursts % 8 == 0:
                self.jog()
            self.bursts += 1
            self.burst(self.random.randrange(10, 210))
            self.quiet(6)
            if self.noise.acts:
                self.chances += self.noise.acts
                self.open()
            else:
                assert (self.counted() - self.base - self.noise.runs) % 65536 == 0
        assert self.noise.undamaged == 0

    def told(self) -> str:
        """Figures."""
        noise = self.noise
        chances = self.chances - noise.stretched
        return (
            f"{self.sent} bytes, {noise.runs} frames, {noise.good} good, {noise.stretched} of them "
            f"requests with zeros at their end, {chances} requests by chance (1 in 65536 "
            f"would be {(noise.runs - noise.good) // 65536}), {self.bursts} bursts, "
            f"{self.jogs} jogs, {self.driven} ticks with output"
        )


def main() -> int:
    """Figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.board.noise")
    parser.add_argument("bytes", type=int)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    run = Run(options.seed)
    run.go(options.bytes)
    print(run.told())
    run.chip.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
