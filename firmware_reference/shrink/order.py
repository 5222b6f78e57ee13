"""In which order functions lie, so that most calls reach with one word.

A function whose last instruction is a jump to another that nothing else stands before is followed
by that one, without the jump. Such chains are moved, one after another, to where most of what they
call and what calls them lies in reach, as long as that leaves fewer calls too far.
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections import Counter, defaultdict

from assembler import SKIPS, Function, instruction, new_function, operation

REACH = 4060  # bytes either way that one word reaches, less a little
LIBRARY = 700  # bytes of libgcc, which lies within and which all but these functions belong to
CALL = 2.3  # bytes, as some will not reach
COARSE = 16  # bytes: calls that differ by less are taken for one
ROUNDS = 8
FEWEST = 3  # far calls that are worth a jump in their midst
WARMTH = 1.0  # of the first rounds: how much worse a move may be

Site = tuple[float, Function, int]  # a call: where it is, and the line


def followed(functions: list[Function]) -> list[list[Function]]:
    """The chains; the jumps between their parts are gone."""
    by_name = {function.name: function for function in functions}
    before: dict[str, Function] = {}
    behind: dict[str, Function] = {}
    for function in functions:
        goal = by_name.get(last_jump(function))
        if goal and goal.name not in before and first_of(function, before) is not goal:
            before[goal.name] = function
            behind[function.name] = goal
    chains = []
    for function in functions:
        if function.name in before:
            continue
        chain = [function]
        while chain[-1].name in behind:
            chain.append(behind[chain[-1].name])
        for part in chain[:-1]:
            part.lines.pop(part.placed()[-1][0])
        chains.append(chain)
    return chains


def first_of(function: Function, before: dict[str, Function]) -> Function:
    while function.name in before:
        function = before[function.name]
    return function


def last_jump(function: Function) -> str:
    """What a function jumps to at its very end, never skipping that; or nothing."""
    rows = [line for line in function.lines if line.code or line.label]
    if len(rows) < 2 or operation(rows[-1].code) != "jmp" or operation(rows[-2].code) in SKIPS:
        return ""
    return rows[-1].code.split(" ")[1]


class Layout:
    """Chains and the library in an order, and which calls are too far; `before` it lie so many."""

    def __init__(self, chains: list[list[Function]], before: int) -> None:
        self.library = len(chains)
        self.sizes: list[float] = []
        self.homes: dict[str, tuple[int, float]] = {}
        self.calls: list[tuple[int, float, str]] = []
        for number, chain in enumerate(chains):
            self.read(number, chain)
        self.sizes.append(LIBRARY)
        self.sites = list(self.between().items())
        self.near: dict[int, list[tuple[int, float, int]]] = defaultdict(list)
        for (caller, called, apart), count in self.sites:
            self.near[caller].append((called, -apart, count))
            self.near[called].append((caller, apart, count))
        self.order = [*range(before), self.library, *range(before, self.library)]
        self.start = self.starts(self.order)
        self.far = self.too_far(self.start)

    def read(self, number: int, chain: list[Function]) -> None:
        at = 0.0
        for function in chain:
            for line in function.lines:
                if line.label:
                    self.homes[line.label] = (number, at)
                if operation(line.code) in ("call", "jmp", "begin"):
                    self.calls.append((number, at, line.code.split(" ")[1]))
                    at += CALL
                elif line.code:
                    at += 4 if operation(line.code) in ("lds", "sts") else 2
        self.sizes.append(at)

    def between(self) -> Counter[tuple[int, int, int]]:
        """How often one chain calls another, and how far apart were both to begin at one place."""
        found = Counter[tuple[int, int, int]]()
        for caller, at, name in self.calls:
            called, there = self.homes.get(name, (self.library, LIBRARY / 2))
            if called != caller:
                found[caller, called, round((at - there) / COARSE) * COARSE] += 1
        return found

    def starts(self, order: list[int]) -> list[float]:
        start, passed = [0.0] * len(self.sizes), 0.0
        for number in order:
            start[number] = passed
            passed += self.sizes[number]
        return start

    def too_far(self, start: list[float]) -> int:
        return sum(
            count
            for (caller, called, apart), count in self.sites
            if not -REACH < start[caller] - start[called] + apart < REACH
        )

    def place(self, name: str) -> float:
        """Where a label lies."""
        chain, at = self.homes.get(name, (self.library, LIBRARY / 2))
        return self.start[chain] + at

    def halves(
        self, chains: list[list[Function]]
    ) -> tuple[list[list[Function]], list[list[Function]]]:
        """What lies before the library, and what behind it."""
        at = self.order.index(self.library)
        first, second = self.order[:at], self.order[at + 1 :]
        return [chains[number] for number in first], [chains[number] for number in second]

    def wishes(self, number: int, chance: random.Random) -> list[float]:
        """Where a chain would have most in reach."""
        near = self.near[number]
        points = sorted((self.start[other] + apart, count) for other, apart, count in near)
        best, low, first, held = 0, 0.0, 0, 0
        high = low
        for at, count in points:
            held += count
            while at - points[first][0] > 2 * REACH - 400:
                held -= points[first][1]
                first += 1
            if held > best:
                best, low, high = held, at - REACH, points[first][0] + REACH
        if not points:
            return []
        return [(low + high) / 2, *(chance.uniform(low + 200, high - 200) for _ in range(2))]

    def move(self, number: int, goal: float, chance: random.Random, warmth: float) -> bool:
        """Takes a chain there, if that is no worse; a little worse while warm."""
        at = self.order.index(number)
        rest = self.order[:at] + self.order[at + 1 :]
        to = bisect_left([self.start[other] for other in rest], goal)
        order = [*rest[:to], number, *rest[to:]]
        start = self.starts(order)
        far = self.too_far(start)
        worse = far - self.far
        if worse > 0 and (warmth < 0.05 or chance.random() > 2.718 ** (-worse / warmth)):
            return False
        self.order, self.start, self.far = order, start, far
        return True


def bridged(chains: list[list[Function]], layout: Layout) -> list[list[Function]]:
    """Chains, and jumps to what several far calls of one neighbourhood want: these they reach."""
    far: dict[str, list[Site]] = defaultdict(list)
    for chain in chains:
        for function in chain:
            at = layout.place(function.name)
            for line, passed, name in function.calls():
                if abs(at + passed - layout.place(name)) > REACH:
                    far[name].append((at + passed, function, line))
    made: list[list[Function]] = []
    for name, sites in far.items():
        sites.sort(key=lambda site: site[0])
        best = max((within(sites, first) for first in range(len(sites))), key=len)
        if len(best) >= FEWEST:
            made.append([new_function(f"to_{name}", [f"jmp {name}"])])
            for _, function, line in best:
                word = operation(function.lines[line].code)
                function.lines[line] = instruction(f"{word} to_{name}")
    return [*chains, *made]


def within(sites: list[Site], first: int) -> list[Site]:
    """Those from a first one on that one jump serves."""
    return [site for site in sites[first:] if site[0] - sites[first][0] < 2 * REACH - 1000]


def settled(chains: list[list[Function]], before: int) -> Layout:
    """The best order found."""
    layout = Layout(chains, before)
    chance = random.Random(1)  # the same in every build
    for number in range(ROUNDS):
        warmth = WARMTH * (1 - number / ROUNDS)
        for chain in chance.sample(range(len(layout.sizes)), len(layout.sizes)):
            for goal in layout.wishes(chain, chance):
                if layout.move(chain, goal, chance, warmth):
                    break
    return layout


def arranged(
    chains: list[list[Function]], with_bridges: bool
) -> tuple[list[list[Function]], list[list[Function]]]:
    """The chains before the library, and those behind it."""
    layout = settled(chains, len(chains) // 2)
    first, second = layout.halves(chains)
    if with_bridges:
        chains = bridged([*first, *second], layout)
        layout = settled(chains, len(first))
    return layout.halves(chains)
