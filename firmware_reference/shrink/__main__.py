"""Makes the compiler's code smaller: `python3 shrink TO PLAIN FILE...`.

FILEs are the core in assembler as avr-gcc writes it; PLAIN are names of those whose runs stay where
they are, with commas between. TO gets before.s and behind.s, to be linked with libgcc in between:
beginnings and ends of functions are shared (frames.py), runs that occur again are kept once
(runs.py), and all lies so that most calls take one word (order.py). Files of the thin layer are not
for this: there the distance of instructions may matter.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from assembler import BEGIN, Function, read, with_stacked
from frames import shorten
from order import arranged, followed
from runs import jump_last, share

EQUATES = ["SP_H__ = 0x3e", "SP_L__ = 0x3d", "SREG__ = 0x3f", "tmp_reg__ = 0", "zero_reg__ = 1"]


def public(functions: list[Function], others: list[str]) -> list[str]:
    """What either file may call or read of the other."""
    objects = [re.match(r"\s*\.type\s+([\w.]+), @object", line) for line in others]
    names = [found[1] for found in objects if found]
    labels = [line.label for function in functions for line in function.lines]
    names += [label for label in labels if label and label[0].isalpha()]
    return [f"\t.global {name}" for name in names] + [f"__{each}" for each in EQUATES]


def written(chains: list[list[Function]]) -> list[str]:
    """The lines of chains, each chain one section."""
    text = []
    for chain in chains:
        for function in chain:
            is_first = function is chain[0]
            kept = [line for line in function.lines if is_first or ".section" not in line.text]
            text += [re.sub(rf"^\t{BEGIN} ", "\tcall ", line.text) for line in kept]
    return text


def main(to: Path, plain: set[str], paths: list[Path]) -> None:
    functions, others = read(paths, plain)
    unclear = with_stacked(functions)
    functions += shorten(functions)
    before, behind = arranged([[function] for function in functions], with_bridges=False)
    functions = [chain[0] for chain in [*before, *behind]]
    made = share(functions, unclear)
    functions = sorted([*functions, *made], key=lambda function: function.at)
    jump_last(functions, unclear)
    first, second = arranged(followed(functions), with_bridges=True)
    heads = public([function for chain in [*first, *second] for function in chain], others)
    kept = [line for line in others if not re.match(r"\s*\.(file|ident)", line)]
    (to / "before.s").write_text("\n".join([*heads, *kept, *written(first)]) + "\n")
    (to / "behind.s").write_text("\n".join([*heads, *written(second)]) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), set(sys.argv[2].split(",")), [Path(path) for path in sys.argv[3:]])
