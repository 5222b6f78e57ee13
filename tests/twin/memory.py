"""An EEPROM image with given settings, built from SPEC-level facts and the map in store.h alone."""

from __future__ import annotations

import binascii
import struct

from rodbench_protocol import settings

SLOTS = (1, 329)
SIZE = 1024
FORMAT = 1


def with_settings(
    board: dict[str, int], axis_1: dict[str, int], axis_2: dict[str, int], generation: int = 1
) -> bytearray:
    """Slot 0 holds these settings; the rest is blank."""
    data = [settings.pack_scope("board", board)]
    data += [settings.pack_scope("axis", values) for values in (axis_1, axis_2)]
    image = bytearray(b"\xff" * SIZE)
    put_slot(image, 0, generation, data)
    return image


def put_slot(image: bytearray, slot: int, generation: int, scopes: list[bytes]) -> None:
    """Write a whole slot; scopes may be shorter or longer than today's."""
    covered = struct.pack("<HBB", generation, len(scopes[0]), len(scopes[1])) + b"".join(scopes)
    whole = struct.pack("<BI", FORMAT, binascii.crc32(covered)) + covered
    image[SLOTS[slot] : SLOTS[slot] + len(whole)] = whole
