"""The firmware's own 32-bit division against Python's, on the AVR."""

from __future__ import annotations

import random
import struct

from tests.board import build
from tests.board.simboard import RESET, Chip

LIBGCC_CYCLES = 600  # what libgcc's takes for any pair, measured in the same way


def pairs() -> list[tuple[int, int]]:
    """Edges, and numbers of every length against numbers of every length."""
    edges = [0, 1, 2, 3, 199, 200, 255, 256, 257, 65535, 65536, 65537, 1 << 24, (1 << 24) + 1]
    edges += [0x7FFFFFFF, 0x80000000, 0x80000001, 0xFFFF0000, 0xFFFFFFFE, 0xFFFFFFFF]
    found = [(a, b) for a in edges for b in edges if b]
    draw = random.Random(1)
    for _ in range(2500):
        a = draw.getrandbits(draw.randrange(1, 33))
        b = draw.getrandbits(draw.randrange(1, 33)) or 1
        found += [(a, b), (a // b * b, b), (max(a // b * b - 1, 0), b)]
    return found


def signed(value: int) -> int:
    """As int32_t."""
    return value - (1 << 32) if value >> 31 else value


def expected(a: int, b: int) -> tuple[int, int, int, int]:
    """C's quotients and remainders, toward zero, modulo 2 to the 32."""
    p, q = signed(a), signed(b)
    quotient = abs(p) // abs(q) * (1 if (p < 0) == (q < 0) else -1)
    return a // b, a % b, quotient % (1 << 32), (p - quotient * q) % (1 << 32)


def test_quotients_and_remainders() -> None:
    chip = Chip(build.divide_alone())
    wanted = pairs()
    for start in range(0, len(wanted), 2000):
        part = wanted[start : start + 2000]
        inputs = b"".join(struct.pack("<2I", a, b) for a, b in part)
        chip.call("feed", inputs, len(inputs))
        assert chip.run("cycles", 100_000_000) == RESET  # all read
        answers = struct.iter_unpack("<4I", chip.probe(16 * len(part)))
        for (a, b), got in zip(part, answers, strict=True):
            assert got == expected(a, b), (a, b)
        chip.close()
        chip = Chip(build.divide_alone())
    chip.close()


def test_it_is_ours_and_faster_than_libgccs() -> None:
    chip = Chip(build.divide_alone())
    inputs = struct.pack("<2I", 123_456_789, 20_000)
    chip.call("feed", inputs, len(inputs))
    chip.run("cycles", 10_000)
    assert chip.call("worst_tick") < LIBGCC_CYCLES * 2 // 3
    chip.close()
