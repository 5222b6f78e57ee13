"""The compiler's assembler files, read function by function."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

TWO_WORDS = {"lds", "sts"}  # a call or jump is taken for one word: `order` sees to that
SKIPS = {"sbrc", "sbrs", "sbic", "sbis", "cpse"}
BEGIN = "begin"  # stands for a call of what moves the stack: never part of what is shared
WORD = re.compile(r"[A-Za-z_][\w.]*")
LABEL = re.compile(r"([\w.$]+):")
SECTION = re.compile(r"\s*\.section\s+\.text\.([\w.]+)")


class Line(NamedTuple):
    """A line of a file; `code` is its instruction with single spaces, empty for everything else."""

    text: str
    code: str = ""

    @property
    def label(self) -> str:
        """The label that this line is, or nothing."""
        found = LABEL.match(self.text.strip())
        return found[1] if found else ""

    @property
    def is_nothing(self) -> bool:
        """Neither code nor anything that would end a run."""
        text = self.text.strip()
        return not self.code and (not text or text.startswith(("/*", ";", "#")))


@dataclass
class Function:
    """The lines of one section of code; `is_plain`: nothing of it is shared."""

    name: str
    lines: list[Line]
    is_plain: bool = False
    at: float = 0.0  # where it lies, bytes

    def placed(self) -> list[tuple[int, str]]:
        """Its instructions, with the number of the line."""
        return [(at, line.code) for at, line in enumerate(self.lines) if line.code]

    def calls(self) -> list[tuple[int, int, str]]:
        """What it calls or jumps to, with the number of the line and bytes from the first one."""
        found, passed = [], 0
        for line, code in self.placed():
            if operation(code) in ("call", "jmp", BEGIN):
                found.append((line, passed, code.split(" ")[1]))
            passed += size_of(code)
        return found

    @property
    def size(self) -> int:
        return sum(size_of(line.code) for line in self.lines if line.code)


def operation(code: str) -> str:
    return code.split(" ", 1)[0]


def size_of(code: str) -> int:
    return 4 if operation(code) in TWO_WORDS else 2


def instruction(code: str) -> Line:
    return Line(f"\t{code}", code)


def new_function(name: str, words: list[str]) -> Function:
    """A function of our own, from instructions and labels."""
    head = [Line(f'\t.section .text.{name},"ax",@progbits'), Line(f"{name}:")]
    body = [Line(word) if word.endswith(":") else instruction(word) for word in words]
    return Function(name, [*head, *body])


def read_line(text: str) -> Line:
    """A near call of the compiler's becomes a call: the linker makes it as short as it can be."""
    bare = re.sub(r"\s+", " ", text.strip())
    if not text.startswith("\t") or not bare or bare.startswith((".", "/*", ";", "#")):
        return Line(text)
    if LABEL.match(bare):
        return Line(text)
    if re.match(r"r(call|jmp) [A-Za-z_]", bare):
        return instruction(bare[1:])
    return Line(text, bare)


def own_names(texts: dict[str, str]) -> set[str]:
    """Names that more than one file has, each for itself."""
    public, typed = set(), Counter[str]()
    for text in texts.values():
        public |= set(re.findall(r"^\s*\.(?:global|comm)\s+([\w.]+)", text, re.MULTILINE))
        typed.update(set(re.findall(r"^\s*\.type\s+([\w.]+),", text, re.MULTILINE)))
    return {name for name, count in typed.items() if count > 1 and name not in public}


def told_apart(text: str, file: str, names: set[str]) -> str:
    """Local labels and names of its own with the file's name, as all come together."""
    text = re.sub(r"\.L(?=\w)", f".L{file}_", text)
    return re.sub(r"(?<![\w.])[A-Za-z_][\w.]*", lambda word: with_file(word[0], file, names), text)


def with_file(word: str, file: str, names: set[str]) -> str:
    return f"{word}.{file}" if word in names else word


def read(paths: list[Path], plain: set[str]) -> tuple[list[Function], list[str]]:
    """The functions of all files, and the lines that are no code."""
    texts = {path.stem: path.read_text() for path in paths}
    names = own_names(texts)
    functions: list[Function] = []
    others: list[str] = []
    for file, text in texts.items():
        inside = False
        for each in told_apart(text, file, names).splitlines():
            if section := SECTION.match(each):
                functions.append(Function(section[1], [], file in plain))
                inside = True
            elif re.match(r"\s*\.section", each):
                inside = False
            if not inside:
                others.append(each)
                continue
            functions[-1].lines.append(read_line(each))
            if named := re.match(r"\s*\.type\s+([\w.]+), @function", each):
                functions[-1].name = named[1]
    return functions, others


def with_stacked(functions: list[Function]) -> set[str]:
    """Functions that find arguments on the stack: a call from one place deeper misleads them."""
    found = set()
    for function in functions:
        framed, stack = False, 0
        for line in function.lines:
            if size := re.match(r"\.L\w*_stack_usage = (\d+)", line.text):
                stack = int(size[1])
            elif line.code == "in r28,__SP_L__":
                framed = True
            elif framed and any(int(at) > stack for at in re.findall(r"\bY\+(\d+)", line.code)):
                found.add(function.name)
    return found
