"""Bytes as the 45 characters that a QR code packs tightest: RFC 9285."""

from __future__ import annotations

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
_PLACE = {character: place for place, character in enumerate(ALPHABET)}


def encode(data: bytes) -> str:
    """Two bytes as three characters, the lowest digit first; a last byte as two."""
    pairs = (data[at : at + 2] for at in range(0, len(data), 2))
    return "".join(_digits(int.from_bytes(pair, "big"), len(pair) + 1) for pair in pairs)


def decode(text: str) -> bytes:
    """The bytes of a text. Raises ValueError for what no encoder makes."""
    groups = (text[at : at + 3] for at in range(0, len(text), 3))
    return b"".join(_bytes(group) for group in groups)


def _digits(number: int, count: int) -> str:
    return "".join(ALPHABET[number // 45**place % 45] for place in range(count))


def _bytes(group: str) -> bytes:
    if len(group) < 2 or not set(group) <= _PLACE.keys():
        raise ValueError(f"{group!r} is no group of base 45")
    number: int = sum(_PLACE[character] * 45**place for place, character in enumerate(group))
    count = len(group) - 1
    if number >= 256**count:
        raise ValueError(f"{group!r} is too large a number for its bytes")
    return number.to_bytes(count, "big")
