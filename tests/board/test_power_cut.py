"""Power cut at every byte of a store, on the binary: afterwards the old settings or the new ones.

simavr writes a byte whole and at once, so each cut is made by hand: the EEPROM as it was before the
byte, with the byte whole, and with the byte as a write that was cut off may leave it.
"""

from __future__ import annotations

import functools
import random

import pytest
from rodbench.emulator.plant_file import default_machine
from rodbench_protocol import framing
from rodbench_protocol.messages import pack, parse

from tests.board import build
from tests.board.host import Host
from tests.board.simboard import BOOT_CYCLES, OK, RAM_BYTES, Chip, SimBoard

SHARDS = 4


@functools.cache
def recorded() -> tuple[bytes, list[tuple[int, int, int]], int, int]:
    """EEPROM with the old settings; (address, old, new) of each write that stores the new ones;
    digests of old and new."""
    machine = default_machine()
    machine.board.boot_ms = 5.0
    simulated = SimBoard(machine)
    host = Host(simulated)
    host.open()
    host.settle(1, {"feedback": 1, "stroke_um": 111_000})
    host.store()
    host.settle(1, {"stroke_um": 222_000, "trip_ma": 999, "noise_x16": 77})
    before = bytes(simulated.eeprom)
    old = host.do("digests")
    memory = bytearray(before)
    writes = []
    simulated.chip.writes()
    host.send("store", host.seq + 1)
    for _ in range(600):
        host.step()
        begun = simulated.chip.writes()
        assert len(begun) <= 1  # never more than a byte a tick
        for address, value in begun:
            writes.append((address, memory[address], value))
            memory[address] = value
    host.seq += 1
    assert bytes(memory) == simulated.eeprom
    new = host.do("digests")
    assert new["stored"] == new["live"] == old["live"] != old["stored"]
    return before, writes, old["stored"], new["stored"]


def boot(eeprom: bytes, seed: int) -> dict[str, int]:
    """What hello says after power-on with this EEPROM."""
    chip = Chip(build.firmware(), eeprom, random.Random(seed).randbytes(RAM_BYTES))
    assert chip.tick(BOOT_CYCLES) == OK
    chip.send(framing.encode(pack("hello", 0, 0)))
    splitter = framing.Splitter()
    for _ in range(6):
        assert chip.tick() == OK
        for frame in splitter.feed(chip.take()):
            message = parse(framing.decode(frame))
            if message.name == "hello":
                chip.close()
                return message.fields
    raise AssertionError("no hello")


def torn(old: int, new: int, seed: int) -> set[int]:
    """What a byte may read whose write was cut off."""
    return {old, new, 0xFF, old & new, random.Random(seed).randrange(256)}


def test_the_store_writes_what_it_must_and_no_more() -> None:
    _, writes, _, _ = recorded()
    assert len({address for address, _, _ in writes}) > 20
    assert 0 not in {address for address, _, _ in writes}  # byte 0 stays unused


@pytest.mark.parametrize("shard", range(SHARDS))
def test_old_or_new_after_a_cut_at_every_byte(shard: int) -> None:
    before, writes, old_digest, new_digest = recorded()
    memory = bytearray(before)
    seen = set()
    for number, (address, old, new) in enumerate(writes):
        for value in sorted(torn(old, new, number)):
            if number % SHARDS == shard:
                memory[address] = value
                hello = boot(bytes(memory), number)
                assert hello["digest_live"] in (old_digest, new_digest), (number, address, value)
                assert hello["digest_stored"] == hello["digest_live"]
                seen.add(hello["digest_live"])
        memory[address] = new
    assert old_digest in seen
    assert boot(bytes(memory), 0)["digest_live"] == new_digest
