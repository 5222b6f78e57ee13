"""The pictures of `rodbench wire`, read back: where words stand, and what is joined to what."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from functools import cache
from itertools import combinations, product

import pytest
from rodbench.science import switch_only, wiring
from rodbench.show import schematic, switch_picture

FIGURES = schematic.Figures("7.5 A", "wire 1.5 mm2 or AWG 16", "2200 u", "4.7 n")
WIRE = re.compile(r"stroke-width:(1\.6|2\.4);")
Point = tuple[float, float]


@dataclass(frozen=True)
class Words:
    """Words of a picture and the box that they take, DejaVu Sans being 0.62 em a letter."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def on(self, other: Words) -> bool:
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom

    def crossed_by(self, one: Point, two: Point) -> bool:
        """Whether a straight wire passes through the words: a step every half point."""
        around = Words("", *map(min, one, two), *map(max, one, two))
        if around.right < self.left or self.right < around.left:
            return False
        if around.bottom < self.top or self.bottom < around.top:
            return False
        steps = max(2, int(2 * max(abs(one[0] - two[0]), abs(one[1] - two[1]))))
        return any(
            self.left < one[0] + (two[0] - one[0]) * n / steps < self.right
            and self.top < one[1] + (two[1] - one[1]) * n / steps < self.bottom
            for n in range(steps + 1)
        )


def words(svg: str) -> list[Words]:
    found = []
    for node in ElementTree.fromstring(svg).iter():
        text = "".join(node.itertext()).strip()
        if not node.tag.endswith("}text") or not text:
            continue
        size = float(node.get("font-size", "11"))
        x, y, wide = float(node.get("x", "0")), float(node.get("y", "0")), 0.62 * size * len(text)
        x -= {"start": 0.0, "middle": 0.5, "end": 1.0}[node.get("text-anchor", "start")] * wide
        found.append(Words(text, x, y - 0.8 * size, x + wide, y))
    return found


def wires(svg: str, width: str = "") -> list[tuple[Point, Point]]:
    """The straight wires, from end to end."""
    found = []
    for node in ElementTree.fromstring(svg).iter():
        style = node.get("style", "")
        if node.tag.endswith("}path") and WIRE.search(style) and f"stroke-width:{width}" in style:
            numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", node.get("d", ""))]
            ends = numbers[:2], numbers[-2:]
            found.append(((ends[0][0], ends[0][1]), (ends[1][0], ends[1][1])))
    return found


def near(one: Point, two: Point) -> bool:
    return abs(one[0] - two[0]) < 0.5 and abs(one[1] - two[1]) < 0.5


# ---------------------------------------------------------------- an axis


CASES = list(product(wiring.DRIVERS, wiring.SENSORS, (True, False), (True, False), (True, False)))


@cache
def axis_picture(kind: str, sensor: str, pot: bool, stop: bool, figures: bool) -> str:
    plan = wiring.wired(1, kind, sensor, False, pot, stop)
    return schematic.picture(plan, "north", FIGURES if figures else None)


def test_words_stand_clear_of_words_and_wires() -> None:
    for case in CASES:
        svg = axis_picture(*case)
        boxes = words(svg)
        for one, two in combinations(boxes, 2):
            assert not one.on(two), f"{case}: '{one.text}' on '{two.text}'"
        for box, (one, two) in product(boxes, wires(svg)):
            assert not box.crossed_by(one, two), f"{case}: a wire through '{box.text}'"


def test_everything_lies_on_the_sheet() -> None:
    for case in CASES:
        svg = axis_picture(*case)
        left, top, wide, high = map(float, ElementTree.fromstring(svg).get("viewBox", "").split())
        for box in words(svg):
            assert left <= box.left, f"{case}: {box.text}"
            assert box.right <= left + wide, f"{case}: {box.text}"
            assert top <= box.top, f"{case}: {box.text}"
            assert box.bottom <= top + high, f"{case}: {box.text}"


@pytest.mark.parametrize("stop", [True, False])
def test_the_stop_input_is_drawn_where_it_is_wired(stop: bool) -> None:
    plan = wiring.wired(1, wiring.DRIVERS[0], "none", False, True, stop)
    said = [each.text for each in words(schematic.picture(plan))]
    assert ("D8" in said) == stop == any(row.pin == "D8" for row in plan.connections)
    assert ("second contact of the stop switch" in said) == stop


