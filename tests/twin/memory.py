"""An EEPROM image with given settings, built from SPEC-level facts and the map in store.h alone."""

from __future__ import annotations

import binascii
import struct

from rodbench_protocol import settings

SLOTS = (1, 329)
SIZE = 1024
FORMAT = 1
HOT, TOTALS, TRIPS = 657, 817, 873


def put_slot(image: bytearray, slot: int, generation: int, scopes: list[bytes]) -> None:
    """Write a whole slot; scopes may be shorter or longer than today's."""
    covered = struct.pack("<HBB", generation, len(scopes[0]), len(scopes[1])) + b"".join(scopes)
    whole = struct.pack("<BI", FORMAT, binascii.crc32(covered)) + covered
    image[SLOTS[slot] : SLOTS[slot] + len(whole)] = whole


def sealed(record: bytes) -> bytes:
    """With the check byte of records behind it."""
    check = binascii.crc_hqx(record, 0xFFFF) & 0xFF
    return record + bytes((0 if check == 0xFF else check,))


def put_records(image: bytearray, newest: int) -> None:
    """Trips and hot records, all there but for a torn one, and both totals; the newest's number."""
    for age in range(17):
        number = (newest - age) & 0xFFFF
        hot = sealed(struct.pack("<HHBHB", number, 1500 - age, 58 + age, 65535 * (age % 2), 255))
        at = HOT + number % 17 * 9
        image[at : at + 9] = hot
    image[HOT + (newest + 1) % 17 * 9] ^= 4
    for age in range(8):
        number = (newest - age) & 0xFFFF
        trip = sealed(struct.pack("<HBBiHhHbH", number, 1 + age % 2, 1 + age, 7, 8, 9, 10, 11, age))
        at = TRIPS + number % 8 * 18
        image[at : at + 18] = trip
    image[TRIPS + (newest - 5) % 8 * 18 + 3] ^= 0x20
    for age in range(2):
        number = (newest - age) & 0xFFFF
        at = TOTALS + number % 2 * 28
        image[at : at + 28] = sealed(struct.pack("<H6Ix", number, 5, 255, 65535, 6, 2**32 - 1, 8))


def image(
    kind: int, board: dict[str, int], axis_1: dict[str, int], axis_2: dict[str, int]
) -> bytearray:
    """These settings in force, by several ways; kinds from 4 on leave other settings, or none."""
    scopes = [settings.pack_scope("board", board)]
    scopes += [settings.pack_scope("axis", values) for values in (axis_1, axis_2)]
    defaults = [settings.pack_scope(kind, settings.defaults(kind)) for kind in ("board", "axis")]
    older = [defaults[0], defaults[1], defaults[1]]
    made = bytearray(b"\xff" * SIZE)
    if kind % 3 == 1:
        put_records(made, (0x0003, 0x8001, 0x0000, 77)[kind // 3])
    if kind == 1:  # the newer in slot 1, over the wrap of the generation
        put_slot(made, 0, 0xFFFF, older)
        put_slot(made, 1, 2, scopes)
    elif kind == 2:  # from a newer firmware, with keys unknown here
        tails = (b"\x55" * 3, b"\x55", b"\x55")  # the slot holds no more
        put_slot(made, 0, 7, [s + tail for s, tail in zip(scopes, tails, strict=True)])
    elif kind == 3:  # the newer damaged
        put_slot(made, 0, 7, scopes)
        put_slot(made, 1, 8, older)
        made[SLOTS[1] + 40] ^= 1
    elif kind == 4:  # from an older firmware, without the last keys
        put_slot(made, 0, 1, [scopes[0][:-2], scopes[1][:70], scopes[2][:70]])
    elif kind == 5:  # both damaged: by a flipped bit, by impossible lengths
        put_slot(made, 0, 1, scopes)
        put_slot(made, 1, 2, scopes)
        made[SLOTS[0] + 60] ^= 4
        made[SLOTS[1] + 8] = 250
    elif kind == 6:  # a format of the future
        put_slot(made, 1, 2, scopes)
        made[SLOTS[1]] = 2
    elif kind == 8:  # good CRC, but a value out of its range
        axis_out = settings.pack_scope("axis", axis_1 | {"driver": 9})
        put_slot(made, 0, 1, [scopes[0], axis_out, scopes[2]])
    elif kind == 9:  # good CRC, but keys that contradict each other
        axis_out = settings.pack_scope("axis", axis_2 | {"calibrated": 1, "feedback": 0})
        put_slot(made, 0, 1, [scopes[0], scopes[1], axis_out])
    elif kind == 10:  # good CRC, but a value of the board out of its range
        board_out = settings.pack_scope("board", board | {"supply_nominal_mv": 1})
        put_slot(made, 0, 1, [board_out, *scopes[1:]])
    elif kind != 7:  # 7: blank
        put_slot(made, 0, 1, scopes)
    return made
