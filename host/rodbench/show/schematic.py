"""The wiring of one axis as a picture: an SVG with its words as text.

Drawn on a grid of schemdraw's units: the board on the left, bridge and sensor in the middle, the
rod on the right, the motor supply along the top.
"""

from __future__ import annotations

from dataclasses import dataclass

from rodbench.science.wiring import PINS, SERIES_OHM, Wired
from rodbench.show.sheet import INK, LINE, POWER, SOFT, Sheet

BOARD, BRIDGE, ROD = (0.0, 4.4), (13.4, 18.2), (21.6, 26.4)  # left and right edges
PINS_X, CAP_X, PART_X, MIDDLE = 4.4, 6.2, 10.4, 15.8
TOP, STEP = 0.0, 3.3
FOOT = (
    "Grounds of board, bridge, sensor and supply meet in one point, at the supply.",
    "The stop switch cuts motor power; pin D8 is no emergency stop. The fuse sits at the supply.",
    "Values are calculated, not measured. Local codes and those licensed for the work come first.",
)


@dataclass(frozen=True, slots=True)
class Figures:
    """What stands beside the parts of the motor's way; empty where it is not known."""

    fuse: str = ""
    wire: str = ""
    bulk: str = ""
    motor: str = ""


def picture(wired: Wired, rod: str = "", figures: Figures | None = None) -> str:
    """The SVG of an axis."""
    sheet = Sheet()
    _Picture(sheet, wired, rod, figures or Figures()).draw()
    return sheet.svg()


