"""Results to stdout, talk to stderr. A terminal that is gone never keeps a rod from stopping."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Iterator
from typing import Any

WIDTH = 80


@contextlib.contextmanager
def forgiving() -> Iterator[None]:
    """Ignore that nobody hears: a closed terminal or pipe."""
    with contextlib.suppress(OSError, ValueError):
        yield


def say(text: str = "") -> None:
    """A line of talk."""
    with forgiving():
        print(text, file=sys.stderr, flush=True)


def tell(text: str) -> None:
    """Talk of a procedure: long lines go on below themselves, spaces between words kept."""
    for line in text.split("\n"):
        for part in folded(line):
            say(part)


def folded(line: str, width: int = WIDTH) -> list[str]:
    """A line as lines of at most `width` columns, the later ones indented a little further."""
    indent = " " * (len(line) - len(line.lstrip()) + 4)
    parts = []
    while len(line) > width:
        cut = line.rfind(" ", len(indent) + 1, width + 1)
        if cut < 0:
            break
        parts.append(line[:cut].rstrip())
        line = indent + line[cut:].lstrip()
    return [*parts, line]


def result(data: Any, text: str, as_json: bool) -> None:
    """The result of a command: one JSON object, or text."""
    print(json.dumps(data, ensure_ascii=False) if as_json else text, flush=True)


def line(data: Any) -> None:
    """One JSON line of a stream."""
    print(json.dumps(data, ensure_ascii=False), flush=True)


def close_stdout() -> None:
    """Let the interpreter's own flush at exit go nowhere."""
    with forgiving():
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
