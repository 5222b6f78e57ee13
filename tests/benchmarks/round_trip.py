"""Round trip of a request, and a settings push, over a pty with a line paced at 250 000 baud.

    python -m tests.benchmarks.round_trip [--kind emulator|binary] [--requests 400]

Beside each figure stands its wire time: the bytes of request and reply at ten bits each. The board
acts at ticks of 5 ms only, so half a tick of waiting is in the nature of a round trip, and one tick
until its work and its answer are done. Figures, no pass or fail.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time

from rodbench.board import Board
from rodbench.clock import WallClock
from rodbench.link.transport import SerialTransport
from rodbench_protocol import framing, messages
from rodbench_protocol.schema import load_schema

from tests.link.rig import SETTINGS, Bench

BYTE_S = 10 / 250_000
ITEMS_A_FRAME = (load_schema().body_max - 1) // 5


def frame_bytes(name: str, **fields: object) -> int:
    """Bytes of a request and of its reply on the wire."""
    request = len(framing.encode(messages.pack(name, 1, 1, **fields)))
    reply = sum(f.size for f in load_schema().messages[name].reply.fields)
    return request + reply + 3 + 2 + 2


def round_trips(board: Board, count: int) -> list[float]:
    """Seconds of each of `count` requests, spread over the tick."""
    times = []
    for number in range(count):
        time.sleep(0.0007 * (number % 7))
        start = time.perf_counter()
        board.counters()
        times.append(time.perf_counter() - start)
    return times


def push(board: Board) -> tuple[float, float, int]:
    """Seconds of a push of one axis, its wire time, and its round trips."""
    values = board.read_scope(1) | SETTINGS
    start = time.perf_counter()
    board.write_scope(1, values)
    took = time.perf_counter() - start
    items = [{"key": 1, "value": 0}] * ITEMS_A_FRAME
    whole, rest = divmod(len(values), ITEMS_A_FRAME)
    count = frame_bytes("draft_begin", scope=1) + frame_bytes("draft_check", scope=1)
    count += frame_bytes("draft_commit", scope=1)
    count += whole * frame_bytes("draft_set", scope=1, items=items)
    count += frame_bytes("draft_set", scope=1, items=items[:rest]) if rest else 0
    return took, count * BYTE_S, 3 + whole + bool(rest)


def report(way: str, board: Board, requests: int) -> None:
    """Print both figures."""
    times = round_trips(board, requests)
    wire_ms = 1000 * BYTE_S * frame_bytes("counters")
    median, worst = 1000 * statistics.median(times), 1000 * max(times)
    print(
        f"{way:<7} round trip: median {median:.2f} ms, worst {worst:.2f} ms, wire {wire_ms:.2f} ms"
        f"   median - wire = {median - wire_ms:.2f} ms (aim: 7.5)"
    )
    took, wire, count = push(board)
    print(
        f"{way:<7} push of one axis: {1000 * took:.0f} ms in {count} round trips, "
        f"wire {1000 * wire:.1f} ms; {1000 * (took - wire) / count:.2f} ms a round trip beside it"
    )


def main() -> None:
    """Direct, and through the owner."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kind", choices=["emulator", "binary"], default="emulator")
    parser.add_argument("--requests", type=int, default=400)
    options = parser.parse_args()
    bench = Bench(options.kind, pace=1.0)
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"RODBENCH_RUNTIME": folder, "RODBENCH_OWNER_IDLE": "0.5"}
        with Board.direct(SerialTransport(bench.port), WallClock()) as board:
            report("direct", board, options.requests)
        with Board.open(bench.port) as board:
            report("owner", board, options.requests)
        time.sleep(1.0)
    bench.close()


if __name__ == "__main__":
    main()
