"""Runs of instructions that occur at several places, each kept once.

A run is a straight piece: no label within, no branch, nothing that moves the stack pointer, no call
of a function that looks for arguments on the stack. It may end in `ret` or in a jump to another
function, and then is jumped to, with the registers that it pops. An instruction that may skip the
next one never stands last, nor does a run begin behind it.
"""

from __future__ import annotations

import re
from collections import defaultdict
from itertools import pairwise
from typing import NamedTuple

from assembler import BEGIN, SKIPS, WORD, Function, instruction, new_function, operation, size_of

CALL, FAR_CALL, RET = 2, 3, 2  # bytes; half of the far ones will find a bridge
NEAR = 7600  # bytes: calls of what lies in their middle take one word
LONGEST = 30
LEAST_GAIN = 2
NEARLY = 0.75  # of the best gain: taken in the same round
ENDS = re.compile(r"(br|rjmp|e?ijmp|icall|reti|push|sei|sleep|wdr|begin)")
STACK = re.compile(r"pop |cli|.*__(SP|SREG)")  # only in what is jumped to
BOUND_HERE = re.compile(r"gs\(|\.L|logue| \.|\b\d+[fb]\b")


class Place(NamedTuple):
    """Where an instruction stands: a line of a function, and bytes from the first one."""

    function: Function
    line: int
    at: float


class Chosen(NamedTuple):
    """The places of a run that are worth a call, and where its function should lie."""

    gain: float
    places: list[int]
    middle: float


class Text:
    """All functions as one row of instructions; an empty one ends every run."""

    def __init__(self, functions: list[Function], made: list[Function], unclear: set[str]) -> None:
        self.codes: list[str] = []
        self.places: list[Place | None] = []
        whole = sum(each.size for each in functions)
        stretch = 1 + sum(each.size for each in made) / max(whole, 1)  # they will lie in between
        passed = 0.0
        for function in functions:
            function.at = passed * stretch
            for number, line in enumerate(function.lines):
                if not line.is_nothing and not function.is_plain:
                    self.codes.append(line.code)
                    self.places.append(Place(function, number, passed * stretch))
                passed += size_of(line.code) if line.code else 0
            self.codes.append("")
            self.places.append(None)
        self.good = [may_share(code, unclear) for code in self.codes]
        self.last = [is_end(code) for code in self.codes]
        self.skips = [operation(code) in SKIPS for code in self.codes]
        self.stack = [STACK.match(code) is not None for code in self.codes]

    def at(self, place: int) -> float:
        found = self.places[place]
        assert found is not None
        return found.at

    def all_runs(self) -> dict[tuple[int, ...], list[int]]:
        """Every run, as numbers of instructions, with where it begins."""
        numbers: dict[str, int] = {}
        row = [numbers.setdefault(code, len(numbers)) for code in self.codes]
        found: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for start in range(len(row)):
            if self.last[start] or (start and self.skips[start - 1]):
                continue
            for end in self.ends_from(start):
                found[tuple(row[start : end + 1])].append(start)
        return found

    def ends_from(self, start: int) -> list[int]:
        """Where a run that begins here may end."""
        found = []
        moves_stack = False
        for end in range(start, min(start + LONGEST, len(self.codes))):
            if not self.good[end]:
                break
            moves_stack = moves_stack or self.stack[end]
            may_end = self.last[end] or not (moves_stack or self.skips[end])
            if end > start and may_end:
                found.append(end)
            if self.last[end]:
                break
        return found

    def choose(self, places: list[int], length: int) -> Chosen:
        """The best stretch of near calls; far ones too where even they gain."""
        first = places[0]
        size = sum(map(size_of, self.codes[first : first + length]))
        fixed = size + (0 if self.last[first + length - 1] else RET)
        near, far = size - CALL, max(0, size - FAR_CALL)
        best, end = Chosen(-1e9, [], 0.0), 0
        for start in range(len(places)):
            while end < len(places) and self.at(places[end]) - self.at(places[start]) <= NEAR:
                end += 1
            gain = (end - start) * near + (len(places) - end + start) * far - fixed
            if gain > best.gain:
                middle = (self.at(places[start]) + self.at(places[end - 1])) / 2
                best = Chosen(gain, places if far else places[start:end], middle)
        return best