class _Picture:
    """One drawing; y falls from the supply's line downwards, row by row."""

    def __init__(self, sheet: Sheet, wired: Wired, rod: str, figures: Figures) -> None:
        self.sheet, self.parts = sheet, sheet.parts
        self.wired, self.rod, self.figures = wired, rod, figures
        lines = len(wired.driver.lines)
        self.supply_y = TOP - 4.0
        self.drive_y = [self.supply_y - STEP * (n + 1) for n in range(lines)]
        self.low = self.drive_y[-1] - 1.9  # the bridge's lower edge
        self.sense_y = self.low - 2.6
        self.pot_y = [self.sense_y - 3.4 - STEP * n for n in range(3)]
        if wired.sensor == "none":
            self.pot_y = [self.low - 2.6 - STEP * n for n in range(3)]
        self.last_y = self._last()
        self.bottom = self.last_y - (3.6 if wired.stop_input else 0.0)

    def _last(self) -> float:
        """Where the last row but that of the stop input ends."""
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
        if self.wired.stop_input:
            self._stop_input()
        self._rod_box()
        self._words()

    def _pin(self, y: float, name: str, use: str) -> None:
        """A pin at the board's right edge, and what it is for."""
        self.sheet.text(PINS_X - 0.25, y, name, halign="right", fontsize=13)
        self.sheet.text(0.25, y, use, fontsize=9, color=SOFT)

    # ------------------------------------------------------------ blocks

    def _board(self) -> None:
        self.sheet.box(BOARD[0], TOP - 2.4, BOARD[1], self.bottom, fill="#f3f6f7", lw=1.8)
        self.sheet.text(2.2, TOP - 2.0, "board", halign="center", fontsize=13)

    def _rail(self) -> None:
        """Motor supply: fuse at its end, then the stop switch, then the bridge."""
        parts, y = self.sheet.parts, TOP
        self.sheet.text(0.0, y, "motor supply +", fontsize=12)
        self.sheet.power((3.4, y), (4.4, y))
        self.sheet.drawing.add(parts.FuseIEC().at((4.4, y)).to((6.6, y)).color(POWER))
        self.sheet.text(5.5, y + 0.75, "fuse", halign="center", fontsize=10)
        self.sheet.power((6.6, y), (10.8, y))
        self.sheet.drawing.add(parts.Switch(nc=True).at((10.8, y)).to((13.0, y)).color(POWER))
        words = "stop switch: cuts motor power"
        self.sheet.text(11.9, y + 0.95, words, halign="center", fontsize=10)
        self.sheet.power((13.0, y), (MIDDLE, y), (MIDDLE, self.drive_y[0] + 1.6))

        self.sheet.text(5.5, y - 0.75, self.figures.fuse, halign="center", fontsize=10)
        self.sheet.text(MIDDLE + 0.5, y - 0.5, self.figures.wire, fontsize=10)
        if self.figures.bulk:
            self._bulk(y - 1.5)

    def _bulk(self, y: float) -> None:
        """The capacitor beside the bridge, from its supply to its ground."""
        x = MIDDLE + 1.6
        self.sheet.power((MIDDLE, y), (x, y))
        self.sheet.dot(MIDDLE, y, POWER)
        self.sheet.between(self.parts.Capacitor(polar=True), (x, y), (x, y - 1.9))
        self.sheet.drawing.add(self.parts.Ground().at((x, y - 1.9)).color(POWER))
        self.sheet.text(x + 0.6, y - 0.95, self.figures.bulk, fontsize=10)

    def _stop_input(self) -> None:
        """The second contact of the stop switch, for the board to read."""
        y, left = self.last_y - 1.2, 8.2
        self._pin(y, PINS["STOP_INPUT"], "stop input")
        self.sheet.line((PINS_X, y), (left, y))
        self.sheet.between(self.parts.Switch(nc=True), (left, y), (left + 2.2, y))
        self.sheet.line((left + 2.2, y), (left + 3.2, y), (left + 3.2, y - 0.6))
        self.sheet.drawing.add(self.parts.Ground().at((left + 3.2, y - 0.6)).color(INK))
        words = "second contact of the stop switch"
        self.sheet.text(left + 4.2, y, words, fontsize=10)

    def _supply(self) -> None:
        """The divider between fuse and stop switch, read by the board."""
        y, x = self.supply_y, 8.6
        self._pin(y, PINS["SUPPLY"], "motor supply")
        self.sheet.dot(x, TOP, POWER)
        self.sheet.between(self.parts.ResistorIEC(), (x, TOP), (x, y))
        self.sheet.text(x + 0.5, (TOP + y) / 2, "47 k", fontsize=10)
        self.sheet.line((PINS_X, y), (x, y))
        self.sheet.down(CAP_X, y, self.parts.Capacitor(), "100 n")
        self.sheet.down(x, y, self.parts.ResistorIEC(), "10 k")

    def _bridge(self) -> None:
        top = self.drive_y[0] + 1.6
        self.sheet.box(BRIDGE[0], top, BRIDGE[1], self.low, fill="#f3f6f7", lw=1.8)
        name = f"H-bridge {self.wired.axis}"
        self.sheet.text(MIDDLE, top - 0.6, name, halign="center", fontsize=13)
        for number, (pin, use) in enumerate(self.wired.driver.lines):
            y = self.drive_y[number]
            self._pin(y, pin, "drive")
            self.sheet.line((PINS_X, y), (BRIDGE[0], y))
            self.sheet.text(BRIDGE[0] + 0.25, y, use, fontsize=11)
            self.sheet.down(CAP_X + 1.9 * number, y, self.parts.ResistorIEC(), "10 k")
        if self.wired.sensor != "one-sided":
            self._ground_lead(self.low)

    def _ground_lead(self, y: float) -> None:
        """The return to the supply's minus."""
        self.sheet.power((MIDDLE, y), (MIDDLE, y - 0.7))
        self.sheet.drawing.add(self.parts.Ground().at((MIDDLE, y - 0.7)).color(POWER))
        self.sheet.text(MIDDLE + 0.7, y - 0.9, "motor supply -", fontsize=10)

    def _motor(self) -> None:
        first, last = self.drive_y[0] + 0.2, self.low + 0.6
        x, right = 23.0, BRIDGE[1]
        self.sheet.between(self.parts.Motor(), (x, first), (x, last))
        self.sheet.text(x - 0.1, (first + last) / 2, "M", halign="center", fontsize=12)
        middle = (first + last) / 2
        self.sheet.text(19.9, middle, "twist both", halign="center", fontsize=10, color=SOFT)
        if self.figures.motor:
            self._at_motor(x, first, last)
        self.sheet.power((right, first), (x, first))
        self.sheet.text(19.9, first + 0.4, "motor lead", halign="center", fontsize=10)
        if self.wired.sensor == "centred":
            y, in_x = self.sense_y, 19.6
            self.sheet.power((right, last), (in_x, last), (in_x, y + 0.5))
            self.sheet.power((in_x, y + 0.5), (right, y + 0.5))
            self.sheet.power((right, y - 0.5), (x, y - 0.5), (x, last))
        else:
            self.sheet.power((right, last), (x, last))
        self.sheet.text(19.9, last + 0.4, "motor lead", halign="center", fontsize=10)

    def _at_motor(self, x: float, first: float, last: float) -> None:
        """The capacitor across the motor's leads."""
        beside = x + 1.6
        self.sheet.line((x, first), (beside, first))
        self.sheet.between(self.parts.Capacitor(), (beside, first), (beside, last))
        self.sheet.line((beside, last), (x, last))
        for y in (first, last):
            self.sheet.dot(x, y, POWER)
        self.sheet.text(beside + 0.25, last + 0.5, self.figures.motor, fontsize=10)

    def _sensor(self) -> None:
        y, axis = self.sense_y, self.wired.axis
        self._pin(y, PINS[f"CURRENT{axis}"], "current")
        self.sheet.across(PART_X, y, "1 k", PINS_X, BRIDGE[0])
        self.sheet.down(CAP_X, y, self.parts.Capacitor(), "100 n")
        self.sheet.box(BRIDGE[0], y + 1.0, BRIDGE[1], y - 1.0, fill="#f3f6f7", lw=1.8)
        self.sheet.text(MIDDLE, y + 0.3, f"current sensor {axis}", halign="center", fontsize=12)
        kind = self.wired.sensor
        self.sheet.text(MIDDLE, y - 0.4, kind, halign="center", fontsize=10, color=SOFT)
        if self.wired.sensor == "one-sided":
            self.sheet.power((MIDDLE, self.low), (MIDDLE, y + 1.0))
            self._ground_lead(y - 1.0)

    def _pot(self) -> None:
        feed, wiper, ground = self.pot_y
        x, axis = 23.0, self.wired.axis
        self._pin(feed, "5V", "pot feed")
        self._pin(wiper, PINS[f"POT{axis}"], "pot")
        self._pin(ground, "GND", "pot ground")
        self.sheet.across(PART_X, feed, f"{SERIES_OHM:.0f}", PINS_X, x)
        self.sheet.across(PART_X, wiper, "1 k", PINS_X, x - 0.55)
        self.sheet.line((PINS_X, ground), (x, ground))
        self.sheet.down(CAP_X, wiper, self.parts.Capacitor(), "10 n")
        self.sheet.down(13.6, wiper, self.parts.ResistorIEC(), "470 k")
        self.sheet.between(self.parts.ResistorIEC(), (x, feed), (x, ground))
        arrow = self.parts.Arrow().at((x - 1.2, wiper)).to((x - 0.3, wiper))
        self.sheet.drawing.add(arrow.color(LINE))
        for y, words in ((feed, "one end"), (wiper, "wiper"), (ground, "other end")):
            self.sheet.text(19.4, y + 0.4, words, halign="center", fontsize=10)
        self.sheet.text(x + 0.6, wiper, f"pot {axis}", fontsize=11)

    def _rod_box(self) -> None:
        low = self.last_y + 0.4 if self.wired.pot else self.low - 0.4
        self.sheet.box(ROD[0], self.drive_y[0] + 1.6, ROD[1], low, ls="--", lw=1.2)
        name = f"rod {self.rod}" if self.rod else f"rod of axis {self.wired.axis}"
        self.sheet.text(sum(ROD) / 2, self.drive_y[0] + 2.1, name, halign="center", fontsize=12)

    def _words(self) -> None:
        title = f"Axis {self.wired.axis}: {self.wired.driver.kind}"
        self.sheet.text(0.0, TOP + 2.2, title, fontsize=15)
        for number, words in enumerate(FOOT):
            self.sheet.text(0.0, self.bottom - 1.2 - 0.7 * number, words, fontsize=10)
