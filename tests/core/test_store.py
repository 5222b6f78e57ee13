"""Settings survive a power cut at any byte of a store: the old or the new ones, whole."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

import pytest
from rodbench_protocol import settings
from rodbench_protocol.names import EventKind, Fault, FaultBits

from tests.core.host import Host
from tests.twin.memory import SIZE, SLOTS, put_slot

SLOT_SIZE = 328
Image = bytes
AXIS = settings.defaults("axis")
WRITES_LEAST = {
    "blank": 240,
    "once": 240,
    "twice": 15,
}  # in a slot written before, unchanged ones stay


def boots(image: Image) -> tuple[int, int, int]:
    """Digest in force and stored digest after a start on this memory, and the faults."""
    host = Host(image)
    digests = host.ask("digests")
    return digests["live"], digests["stored"], host.board.fields().faults


def histories() -> Iterator[tuple[str, Callable[[Host], None]]]:
    """What was stored before: nothing, once, twice."""
    yield "blank", lambda host: None

    def once(host: Host) -> None:
        host.change(feedback=1, trip_ma=900)
        host.store()

    def twice(host: Host) -> None:
        once(host)
        host.change(trip_ma=901)
        host.store()

    yield "once", once
    yield "twice", twice


@pytest.mark.parametrize("history", list(histories()), ids=lambda h: h[0])
def test_power_cut_at_every_byte(history: tuple[str, Callable[[Host], None]]) -> None:
    """Each byte under way is found old, new, erased, ANDed or random."""
    host = Host(b"\xff" * SIZE)
    history[1](host)
    before = host.image
    old = boots(before)
    host.change(feedback=1, soft_stop_max_um=80000, trip_ma=1234, duty_window_s=600)
    writes = host.store()
    new = boots(host.image)
    assert old[0] != new[0]
    assert new[0] == new[1] == host.ask("digests")["live"]
    rng = random.Random(1)
    image = bytearray(before)
    cuts = 0
    for address, value in writes:
        torn = {image[address], value, 0xFF, image[address] & value, rng.randrange(256)}
        for found in torn:
            image_now = bytearray(image)
            image_now[address] = found
            live, stored, faults = boots(bytes(image_now))
            assert (live, stored) in (old[:2], new[:2]), (address, found)
            # Only rubbish in the byte that is written last of a first store leaves a doubt.
            if faults:
                assert history[0] == "blank"
                assert address == SLOTS[0]
                assert faults == FaultBits.SETTINGS
            cuts += 1
        image[address] = value
    assert bytes(image) == host.image
    assert cuts >= 2 * len(writes)
    assert len(writes) >= WRITES_LEAST[history[0]]


def test_unchanged_bytes_are_not_written() -> None:
    host = Host(b"\xff" * SIZE)
    host.change(feedback=1)
    first, second = host.store(), host.store()
    sizes = {s: len(settings.pack_scope(s, settings.defaults(s))) for s in ("board", "axis")}
    assert len(first) <= 9 + sizes["board"] + 2 * sizes["axis"]
    third = host.store()
    # The third goes to the first's slot with the same settings: generation and CRC alone.
    assert len(third) <= 6 < len(second)
    assert {address for address, _ in third} <= set(range(SLOTS[0], SLOTS[0] + 9))
    assert all(1 <= address < SLOTS[1] + SLOT_SIZE for address, _ in first + second + third)


def test_a_byte_that_does_not_take_fails_the_store() -> None:
    host = Host(b"\xff" * SIZE)
    host.change(feedback=1)
    host.ask("store")
    host.events.clear()
    for _ in range(400):
        host.tick(keep=False)
        if host.events:
            break
    fields = host.events[0].fields
    assert (fields["kind"], fields["cause"]) == (EventKind.STORED, 1)
    assert host.ask("digests")["stored"] == 0
    assert boots(host.image)[2] == 0


def test_a_busy_memory_delays_the_store_but_no_tick() -> None:
    """Every write makes the memory busy for 0 to 3 ticks: nothing is written to it meanwhile."""
    host = Host(b"\xff" * SIZE)
    host.change(feedback=1)
    host.ask("store")
    rng, busy, ticks = random.Random(5), 0, 0
    before = host.board.fields().tick
    while not host.events or host.events[-1].fields["kind"] != EventKind.STORED:
        busy = max(0, busy - 1)
        host.board.set_readings((4000, 4000), (0, 0), ee_ready=int(busy == 0))
        seen = len(host.writes)
        host.tick()
        ticks += 1
        if len(host.writes) > seen:
            assert busy == 0
            busy = rng.randrange(4)
        assert (
            host.board.fields().tick == host.seq_tick + ticks if hasattr(host, "seq_tick") else True
        )
        assert ticks < 2000
    assert host.board.fields().tick == before + ticks
    assert host.events[-1].fields["cause"] == 0
    assert boots(host.image)[0] == host.ask("digests")["live"]


def scopes(board: bytes, axis: bytes) -> list[bytes]:
    return [board, axis, axis]


def test_older_and_newer_layouts_are_read() -> None:
    board = settings.pack_scope("board", settings.defaults("board") | {"board_id": 5})
    axis = settings.pack_scope("axis", AXIS | {"feedback": 1, "trip_ma": 777})
    whole = bytearray(b"\xff" * SIZE)
    put_slot(whole, 0, 1, scopes(board, axis))
    rest = SLOT_SIZE - 9 - len(board) - 2 * len(axis)
    for tails in ((b"\1" * rest, b""), (b"\1" * (rest - 2), b"\3")):
        longer = bytearray(b"\xff" * SIZE)
        put_slot(longer, 0, 1, scopes(board + tails[0], axis + tails[1]))
        live, _, faults = boots(bytes(longer))
        assert (live, faults) == (boots(bytes(whole))[0], 0)
    too_long = bytearray(b"\xff" * SIZE)
    put_slot(too_long, 0, 1, scopes(board + b"\1" * (rest - 1), axis + b"\3"))
    assert boots(bytes(too_long)) == (boots(b"\xff" * SIZE)[0], 0, FaultBits.SETTINGS)
    shorter = bytearray(b"\xff" * SIZE)
    put_slot(shorter, 0, 1, scopes(board[:4], axis[:48]))  # up to trip_ma
    assert boots(bytes(shorter))[0] == boots(bytes(whole))[0]


def test_blank_is_no_fault_and_damage_is() -> None:
    defaults = boots(b"\xff" * SIZE)
    assert defaults[1:] == (0, 0)
    host = Host(b"\xff" * SIZE)
    host.change(feedback=1, trip_ma=800)
    host.store()
    host.store()
    image = bytearray(host.image)
    image[SLOTS[0] + 100] ^= 8
    assert boots(bytes(image))[0] == host.ask("digests")["live"]
    image[SLOTS[1] + 100] ^= 8
    assert boots(bytes(image)) == (defaults[0], 0, FaultBits.SETTINGS)
    damaged = Host(bytes(image))
    assert damaged.events[0].fields["kind"] == EventKind.BOOT
    assert damaged.events[1].fields["cause"] == Fault.SETTINGS
    assert damaged.ask("clear", axis=0)["cleared"] == FaultBits.SETTINGS
