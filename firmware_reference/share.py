"""Keeps runs of instructions that occur more than once only once: `share.py TO GROUP...`.

A GROUP is a comma-separated list of assembler files as avr-gcc writes them, some 10 KB of code at
most, to be linked in this order. Each run becomes a small function in the middle of its group, so
that most calls take one word. The files are written to the folder TO under their names.

A run is a straight piece: no label within, no branch, nothing that moves the stack pointer, no call
of a function that looks for arguments on the stack. It may end in `ret`, and then is jumped to,
with the registers that it pops. An instruction that may skip the next one never stands last, nor
does a run begin behind it. Files of the thin layer are not for this: there the distance of
instructions may matter.
"""

from __future__ import annotations

import re
import sys
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

CALL = 2  # bytes, once the linker has made a word of it
RET = 2
LONGEST = 30
LEAST_GAIN = 2
NEARLY = 0.75  # of the best gain: taken in the same round
SKIPS = {"sbrc", "sbrs", "sbic", "sbis", "cpse"}
TWO_WORDS = {"lds", "sts", "call", "jmp"}
ENDS = re.compile(r"(br|[re]?jmp|e?ijmp|icall|reti|push|sei|cli|sleep|wdr)")
BOUND_HERE = re.compile(r"__SP|__SREG|gs\(|\.L|prologue| \.|\b\d+[fb]\b")
WORD = re.compile(r"[A-Za-z_][\w.]*")
LABEL = re.compile(r"[\w.$]+:")


class Line(NamedTuple):
    """A line of a file; `code` is its instruction with single spaces, empty for everything else."""

    file: str
    text: str
    code: str = ""

    @property
    def is_nothing(self) -> bool:
        """Neither code nor anything that would end a run."""
        text = self.text.strip()
        return not self.code and (not text or text.startswith(("/*", ";", "#")))


class Run(NamedTuple):
    """Instructions that occur at several places."""

    code: tuple[str, ...]
    places: list[int]

    @property
    def is_tail(self) -> bool:
        return self.code[-1] == "ret"

    @property
    def gain(self) -> int:
        """Bytes saved."""
        size = sum(map(size_of, self.code))
        return len(self.places) * (size - CALL) - size - (0 if self.is_tail else RET)


def size_of(code: str) -> int:
    return 4 if operation(code) in TWO_WORDS else 2


def operation(code: str) -> str:
    return code.split(" ")[0]


def read(path: Path) -> list[Line]:
    lines = []
    for text in path.read_text().splitlines():
        bare = text.strip()
        is_code = text.startswith("\t") and not bare.startswith((".", "/*", ";", "#"))
        is_code = is_code and bool(bare) and not LABEL.match(bare)
        lines.append(Line(path.name, text, re.sub(r"\s+", " ", bare) if is_code else ""))
    return lines


def with_stacked(lines: list[Line]) -> set[str]:
    """Functions that find arguments on the stack: a call from one place deeper misleads them."""
    found = set()
    name, framed, stack = "", False, 0
    for line in lines:
        if start := re.match(r"\s*\.type\s+([\w.]+), @function", line.text):
            name, framed = start[1], False
        elif size := re.match(r"\.L__stack_usage = (\d+)", line.text):
            stack = int(size[1])
        elif line.code == "in r28,__SP_L__":
            framed = True
        elif framed and any(int(at) > stack for at in re.findall(r"\bY\+(\d+)", line.code)):
            found.add(name)
    return found


class Names:
    """Which names of the files a run may use."""

    def __init__(self, files: dict[str, list[Line]]) -> None:
        self.files_of: dict[str, set[str]] = defaultdict(set)
        public = set()
        for file, lines in files.items():
            for line in lines:
                if found := re.match(r"\s*\.type\s+([\w.]+),", line.text):
                    self.files_of[found[1]].add(file)
                if found := re.match(r"\s*\.(?:global|comm)\s+([\w.]+)", line.text):
                    public.add(found[1])
        inner = {name: where for name, where in self.files_of.items() if name not in public}
        twice = {name for name, where in inner.items() if len(where) > 1 or "." in name}
        self.inner = sorted(set(inner) - twice)
        self.unclear = twice | {x for lines in files.values() for x in with_stacked(lines)}

    def published(self, file: str) -> list[str]:
        """What a file has to say so that its own functions can be called from a shared run."""
        return [f"\t.global {name}" for name in self.inner if file in self.files_of[name]]


