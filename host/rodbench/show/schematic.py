"""The wiring of one axis as a picture: an SVG with its words as text.

Drawn on a grid of schemdraw's units: the board on the left, bridge and sensor in the middle, the
rod on the right, the motor supply along the top.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from rodbench.science.wiring import PINS, SERIES_OHM, Wired

INK, LINE, POWER, SOFT = "#22303a", "#2b6a86", "#8a3b1e", "#7b8790"
BOARD, BRIDGE, ROD = (0.0, 4.4), (13.4, 18.2), (21.6, 25.6)  # left and right edges
PINS_X, CAP_X, PART_X, MIDDLE = 4.4, 6.2, 10.4, 15.8
TOP, STEP = 0.0, 3.3
SINK = 0.2  # from the middle of a line of words to its base line
FONT = "DejaVu Sans, Arial, sans-serif"
FOOT = (
    "Grounds of board, bridge, sensor and supply meet in one point, at the supply.",
    "The stop switch cuts motor power; pin D8 is no emergency stop. The fuse sits at the supply.",
    "Values are calculated, not measured. Local codes and those licensed for the work come first.",
)


def picture(wired: Wired, rod: str = "") -> str:
    """The SVG of an axis."""
    import schemdraw

    schemdraw.use("svg")
    schemdraw.svgconfig.text = "text"
    drawing = schemdraw.Drawing(show=False, fontsize=11, font=FONT, color=INK, lw=1.4)
    drawing.config(margin=0.6)
    _Picture(drawing, wired, rod).draw()
    text: str = drawing.get_imagedata("svg").decode("utf-8")
    # Not every viewer knows it; SINK does the same for all.
    return text.replace(' dominant-baseline="central"', "")


class _Picture:
    """One drawing; y falls from the supply's line downwards, row by row."""

    def __init__(self, drawing: Any, wired: Wired, rod: str) -> None:
        import schemdraw.elements as elements

        self.drawing, self.wired, self.rod = drawing, wired, rod
        self.parts: Any = elements
        lines = len(wired.driver.lines)
        self.supply_y = TOP - 4.0
        self.drive_y = [self.supply_y - STEP * (n + 1) for n in range(lines)]
        self.low = self.drive_y[-1] - 1.9  # the bridge's lower edge
        self.sense_y = self.low - 2.6
        self.pot_y = [self.sense_y - 3.4 - STEP * n for n in range(3)]
        if wired.sensor == "none":
            self.pot_y = [self.low - 2.6 - STEP * n for n in range(3)]
        self.bottom = self._bottom()

    def _bottom(self) -> float:
        if self.wired.pot:
            return self.pot_y[-1] - 1.2
        return (self.low if self.wired.sensor == "none" else self.sense_y) - 3.6

    def draw(self) -> None:
        self._board()
        self._rail()
        self._supply()
        self._bridge()
        self._motor()
        if self.wired.sensor != "none":
            self._sensor()
        if self.wired.pot:
            self._pot()
        self._rod_box()
        self._words()

    # ------------------------------------------------------------ small parts

    def _line(self, *points: tuple[float, float], colour: str = LINE, width: float = 1.6) -> None:
        for start, end in pairwise(points):
            self.drawing.add(self.parts.Line().at(start).to(end).color(colour).linewidth(width))

    def _text(self, x: float, y: float, words: str, **style: Any) -> None:
        """Words; `halign` left, center or right of x, their middle at y."""
        where = {"halign": style.pop("halign", "left"), "valign": "center"}
        label = (
            self.parts.Label().at((x, y - SINK)).theta(0).label(words, "center", **where, **style)
        )
        self.drawing.add(label)

    def _box(self, left: float, top: float, right: float, bottom: float, **style: Any) -> None:
        box = self.parts.Rect(corner1=(0, 0), corner2=(right - left, bottom - top), **style)
        self.drawing.add(box.at((left, top)).theta(0))

    def _dot(self, x: float, y: float, colour: str = LINE) -> None:
        self.drawing.add(self.parts.Dot().at((x, y)).color(colour))

    def _down(self, x: float, y: float, part: Any, words: str) -> None:
        """A part from a wire at (x, y) down to a ground of its own."""
        self._dot(x, y)
        self.drawing.add(part.at((x, y)).to((x, y - 1.9)).color(INK))
        self.drawing.add(self.parts.Ground().at((x, y - 1.9)).color(INK))
        self._text(x + 0.4, y - 0.95, words, fontsize=10)

    def _across(self, x: float, y: float, words: str, left: float, right: float) -> None:
        """A wire from `left` to `right` with a lying resistor around x."""
        self._line((left, y), (x - 1.0, y))
        self.drawing.add(self.parts.ResistorIEC().at((x - 1.0, y)).to((x + 1.0, y)).color(INK))
        self._text(x, y + 0.55, words, halign="center", fontsize=10)
        self._line((x + 1.0, y), (right, y))

    def _pin(self, y: float, name: str, use: str) -> None:
        """A pin at the board's right edge, and what it is for."""
        self._text(PINS_X - 0.25, y, name, halign="right", fontsize=13)
        self._text(0.25, y, use, fontsize=9, color=SOFT)

    # ------------------------------------------------------------ blocks

    def _board(self) -> None:
        self._box(BOARD[0], TOP - 2.4, BOARD[1], self.bottom, fill="#f3f6f7", lw=1.8)
        self._text(2.2, TOP - 2.0, "board", halign="center", fontsize=13)

    def _rail(self) -> None:
        """Motor supply: fuse at its end, then the stop switch, then the bridge."""
        parts, y = self.parts, TOP
        self._text(0.0, y, "motor supply +", fontsize=12)
        self._line((3.4, y), (4.4, y), colour=POWER, width=2.4)
        self.drawing.add(parts.FuseIEC().at((4.4, y)).to((6.6, y)).color(POWER))
        self._text(5.5, y + 0.75, "fuse", halign="center", fontsize=10)
        self._line((6.6, y), (10.8, y), colour=POWER, width=2.4)
        self.drawing.add(parts.Switch(nc=True).at((10.8, y)).to((13.0, y)).color(POWER))
        self._text(11.9, y + 0.95, "stop switch: cuts motor power", halign="center", fontsize=10)
        self._line((13.0, y), (MIDDLE, y), (MIDDLE, self.drive_y[0] + 1.6), colour=POWER, width=2.4)

    def _supply(self) -> None:
        """The divider between fuse and stop switch, read by the board."""
        y, x = self.supply_y, 8.6
        self._pin(y, PINS["SUPPLY"], "motor supply")
        self._dot(x, TOP, POWER)
        self.drawing.add(self.parts.ResistorIEC().at((x, TOP)).to((x, y)).color(INK))
        self._text(x + 0.5, (TOP + y) / 2, "47 k", fontsize=10)
        self._line((PINS_X, y), (x, y))
        self._down(CAP_X, y, self.parts.Capacitor(), "100 n")
        self._down(x, y, self.parts.ResistorIEC(), "10 k")

    def _bridge(self) -> None:
        top = self.drive_y[0] + 1.6
        self._box(BRIDGE[0], top, BRIDGE[1], self.low, fill="#f3f6f7", lw=1.8)
        name = f"H-bridge {self.wired.axis}"
        self._text(MIDDLE, top - 0.5, name, halign="center", fontsize=13)
        for number, (pin, use) in enumerate(self.wired.driver.lines):
            y = self.drive_y[number]
            self._pin(y, pin, "drive")
            self._line((PINS_X, y), (BRIDGE[0], y))
            self._text(BRIDGE[0] + 0.25, y, use, fontsize=11)
            self._down(CAP_X + 1.9 * number, y, self.parts.ResistorIEC(), "10 k")
        if self.wired.sensor != "one-sided":
            self._ground_lead(self.low)

    def _ground_lead(self, y: float) -> None:
        """The return to the supply's minus."""
        self._line((MIDDLE, y), (MIDDLE, y - 0.7), colour=POWER, width=2.4)
        self.drawing.add(self.parts.Ground().at((MIDDLE, y - 0.7)).color(POWER))
        self._text(MIDDLE + 0.7, y - 0.9, "motor supply -", fontsize=10)

    def _motor(self) -> None:
        first, last = self.drive_y[0] + 0.2, self.low + 0.6
        x, right = 23.0, BRIDGE[1]
        self.drawing.add(self.parts.Motor().at((x, first)).to((x, last)).color(INK))
        self._text(x - 0.1, (first + last) / 2, "M", halign="center", fontsize=12)
        self._line((right, first), (x, first), colour=POWER, width=2.4)
        self._text(19.9, first + 0.4, "motor lead", halign="center", fontsize=10)
        if self.wired.sensor == "centred":
            y, in_x = self.sense_y, 19.6
            self._line((right, last), (in_x, last), (in_x, y + 0.5), colour=POWER, width=2.4)
            self._line((in_x, y + 0.5), (right, y + 0.5), colour=POWER, width=2.4)
            self._line((right, y - 0.5), (x, y - 0.5), (x, last), colour=POWER, width=2.4)
        else:
            self._line((right, last), (x, last), colour=POWER, width=2.4)
        self._text(19.9, last + 0.4, "motor lead", halign="center", fontsize=10)

    def _sensor(self) -> None:
        y, axis = self.sense_y, self.wired.axis
        self._pin(y, PINS[f"CURRENT{axis}"], "current")
        self._across(PART_X, y, "1 k", PINS_X, BRIDGE[0])
        self._down(CAP_X, y, self.parts.Capacitor(), "100 n")
        self._box(BRIDGE[0], y + 1.0, BRIDGE[1], y - 1.0, fill="#f3f6f7", lw=1.8)
        self._text(MIDDLE, y + 0.3, f"current sensor {axis}", halign="center", fontsize=12)
        self._text(MIDDLE, y - 0.4, self.wired.sensor, halign="center", fontsize=10, color=SOFT)
        if self.wired.sensor == "one-sided":
            self._line((MIDDLE, self.low), (MIDDLE, y + 1.0), colour=POWER, width=2.4)
            self._ground_lead(y - 1.0)

    def _pot(self) -> None:
        feed, wiper, ground = self.pot_y
        x, axis = 23.0, self.wired.axis
        self._pin(feed, "5V", "pot feed")
        self._pin(wiper, PINS[f"POT{axis}"], "pot")
        self._pin(ground, "GND", "pot ground")
        self._across(PART_X, feed, f"{SERIES_OHM:.0f}", PINS_X, x)
        self._across(PART_X, wiper, "1 k", PINS_X, x - 0.55)
        self._line((PINS_X, ground), (x, ground))
        self._down(CAP_X, wiper, self.parts.Capacitor(), "10 n")
        self._down(13.6, wiper, self.parts.ResistorIEC(), "470 k")
        self.drawing.add(self.parts.ResistorIEC().at((x, feed)).to((x, ground)).color(INK))
        self.drawing.add(self.parts.Arrow().at((x - 1.2, wiper)).to((x - 0.3, wiper)).color(LINE))
        for y, words in ((feed, "one end"), (wiper, "wiper"), (ground, "other end")):
            self._text(19.4, y + 0.4, words, halign="center", fontsize=10)
        self._text(x + 0.6, wiper, f"pot {axis}", fontsize=11)

    def _rod_box(self) -> None:
        low = self.bottom + 0.4 if self.wired.pot else self.low - 0.4
        self._box(ROD[0], self.drive_y[0] + 1.6, ROD[1], low, ls="--", lw=1.2)
        name = f"rod {self.rod}" if self.rod else f"rod of axis {self.wired.axis}"
        self._text(sum(ROD) / 2, self.drive_y[0] + 2.1, name, halign="center", fontsize=12)

    def _words(self) -> None:
        title = f"Axis {self.wired.axis}: {self.wired.driver.kind}"
        self._text(0.0, TOP + 2.2, title, fontsize=15)
        for number, words in enumerate(FOOT):
            self._text(0.0, self.bottom - 1.2 - 0.7 * number, words, fontsize=10)
