"""Where things stand in a TOML text: tomlkit keeps comments but tells no line numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator

_HEADER = re.compile(r"^\s*\[\s*([^\[\]]+?)\s*\]\s*(?:#.*)?$")
_NAME = r"""(?:[\w-]+|"[^"]*"|'[^']*')"""
_KEY = re.compile(rf"^\s*({_NAME}(?:\s*\.\s*{_NAME})*)\s*=")
_NOTHING = re.compile(r"^\s*([\w.-]+)\s*=\s*(?:#.*)?$")
_PART = re.compile(_NAME)
_COMMA = re.compile(r"^\s*([\w.-]+)\s*=\s*([+-]?\d+),(\d+)\s*(?:#.*)?$")

Place = tuple[str, ...]


def line_map(text: str) -> dict[Place, int]:
    """Line number, from 1, of every table header and key: ("axes", "1", "rod") -> 30."""
    found: dict[Place, int] = {}
    for number, place in _places(text):
        found.setdefault(place, number)
    return found


def doubles(text: str) -> list[tuple[int, str, int]]:
    """Tables and keys that stand there twice: line, name, and line of the first."""
    first: dict[Place, int] = {}
    found = []
    for number, place in _places(text):
        if place in first:
            found.append((number, place[-1], first[place]))
        first.setdefault(place, number)
    return found


def without_value(text: str) -> list[tuple[int, str]]:
    """Lines such as `trip_a =`: number and key."""
    lines = enumerate(text.splitlines(), start=1)
    return [(number, found[1]) for number, line in lines if (found := _NOTHING.match(line))]


def _places(text: str) -> Iterator[tuple[int, Place]]:
    table: Place = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _parts(header[1])
            yield number, table
        elif key := _KEY.match(line):
            yield number, table + _parts(key[1])


def line_of(found: dict[Place, int], path: Place) -> int:
    """The line of a path, or of the nearest table around it; 1 when there is none."""
    while path:
        if path in found:
            return found[path]
        path = path[:-1]
    return 1


def decimal_commas(text: str) -> list[tuple[int, str, str, str]]:
    """Lines such as `trip_a = 2,9`: number, key, what stands there, what is meant."""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        if comma := _COMMA.match(line):
            found.append((number, comma[1], f"{comma[2]},{comma[3]}", f"{comma[2]}.{comma[3]}"))
    return found


def _parts(dotted: str) -> Place:
    return tuple(part.strip("\"'") for part in _PART.findall(dotted))
