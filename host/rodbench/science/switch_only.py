"""A rod on a reversing switch, without a board: what goes where, and the steps of a first test.

A double-pole double-throw switch with its contacts crossed changes the leads over (common
practice: reversed leads, reversed rod). In its middle, where it springs back to, it is open.
"""

from __future__ import annotations

# Two commons, and two contacts for each way.
WIRES = (
    ("supply +, through fuse and stop switch", "up 1"),
    ("supply -", "up 2"),
    ("up 1", "down 2"),
    ("up 2", "down 1"),
    ("common 1", "motor, one lead"),
    ("common 2", "motor, other lead"),
)
STEPS = (
    "Switch: double-pole double-throw, (on)-off-(on): it springs back to off. Its contacts are "
    "rated for the supply's volts and the stall current as DC.",
    "Nothing else: pot leads stay open, each by itself, and the board off.",
    "1 Supply off, rod unhooked from the machine and clamped, both ends free.",
    "2 Supply on, its current limit low at first, and under what the wire carries.",
    "3 Up for half a second: it moves one way. Down: the other. Reversed leads, reversed ways.",
    "4 Up or down in short touches to an end. The current falls to nothing there: an end switch, "
    "and the other way works. It rises and the rod stands: no end switch; let go at once.",
    "5 Between the two ways let it come to rest: reversing a running motor draws up to twice "
    "its stall current.",
    "6 Note the running current each way, and at which lead + the rod came out.",
)
