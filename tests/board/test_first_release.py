"""Settings stored by the first release under this firmware: kept, completed, stored and loaded.

The truth is what the first release itself told of its settings (settings.json). The other way
round, a slot of a later release with more keys, is made by hand as SPEC.md lays a slot out.
"""

from __future__ import annotations

import binascii
import itertools
import struct
from collections.abc import Callable

import pytest
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import default_machine
from rodbench_protocol.settings import KEYS, defaults, digest_all

from tests.board import first_release
from tests.board.bootloaders import program
from tests.board.first_release import PROGRAM, Bare, eeprom, kept, told
from tests.board.host import Host

SLOT_AT, SLOT_SIZE, HEAD = 1, 328, 9  # format u8, CRC u32, generation u16, board and axis size u8
Scopes = list[dict[str, int]]


def binary(memory: bytes) -> Host:
    """This firmware, started with this EEPROM."""
    return Host(Bare(None, memory))


def twin(memory: bytes) -> Host:
    """The emulated board, likewise."""
    machine = default_machine()
    machine.board.boot_ms = 5.0
    return Host(EmulatedBoard(machine, eeprom=memory))


def memory_of(host: Host) -> bytes:
    board = host.board
    return bytes(board.eeprom if isinstance(board, EmulatedBoard) else board.chip.eeprom)  # type: ignore[attr-defined]


def completed() -> Scopes:
    """What the first release told, with the keys that came later at their defaults."""
    scopes: Scopes = kept()["scopes"]
    return [{**defaults("axis" if n else "board"), **scope} for n, scope in enumerate(scopes)]


both = pytest.mark.parametrize("start", [binary, twin])


def test_the_kept_image_is_what_the_first_release_writes() -> None:
    assert first_release.make() == kept()


def test_the_first_release_had_fewer_keys() -> None:
    """Else nothing here is proven."""
    assert all(len(kept()["scopes"][n]) < len(KEYS["axis"]) for n in (1, 2))


@both
def test_its_settings_are_kept_and_new_keys_are_defaults(start: Callable[[bytes], Host]) -> None:
    host = start(eeprom())
    hello = host.open()
    assert [told(host, scope) for scope in (0, 1, 2)] == completed()
    assert hello["digest_live"] == hello["digest_stored"] == digest_all(*completed())
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.step(20)
    boards = [m.fields for m in host.heard if m.name == "telemetry_board"]
    assert boards[-1]["faults"] == 0  # no fault of settings


@both
def test_they_are_stored_in_full_and_loaded_again(start: Callable[[bytes], Host]) -> None:
    host = start(eeprom())
    host.open()
    host.settle(1, {"trip_ma": 2_800})
    host.store()
    wanted = completed()
    wanted[1]["trip_ma"] = 2_800
    again = start(memory_of(host))
    assert again.open()["digest_live"] == digest_all(*wanted)
    assert [told(again, scope) for scope in (0, 1, 2)] == wanted


@both
def test_a_slot_of_a_later_release_gives_what_is_known(start: Callable[[bytes], Host]) -> None:
    """Two bytes more an axis, one more for the board, all that a slot has room for: the rest reads
    the same."""
    host = start(longer(eeprom_of_this_release(start)))
    host.open()
    assert [told(host, scope) for scope in (0, 1, 2)] == completed()


def test_the_first_release_reads_what_this_one_stores() -> None:
    memory = eeprom_of_this_release(binary)
    host = Host(Bare(program(PROGRAM), memory))
    host.open()
    assert [told(host, scope) for scope in (0, 1, 2)] == kept()["scopes"]


def eeprom_of_this_release(start: Callable[[bytes], Host]) -> bytes:
    host = start(eeprom())
    host.open()
    host.store()
    return memory_of(host)


def longer(memory: bytes) -> bytes:
    """The newest slot as a later release would have stored it, alone in the memory."""
    slots = [memory[SLOT_AT + n * SLOT_SIZE :][:SLOT_SIZE] for n in (0, 1)]
    slot = max(slots, key=lambda s: struct.unpack_from("<H", s, 5)[0])
    _, _, generation, board, axis = struct.unpack_from("<BIHBB", slot)
    at = [HEAD, HEAD + board, HEAD + board + axis, HEAD + board + 2 * axis]
    parts = [slot[a:b] for a, b in itertools.pairwise(at)]
    data = parts[0] + b"a" + parts[1] + b"bc" + parts[2] + b"de"
    tail = struct.pack("<HBB", generation, board + 1, axis + 2) + data
    whole = struct.pack("<BI", slot[0], binascii.crc32(tail)) + tail
    assert len(whole) <= SLOT_SIZE  # the slots' size is fixed: a board keeps its settings
    return b"\xff" * SLOT_AT + whole.ljust(1023, b"\xff")