def test_figures_stand_beside_their_parts() -> None:
    said = [each.text for each in words(axis_picture(wiring.DRIVERS[0], "none", True, True, True))]
    for figure in ("7.5 A", "wire 1.5 mm2 or AWG 16", "2200 u", "4.7 n"):
        assert said.count(figure) == 1
    bare = [each.text for each in words(axis_picture(wiring.DRIVERS[0], "none", True, True, False))]
    assert set(said) - set(bare) >= {"7.5 A", "2200 u", "4.7 n"}


# ---------------------------------------------------------------- the switch


TERMINALS = ("up 1", "up 2", "common 1", "common 2", "down 1", "down 2")


def switch_svg() -> str:
    return switch_picture.picture("5 A", "wire 1.5 mm2 or AWG 16")


def terminals(svg: str) -> dict[str, Point]:
    """Where each terminal is: the small circle that is nearest to its name."""
    circles = [
        (float(node.get("cx", "0")), float(node.get("cy", "0")))
        for node in ElementTree.fromstring(svg).iter()
        if node.tag.endswith("}circle") and float(node.get("r", "0")) < 5
    ]
    names = {each.text: each for each in words(svg) if each.text in TERMINALS}
    assert set(names) == set(TERMINALS)

    def away(name: str, at: Point) -> float:
        box = names[name]
        x = min(max(at[0], box.left), box.right) - at[0]
        return x**2 + ((box.top + box.bottom) / 2 - at[1]) ** 2

    return {name: min(circles, key=lambda at: away(name, at)) for name in TERMINALS}


def bridged(lines: list[tuple[Point, Point]]) -> list[tuple[Point, Point]]:
    """Two pieces in one line with a gap between them, where another wire passes, are one wire."""
    more = []
    for (a, b), (c, d) in combinations(lines, 2):
        gap = ((b[0] - d[0]) ** 2 + (b[1] - d[1]) ** 2) ** 0.5
        turn = (b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0])
        if 0.5 < gap < 40 and abs(turn) < 1 and a[0] != b[0] and a[1] != b[1]:
            more.append((b, d))
    return more


def joined(svg: str) -> set[frozenset[str]]:
    """Which terminals, supply leads and motor leads are on one wire."""
    lines = wires(svg, "2.4")
    lines += bridged(lines)
    places = {**terminals(svg), "supply -": (86.4, 72.0), "supply +": (302.4, -72.0)}
    places |= {"motor, one lead": (864.0, -165.6), "motor, other lead": (864.0, 165.6)}
    nets = {name: {at} for name, at in places.items()}
    for net in nets.values():
        grown = True
        while grown:
            new = {
                b
                for pair in lines
                for a, b in (pair, pair[::-1])
                if any(near(a, at) for at in net) and not any(near(b, at) for at in net)
            }
            net |= new
            grown = bool(new)
    return {
        frozenset(other for other, at in places.items() if any(near(at, p) for p in net))
        for net in nets.values()
    }


def test_the_switch_is_drawn_as_it_is_said() -> None:
    said = {frozenset({a.replace("supply +, through fuse and stop switch", "supply +"), b})
            for a, b in switch_only.WIRES}  # fmt: skip
    merged: set[frozenset[str]] = set()
    for pair in said:
        touching = {net for net in merged if net & pair}
        merged = (merged - touching) | {pair.union(*touching)}
    assert joined(switch_svg()) == merged


@pytest.mark.parametrize("pushed", ["up", "down", None])
def test_the_switch_reverses_and_never_shorts(pushed: str | None) -> None:
    nets = [set(pair) for pair in switch_only.WIRES]
    if pushed:
        nets += [{f"common {pole}", f"{pushed} {pole}"} for pole in (1, 2)]

    def reaches(start: str) -> set[str]:
        found = {start}
        for _ in nets:
            found |= {name for net in nets if net & found for name in net}
        return found

    plus, minus = reaches("supply +, through fuse and stop switch"), reaches("supply -")
    assert not plus & minus, "a short"
    leads = ("motor, one lead", "motor, other lead")
    if pushed is None:
        assert not {*leads} & (plus | minus), "open in the middle"
    else:
        ways = {"up": leads, "down": leads[::-1]}
        assert ways[pushed][0] in plus
        assert ways[pushed][1] in minus


def test_words_of_the_switch_stand_clear() -> None:
    svg = switch_svg()
    boxes = words(svg)
    for one, two in combinations(boxes, 2):
        assert not one.on(two), f"'{one.text}' on '{two.text}'"
    for box, (one, two) in product(boxes, wires(svg)):
        assert not box.crossed_by(one, two), f"a wire through '{box.text}'"
    said = " ".join(box.text for box in boxes)
    for caution in ("5 A", "springs back", "stop switch", "Nothing stops", "Local codes"):
        assert caution in said
