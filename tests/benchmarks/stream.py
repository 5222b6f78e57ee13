"""Stream decode to typed values, beside the least that could do it, in one run.

    python tests/benchmarks/stream.py

The floor: bytes.split, cobs.decode, binascii.crc_hqx and one struct.unpack to a tuple, with no
check but the CRC. Ours: Splitter, framing.decode and the typed tuple. Aim: a third of the floor.
"""

from __future__ import annotations

import binascii
import random
import struct
import time
from collections.abc import Callable

from cobs import cobs
from rodbench_protocol import bulk, framing, load_schema, stream
from rodbench_protocol.messages import pack_unasked, parse

FRAMES = 20_000
READ = 64
"""Bytes that come at once, as from a port."""


def recorded() -> bytes:
    """A stream of telemetry_axis frames with random values, the same in every run."""
    rng = random.Random(7)
    fields = load_schema().messages["telemetry_axis"].body.fields
    frames = []
    for number in range(FRAMES):
        values = {f.name: rng.randrange(2 ** (8 * f.size - 1)) for f in fields}
        frames.append(framing.encode(pack_unasked("telemetry_axis", 5, number % 256, **values)))
    return b"".join(frames)


def floor(data: bytes) -> int:
    unpack = struct.Struct("<3xIBBBHiiihhIHH").unpack
    done = 0
    for frame in data.split(b"\0")[:-1]:
        plain = cobs.decode(frame)
        if binascii.crc_hqx(plain, 0xFFFF) == 0:
            unpack(plain[:-2])
            done += 1
    return done


def fast(data: bytes) -> int:
    splitter, decode, done = framing.Splitter(), stream.decode_axis, 0
    for at in range(0, len(data), READ):
        for frame in splitter.feed(data[at : at + READ]):
            decode(framing.decode(frame))
            done += 1
    return done


def fast_whole(data: bytes) -> int:
    splitter, decode = framing.Splitter(), stream.decode_axis
    return sum(1 for f in splitter.feed(data) if decode(framing.decode(f)))


def structures(data: bytes) -> int:
    return sum(1 for f in framing.Splitter().feed(data) if parse(framing.decode(f)))


def numpy_bulk(data: bytes) -> int:
    return len(bulk.to_array(bulk.split_good(data)[0x70], bulk.AXIS_DTYPE))


def best(decode: Callable[[bytes], int], data: bytes) -> float:
    """Frames a second, the best of five."""
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        assert decode(data) == FRAMES
        times.append(time.perf_counter() - begin)
    return FRAMES / min(times)


def main() -> None:
    data = recorded()
    rates = {
        "floor: cobs + crc_hqx + struct.unpack": best(floor, data),
        f"typed tuples, {READ} bytes at once": best(fast, data),
        "typed tuples, all at once": best(fast_whole, data),
        "numpy bulk": best(numpy_bulk, data),
        "construct structures": best(structures, data[: len(data)]),
    }
    first = next(iter(rates.values()))
    print(f"{FRAMES} telemetry_axis frames, best of five")
    for name, rate in rates.items():
        print(f"  {name:40s} {rate:10.0f} frames/s   {rate / first:6.3f} of the floor")


if __name__ == "__main__":
    main()
