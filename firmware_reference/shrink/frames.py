"""How functions begin and end: registers that they keep, and room on the stack.

A function that keeps registers from one of r2 to r17 up to r29, as nearly all do, begins with the
call of a few instructions that push them from behind their own return address, and ends with a
jump to those that fetch them. Room on the stack is made and given back by what libgcc has for it.
"""

from __future__ import annotations

import re

from assembler import BEGIN, Function, Line, instruction, new_function

KEPT = [*(f"r{number}" for number in range(2, 18)), "r28", "r29"]
FETCHED_BY_POP = 3  # registers: more are fetched by libgcc's way
SET_STACK = [
    "in __tmp_reg__,__SREG__",
    "cli",
    "out __SP_H__,r29",
    "out __SREG__,__tmp_reg__",
    "out __SP_L__,r28",
]
TO_FRAME = ["in r28,__SP_L__", "in r29,__SP_H__"]


class Beginning:
    """What a function does first: `kept` registers, `room` bytes, `length` instructions."""

    def __init__(self, codes: list[str]) -> None:
        at = 0
        while at < len(codes) and codes[at].startswith("push r"):
            at += 1
        self.kept = at
        good = 2 <= at <= len(KEPT) and codes[:at] == [f"push {reg}" for reg in KEPT[-at:]]
        self.pushed = 0  # bytes of room that pushes make
        while at < len(codes) and codes[at] in ("rcall .", "push __zero_reg__"):
            self.pushed += 2 if codes[at] == "rcall ." else 1
            at += 1
        self.room = self.pushed
        self.framed = codes[at : at + 2] == TO_FRAME
        if self.framed:
            at += 2
            if not self.pushed:
                at = self.read_room(codes, at)
        self.length = at
        self.is_known = good and self.room < 256 and self.framed == (self.room > 0)

    def read_room(self, codes: list[str], at: int) -> int:
        short = re.match(r"sbiw r28,(\d+)$", codes[at])
        long = re.match(r"subi r28,(?:lo8\()?(\d+)\)?$", codes[at])
        at += 1 if short else 2
        found = short or long
        if found and codes[at : at + len(SET_STACK)] == SET_STACK:
            self.room = int(found[1])
        return at + len(SET_STACK)

    def ending(self) -> list[str]:
        """The instructions that end such a function."""
        fetch = [f"pop {reg}" for reg in reversed(KEPT[-self.kept :])]
        room = ["pop __tmp_reg__"] * self.pushed or (SET_STACK if self.framed else [])
        return [*room, *fetch, "ret"]

    def first(self) -> list[str]:
        """What is put in the place of the beginning."""
        if self.framed:
            return [f"ldi r26,{self.room}", f"{BEGIN} begin_framed_{self.kept}"]
        return [f"{BEGIN} begin_{self.kept}"]

    def last(self) -> list[str]:
        """What is put in the place of the ending."""
        if not self.framed:
            return [f"jmp end_{self.kept}"]
        back = [f"adiw r28,{self.pushed}"] if self.pushed else []
        return [*back, f"jmp end_framed_{self.kept}"]


def replaced(function: Function, found: Beginning) -> None:
    """The function with its beginning and its endings in the short form."""
    placed = function.placed()
    codes = [code for _, code in placed]
    ending = found.ending()
    instead = {placed[0][0]: found.first()}
    gone = {at for at, _ in placed[: found.length]}
    for at in range(len(codes)):
        rows = [place for place, _ in placed[at : at + len(ending)]]
        if codes[at : at + len(ending)] == ending and is_straight(function, rows):
            instead[rows[0]] = found.last()
            gone.update(rows)
    lines: list[Line] = []
    for at, line in enumerate(function.lines):
        if at in instead:
            lines += map(instruction, instead[at])
        elif at not in gone:
            lines.append(line)
    function.lines = lines


def is_straight(function: Function, rows: list[int]) -> bool:
    """No label between these lines."""
    return not any(line.label for line in function.lines[rows[0] : rows[-1]])


def pushes(counts: list[int]) -> Function:
    """begin_N for each count: the return address into Z, then the pushes from the right one on."""
    words = []
    for count in counts:
        words += [f"begin_{count}:", "pop r31", "pop r30"]
        words += [f"rjmp .Lpush_{count}"] if count != counts[-1] else []
    for left in range(counts[-1], 0, -1):
        words += [f".Lpush_{left}:", f"push {KEPT[-left]}"]
    return new_function("begin_all", [*words, "ijmp"])


def makes_room(count: int) -> Function:
    words = ["pop r31", "pop r30", "ldi r27,0", f"jmp __prologue_saves__+((18-{count})*2)"]
    return new_function(f"begin_framed_{count}", words)


def ends(count: int) -> list[Function]:
    """end_N and end_framed_N, which has Y at the stack's end."""
    back = [f"ldi r30,{count}", f"jmp __epilogue_restores__+((18-{count})*2)"]
    if count > FETCHED_BY_POP:
        return [new_function(f"end_{count}", [*TO_FRAME, f"end_framed_{count}:", *back])]
    fetch = [f"pop {reg}" for reg in reversed(KEPT[-count:])]
    framed = new_function(f"end_framed_{count}", back)
    return [new_function(f"end_{count}", [*fetch, "ret"]), framed]


def shorten(functions: list[Function]) -> list[Function]:
    """Changes the functions; gives those that they now call."""
    framed: set[int] = set()
    bare: set[int] = set()
    for function in functions:
        found = Beginning([code for _, code in function.placed()])
        if found.is_known and not function.is_plain:
            replaced(function, found)
            (framed if found.framed else bare).add(found.kept)
    made = [pushes(sorted(bare))] if bare else []
    made += [makes_room(count) for count in sorted(framed)]
    made += [each for count in sorted(bare | framed) for each in ends(count)]
    for function in made:
        function.is_plain = True
    return [function for function in made if function.name in named_in([*functions, *made])]


def named_in(functions: list[Function]) -> set[str]:
    """Functions that something names, by a label within or by their own."""
    words = {code.split(" ")[-1] for each in functions for _, code in each.placed()}
    labels = {each.name: {line.label for line in each.lines} for each in functions}
    return {name for name, own in labels.items() if not own.isdisjoint(words)}