def is_end(code: str) -> bool:
    return code == "ret" or operation(code) == "jmp"


def may_share(code: str, unclear: set[str]) -> bool:
    if not code or ENDS.match(operation(code)) or BOUND_HERE.search(code):
        return False
    return unclear.isdisjoint(WORD.findall(code))


def apart(places: list[int], length: int, taken: bytearray) -> list[int]:
    """Those that overlap neither one another nor what is taken."""
    kept: list[int] = []
    for place in places:
        if (not kept or place >= kept[-1] + length) and not any(taken[place : place + length]):
            kept.append(place)
    return kept


def best_runs(text: Text) -> list[tuple[int, Chosen]]:
    """Lengths and places of runs that do not overlap, the best and those nearly as good."""
    taken = bytearray(len(text.codes))
    drawn = []
    for run, places in text.all_runs().items():
        free = apart(places, len(run), taken) if len(places) > 1 else []
        if len(free) > 1 and (gain := text.choose(free, len(run)).gain) >= LEAST_GAIN:
            drawn.append((gain, len(run), free))
    drawn.sort(key=lambda each: (-each[0], -each[1], each[2][0]))
    chosen: list[tuple[int, Chosen]] = []
    for gain, length, places in drawn:
        least = max(LEAST_GAIN, NEARLY * drawn[0][0])
        if gain < least:
            break
        free = apart(places, length, taken)
        found = text.choose(free, length) if len(free) > 1 else None
        if found and found.gain >= least and len(found.places) > 1:
            chosen.append((length, found))
            for place in found.places:
                taken[place : place + length] = b"\1" * length
    return chosen


def take_out(text: Text, length: int, found: Chosen, label: str) -> Function:
    """The run as a function, with calls in its places."""
    first = found.places[0]
    body = text.codes[first : first + length]
    is_jump = is_end(body[-1])
    made = new_function(label, body if is_jump else [*body, "ret"])
    made.at = found.middle
    for start in found.places:
        for number in range(start, start + length):
            place = text.places[number]
            assert place is not None
            word = f"{'jmp' if is_jump else 'call'} {label}" if number == start else "gone"
            place.function.lines[place.line] = instruction(word)
    return made


def share(functions: list[Function], unclear: set[str]) -> list[Function]:
    """Changes the functions; gives what they now call."""
    made: list[Function] = []
    while True:
        text = Text(functions, made, unclear)
        chosen = best_runs(text)
        if not chosen:
            return made
        for length, found in chosen:
            made.append(take_out(text, length, found, f"shared_{len(made)}"))
        for function in functions:
            function.lines = [line for line in function.lines if line.code != "gone"]


def may_jump_last(function: Function, at: int) -> bool:
    """The instruction of this line is never skipped."""
    before = [line for line in function.lines[:at] if line.code or line.label]
    return not before or operation(before[-1].code) not in SKIPS


def jump_last(functions: list[Function], unclear: set[str]) -> None:
    """A call before a `ret` becomes a jump."""
    for function in functions:
        rows = [at for at, line in enumerate(function.lines) if line.code or line.label]
        for at, behind in pairwise(rows):
            code = function.lines[at].code
            name = code.removeprefix("call ")
            if function.is_plain or name == code or name in unclear or BEGIN in operation(code):
                continue
            if function.lines[behind].code == "ret" and may_jump_last(function, at):
                function.lines[at] = instruction(f"jmp {name}")
                function.lines[behind] = instruction("gone")
        function.lines = [line for line in function.lines if line.code != "gone"]
