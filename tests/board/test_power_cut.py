"""Power cut at every byte of a store, a trip, totals, on the binary: the old ones or the new ones.

simavr writes a byte whole and at once, so each cut is made by hand: the EEPROM as it was before the
byte, with the byte whole, and with the byte as a write that was cut off may leave it.
"""

from __future__ import annotations

import functools
import random

import pytest
from rodbench.emulator.plant_file import default_machine
from rodbench_protocol import framing
from rodbench_protocol.messages import Message, pack, parse
from rodbench_protocol.names import Status

from tests.board import build
from tests.board.host import Host
from tests.board.simboard import BOOT_CYCLES, OK, RAM_BYTES, Chip, SimBoard
from tests.core.bench import log_of, totals_of
from tests.twin.memory import TOTALS, put_records

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


# ---------------------------------------------------------------- trips and totals

NEWEST = 77
SETTINGS_END = 657
RECORD_TICKS = 20  # in which the start's own record of duty is written: the log is busy until then


class Watched(SimBoard):
    """Notes (address, old, new) of each write begun; never more than one a tick."""

    def __init__(self, memory: bytes) -> None:
        self.memory, self.writes = bytearray(memory), list[tuple[int, int, int]]()
        machine = default_machine()
        machine.board.boot_ms = 5.0
        super().__init__(machine, eeprom=memory)

    def _run(self, arrived: bytes) -> None:
        super()._run(arrived)
        begun = self.chip.writes()
        assert len(begun) <= 1
        for address, value in begun:
            self.writes.append((address, self.memory[address], value))
            self.memory[address] = value


@functools.cache
def recorded_log() -> tuple[bytes, list[tuple[int, int, int]]]:
    """A memory with a full log and totals; what a trip of the start and a jog then write to it."""
    machine = default_machine()
    machine.board.boot_ms = 5.0
    host = Host(SimBoard(machine))
    host.open()
    host.settle(1, {"feedback": 1})
    host.store()
    sound = bytearray(host.board.eeprom)  # type: ignore[attr-defined]
    put_records(sound, NEWEST)
    damaged = bytearray(sound)
    damaged[1] = 7  # no format: a trip at the start
    started = Watched(bytes(damaged))
    started.step(60)
    assert bytes(started.memory) == started.eeprom
    moved = Watched(bytes(sound[:SETTINGS_END] + started.memory[SETTINGS_END:]))
    host = Host(moved)
    host.open()
    host.alive = True
    host.do("jog", axis=1, unit=0, value=250)
    host.step(40)
    host.do("stop", axis=1, category=0)
    moved.step(300)
    assert bytes(moved.memory) == moved.eeprom
    return bytes(sound), started.writes + moved.writes


def asked(chip: Chip, name: str, seq: int, **fields: int) -> Message:
    """A request and its reply."""
    splitter = framing.Splitter()
    chip.send(framing.encode(pack(name, 0 if name == "hello" else 5, seq, **fields)))
    for _ in range(8):
        assert chip.tick() == OK
        for frame in splitter.feed(chip.take()):
            message = parse(framing.decode(frame))
            if message.kind == "reply":
                return message
    raise AssertionError(f"no reply to {name}")


def told(eeprom: bytes, seed: int) -> tuple[list[int], tuple[int, ...], int]:
    """Numbers of the trips, totals of both axes, and the faults' digest after power-on."""
    chip = Chip(build.firmware(), eeprom, random.Random(seed).randbytes(RAM_BYTES))
    assert chip.tick(BOOT_CYCLES) == OK
    for _ in range(RECORD_TICKS):
        assert chip.tick() == OK
    hello = asked(chip, "hello", 0).fields
    fields = {"boot_nonce": hello["boot_nonce"], "protocol_major": 1, "protocol_minor": 0}
    assert asked(chip, "open", 0, **fields).fields["status"] == Status.OK
    numbers = []
    for age in range(8):
        trip = asked(chip, "trip_get", age + 1, age=age).fields
        if trip["status"] == Status.OK:
            numbers.append(trip["number"])
    totals: tuple[int, ...] = ()
    for axis in (1, 2):
        one = asked(chip, "totals", 8 + axis, axis=axis).fields
        totals += (one["on_s"], one["starts"], one["travel_mm"])
    chip.close()
    return numbers, totals, hello["digest_stored"]


def test_a_trip_and_totals_are_written_at_all() -> None:
    before, writes = recorded_log()
    memory = bytearray(before)
    assert NEWEST + 1 not in [trip.number for trip in log_of(memory)]
    for address, old, value in writes:
        assert memory[address] == old
        memory[address] = value
    assert log_of(memory)[0].number == NEWEST + 1
    assert totals_of(memory)[0] == NEWEST + 1
    assert min(address for address, _, _ in writes) >= SETTINGS_END
    # bytes that read as they should stay
    assert sum(address >= TOTALS for address, _, _ in writes) >= 15


@pytest.mark.parametrize("shard", range(SHARDS))
def test_log_and_totals_are_readable_after_a_cut_at_every_byte(shard: int) -> None:
    before, writes = recorded_log()
    memory = bytearray(before)
    _, old_totals, digest = told(before, 0)
    new_starts = old_totals[1] + 1
    for number, (address, old, new) in enumerate(writes):
        for value in sorted(torn(old, new, number)):
            if number % SHARDS == shard:
                memory[address] = value
                trips, totals, stored = told(bytes(memory), number)
                assert stored == digest
                assert trips == [trip.number for trip in log_of(memory)]
                whole = {NEWEST - age for age in range(7) if age != 5}
                assert whole <= set(trips) <= whole | {NEWEST - 7, NEWEST + 1}
                assert totals[1] in (old_totals[1], new_starts)
                assert totals[3:] == old_totals[3:]
                assert totals == totals_of(memory)[1:]
        memory[address] = new
    assert told(bytes(memory), 0)[1][1] == new_starts
