"""A sheet for schematics: an SVG with its words as text, drawn on a grid of schemdraw's units."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

INK, LINE, POWER, SOFT = "#22303a", "#2b6a86", "#8a3b1e", "#7b8790"
SINK = 0.2  # from the middle of a line of words to its base line
FONT = "DejaVu Sans, Arial, sans-serif"


class Sheet:
    """One drawing; x to the right, y upwards."""

    def __init__(self) -> None:
        import schemdraw
        import schemdraw.elements as elements

        schemdraw.use("svg")
        schemdraw.svgconfig.text = "text"
        self.drawing: Any = schemdraw.Drawing(show=False, fontsize=11, font=FONT, color=INK, lw=1.4)
        self.drawing.config(margin=0.6)
        self.parts: Any = elements

    def svg(self) -> str:
        """The picture as it stands."""
        text: str = self.drawing.get_imagedata("svg").decode("utf-8")
        # Not every viewer knows it; SINK does the same for all.
        return text.replace(' dominant-baseline="central"', "")

    def line(self, *points: tuple[float, float], colour: str = LINE, width: float = 1.6) -> None:
        """A wire through these points."""
        for start, end in pairwise(points):
            self.drawing.add(self.parts.Line().at(start).to(end).color(colour).linewidth(width))

    def power(self, *points: tuple[float, float]) -> None:
        """A wire that carries motor current."""
        self.line(*points, colour=POWER, width=2.4)

    def between(self, part: Any, one: tuple[float, float], two: tuple[float, float]) -> None:
        """A part of the signal side from one point to another."""
        self.drawing.add(part.at(one).to(two).color(INK))

    def text(self, x: float, y: float, words: str, **style: Any) -> None:
        """Words; `halign` left, center or right of x, their middle at y."""
        where = {"halign": style.pop("halign", "left"), "valign": "center"}
        label = (
            self.parts.Label().at((x, y - SINK)).theta(0).label(words, "center", **where, **style)
        )
        self.drawing.add(label)

    def box(self, left: float, top: float, right: float, bottom: float, **style: Any) -> None:
        """A rectangle."""
        box = self.parts.Rect(corner1=(0, 0), corner2=(right - left, bottom - top), **style)
        self.drawing.add(box.at((left, top)).theta(0))

    def dot(self, x: float, y: float, colour: str = LINE, hollow: bool = False) -> None:
        """A joint of wires, or a terminal."""
        self.drawing.add(self.parts.Dot(open=hollow).at((x, y)).color(colour))

    def down(self, x: float, y: float, part: Any, words: str) -> None:
        """A part from a wire at (x, y) down to a ground of its own."""
        self.dot(x, y)
        self.between(part, (x, y), (x, y - 1.9))
        self.drawing.add(self.parts.Ground().at((x, y - 1.9)).color(INK))
        self.text(x + 0.4, y - 0.95, words, fontsize=10)

    def across(self, x: float, y: float, words: str, left: float, right: float) -> None:
        """A wire from `left` to `right` with a lying resistor around x."""
        self.line((left, y), (x - 1.0, y))
        self.between(self.parts.ResistorIEC(), (x - 1.0, y), (x + 1.0, y))
        self.text(x, y + 0.55, words, halign="center", fontsize=10)
        self.line((x + 1.0, y), (right, y))