def may_share(code: str, unclear: set[str]) -> bool:
    if not code or ENDS.match(operation(code)) or BOUND_HERE.search(code):
        return False
    return unclear.isdisjoint(WORD.findall(code))


def runs_from(code: list[str], good: list[bool], start: int) -> list[tuple[str, ...]]:
    """The runs that may begin at a place."""
    if start and operation(code[start - 1]) in SKIPS:
        return []
    found = []
    pops = False
    for end in range(start, min(start + LONGEST, len(code))):
        if not good[end]:
            break
        pops = pops or code[end].startswith("pop ")
        is_tail = code[end] == "ret"
        if end > start and (is_tail or not pops) and operation(code[end]) not in SKIPS:
            found.append(tuple(code[start : end + 1]))
        if is_tail:
            break
    return found


def apart(places: list[int], length: int, taken: set[int]) -> list[int]:
    """Those that overlap neither one another nor what is taken."""
    kept: list[int] = []
    for place in places:
        free = not kept or place >= kept[-1] + length
        if free and taken.isdisjoint(range(place, place + length)):
            kept.append(place)
    return kept


def best_runs(code: list[str], unclear: set[str]) -> list[Run]:
    """Runs worth sharing that do not overlap, the best and those nearly as good."""
    good = [may_share(each, unclear) for each in code]
    places: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for start in range(len(code)):
        for run in runs_from(code, good, start):
            places[run].append(start)
    drawn = [Run(run, apart(at, len(run), set())) for run, at in places.items() if len(at) > 1]
    drawn = sorted((run for run in drawn if run.gain >= LEAST_GAIN), key=lambda run: -run.gain)
    chosen: list[Run] = []
    taken: set[int] = set()
    for run in drawn:
        least = max(LEAST_GAIN, NEARLY * drawn[0].gain)
        if run.gain < least:
            break
        run = Run(run.code, apart(run.places, len(run.code), taken))
        if run.gain >= least:
            chosen.append(run)
            taken.update(at + n for at in run.places for n in range(len(run.code)))
    return chosen


def share(lines: list[Line], unclear: set[str], name: str) -> tuple[list[Line], list[str]]:
    """The lines with calls in the places of runs, and the text of the shared functions."""
    made: list[str] = []
    count = 0
    while True:
        places = [at for at, line in enumerate(lines) if not line.is_nothing]
        runs = best_runs([lines[at].code for at in places], unclear)
        if not runs:
            return lines, made
        instead: dict[int, str] = {}
        gone: set[int] = set()
        for run in runs:
            label = f"{name}_{count}"
            count += 1
            body = [*run.code, *([] if run.is_tail else ["ret"])]
            made += [f'\t.section .text.{label},"ax",@progbits', f"\t.global {label}", f"{label}:"]
            made += [f"\t{each}" for each in body]
            for start in run.places:
                instead[places[start]] = f"{'jmp' if run.is_tail else 'call'} {label}"
                gone.update(places[start + 1 : start + len(run.code)])
        lines = [
            Line(line.file, f"\t{instead[at]}", instead[at]) if at in instead else line
            for at, line in enumerate(lines)
            if at not in gone
        ]


def middle(lines: list[Line]) -> int:
    """Where a function begins, half of the code before it."""
    half = sum(size_of(line.code) for line in lines if line.code) / 2
    passed = 0
    for at, line in enumerate(lines):
        passed += size_of(line.code) if line.code else 0
        if passed >= half and re.match(r"\s*\.section\s+\.text", line.text):
            return at
    return len(lines) - 1


def main(to: Path, groups: list[list[Path]]) -> None:
    files = {path.name: read(path) for group in groups for path in group}
    names = Names(files)
    for number, group in enumerate(groups):
        # A line that is no code ends every run between two files.
        lines = [x for path in group for x in [*files[path.name], Line(path.name, "\t.text")]]
        lines, made = share(lines, names.unclear, f"shared{number}")
        at = middle(lines)
        lines[at:at] = [Line(lines[at].file, text) for text in made]
        for path in group:
            text = names.published(path.name) + [x.text for x in lines if x.file == path.name]
            (to / path.name).write_text("\n".join(text) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), [[Path(p) for p in group.split(",")] for group in sys.argv[2:]])
