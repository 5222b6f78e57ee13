"""Results to stdout, talk to stderr. A terminal that is gone never keeps a rod from stopping."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shutil
import sys
from collections.abc import Iterator
from typing import Any, TextIO

WIDTH = 80
LAST_COLUMN = 54  # a column that begins further right has no room for a second line


class NobodyReads(Exception):
    """Whoever read our output has had enough. (click would make a failure of a broken pipe.)"""


@contextlib.contextmanager
def forgiving() -> Iterator[None]:
    """Ignore that nobody hears: a closed terminal or pipe."""
    with contextlib.suppress(OSError, ValueError):
        yield


def say(text: str = "") -> None:
    """Talk, a line or several."""
    with forgiving():
        print(_fitted(text, sys.stderr), file=sys.stderr, flush=True)


def sentences(text: str) -> str:
    """Message and hint of an error as they stand in a text: each begins with a capital."""
    return re.sub(r"(^|\. +)([a-z])", lambda m: m[1] + m[2].upper(), text.strip())


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """Leaves out the talk of what is done a second time."""
    with contextlib.redirect_stderr(io.StringIO()):
        yield


def _fitted(text: str, stream: TextIO) -> str:
    """Text as a terminal shows it well; a pipe gets whole lines, for programs."""
    if not stream.isatty():
        return text
    width = shutil.get_terminal_size((WIDTH, 24)).columns
    return "\n".join(part for line in text.split("\n") for part in folded(line, width))


def folded(line: str, width: int = WIDTH) -> list[str]:
    """A line as lines of at most `width` columns; the later ones go on below the last column that
    has room, else a little further in than the line itself."""
    columns = [gap.end() for gap in re.finditer(r"(?<=\S) {2,}", line[:width])]
    first = len(line) - len(line.lstrip()) + 4
    indent = " " * max([first, *(column for column in columns if column <= LAST_COLUMN)])
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
    line = json.dumps(data, ensure_ascii=False) if as_json else _fitted(text, sys.stdout)
    _out(line)


def lines(texts: list[str]) -> None:
    """Lines of a view that goes on."""
    for text in texts:
        _out(text)


def json_line(data: Any) -> None:
    """One JSON line of a stream."""
    _out(json.dumps(data, ensure_ascii=False))


def _out(text: str) -> None:
    try:
        print(text, flush=True)
    except OSError:  # a pipe that is closed, a terminal that is gone
        raise NobodyReads from None


def close_stdout() -> None:
    """Let the interpreter's own flush at exit go nowhere."""
    with forgiving():
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
