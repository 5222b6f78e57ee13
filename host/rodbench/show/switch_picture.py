"""A rod on a reversing switch, as a picture: a first test without a board.

The switch lies in the middle, a pole in each row; its contacts are crossed between the rows.
"""

from __future__ import annotations

from rodbench.show.sheet import INK, POWER, Sheet

ROWS = (2.0, -2.0)  # pole 1, pole 2
CONTACTS = {"up": 11.0, "common": 15.0, "down": 19.0}
MOTOR_X, LEAD_Y = 24.0, 4.6
FOOT = (
    "Switch: double-pole double-throw; it springs back to its middle, which is open.",
    "Wires that cross do not touch. Pot leads stay open, each by itself.",
    "Nothing stops the rod but the hand on the switch. Clamp it, ends free, hands away.",
    "The stop switch cuts motor power. Local codes and those licensed for the work come first.",
)


def picture(fuse: str = "", wire: str = "") -> str:
    """The SVG; `fuse` and `wire` are written beside them where they are known."""
    sheet = Sheet()
    sheet.text(0.0, LEAD_Y + 2.2, "First test: a rod on a reversing switch", fontsize=15)
    _supply(sheet, fuse, wire)
    _switch(sheet)
    _motor(sheet)
    for number, words in enumerate(FOOT):
        sheet.text(0.0, -LEAD_Y - 1.8 - 0.7 * number, words, fontsize=10)
    return sheet.svg()


def _supply(sheet: Sheet, fuse: str, wire: str) -> None:
    """Plus through fuse and stop switch to "up 1", minus to "up 2"."""
    parts, (y, low) = sheet.parts, ROWS
    sheet.text(0.0, y, "supply +", fontsize=12)
    sheet.power((2.4, y), (3.0, y))
    sheet.drawing.add(parts.FuseIEC().at((3.0, y)).to((5.2, y)).color(POWER))
    sheet.text(4.1, y + 0.75, "fuse", halign="center", fontsize=10)
    sheet.text(4.1, y - 0.75, fuse, halign="center", fontsize=10)
    sheet.power((5.2, y), (6.2, y))
    sheet.drawing.add(parts.Switch(nc=True).at((6.2, y)).to((8.4, y)).color(POWER))
    sheet.text(7.3, y + 0.95, "stop switch", halign="center", fontsize=10)
    sheet.power((8.4, y), (CONTACTS["up"], y))
    sheet.text(0.0, low, "supply -", fontsize=12)
    sheet.power((2.4, low), (CONTACTS["up"], low))
    sheet.text(2.4, low + 0.6, wire, fontsize=10)


def _switch(sheet: Sheet) -> None:
    """Both poles with their levers in the middle, and the contacts crossed."""
    up, middle, down = CONTACTS.values()
    sheet.box(up - 1.4, ROWS[0] + 1.5, down + 1.4, ROWS[1] - 1.5, ls="--", lw=1.2, color=INK)
    sheet.text(up - 1.4, ROWS[0] + 2.0, "(on)-off-(on)", fontsize=10)
    for number, (y, other) in enumerate(zip(ROWS, ROWS[::-1], strict=True)):
        inward = 1.0 if y < other else -1.0
        _crossing(sheet, (up, y), (down, other), gap=number * 0.07)
        sheet.power((middle, y), (middle, y + 1.1 * inward))
        for name, x in CONTACTS.items():
            sheet.dot(x, y, POWER, hollow=True)
            beside = (0.3, "left") if name == "common" else (0.0, "center")
            words = f"{name} {number + 1}"
            sheet.text(x + beside[0], y - 0.6 * inward, words, halign=beside[1], fontsize=10)


def _crossing(sheet: Sheet, one: tuple[float, float], two: tuple[float, float], gap: float) -> None:
    """A wire with a gap around its middle, as a share of its length, where another passes."""
    for start, end, way in ((one, two, 0.5 - gap / 2), (two, one, 0.5 - gap / 2)):
        near = tuple(a + way * (b - a) for a, b in zip(start, end, strict=True))
        sheet.power(start, (near[0], near[1]))


def _motor(sheet: Sheet) -> None:
    """Both commons to the motor, in a dashed rod."""
    for y, lead in zip(ROWS, (LEAD_Y, -LEAD_Y), strict=True):
        sheet.power((CONTACTS["common"], y), (CONTACTS["common"], lead), (MOTOR_X, lead))
    ends = ((MOTOR_X, LEAD_Y), (MOTOR_X, -LEAD_Y))
    sheet.between(sheet.parts.Motor(), *ends)
    sheet.text(MOTOR_X - 0.1, 0.0, "M", halign="center", fontsize=12)
    sheet.box(MOTOR_X - 1.6, 2.6, MOTOR_X + 1.6, -2.6, ls="--", lw=1.2, color=INK)
    sheet.text(MOTOR_X + 0.3, 3.1, "rod", fontsize=12)
