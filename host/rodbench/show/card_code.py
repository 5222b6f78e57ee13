"""A card's code as a QR code (ISO/IEC 18004) that survives print, wear and a poor photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rodbench.errors import SettingsError
from rodbench.settings.card import Card, to_text

if TYPE_CHECKING:
    from markupsafe import Markup

SIDE_MM = 60.0  # with its white edge, on an A6 card
QUIET = 4  # modules of white edge, as the standard wants
GOOD_MM = 0.55  # a module that a phone reads at arm's length; not below while a lower level will do
LEAST_MM = 0.4
_LEVELS = ("h", "q", "m")  # a third, a quarter, a seventh of the code may be lost


@dataclass(frozen=True, slots=True)
class Code:
    """A code: its text, module size in mm, level, and keys that had no room on the card."""

    text: str
    qr: Any
    module_mm: float
    level: str
    left_out: tuple[str, ...] = ()

    def svg(self, label: str) -> Markup:
        """For the inside of a page."""
        from rodbench.show.page import inline

        drawn = self.qr.svg_inline(border=QUIET, omitsize=True, light="#ffffff", dark="#000000")
        return inline(drawn, SIDE_MM, label)


def code(card: Card) -> Code:
    """The code of a card at the highest level whose modules are large enough; what is least needed
    is left out of a card that holds too much. Raises SettingsError."""
    left_out: list[str] = []
    while True:
        found = _best(to_text(card))
        if found is not None:
            return Code(*found, tuple(left_out))
        lighter = card.lighter()
        if lighter is None:
            raise SettingsError(
                "the machine's settings and names are too much for a card",
                kept="Nothing was written.",
                hint="Shorter names of machine and rods make room.",
            )
        card, name = lighter
        left_out.append(name)


def _best(text: str) -> tuple[str, Any, float, str] | None:
    """Text, code, module size, level: the highest level with good modules, else the lowest if its
    modules are not too small."""
    last = None
    for level in _LEVELS:
        made = _made(text, level)
        if made is None:
            continue
        size = SIDE_MM / (made.symbol_size(border=0)[0] + 2 * QUIET)
        last = text, made, size, level.upper()
        if size >= GOOD_MM:
            return last
    return last if last is not None and last[2] >= LEAST_MM else None


def _made(text: str, level: str) -> Any:
    """None where no QR code of this level has room."""
    import segno

    try:
        return segno.make_qr(text, error=level, mode="alphanumeric", boost_error=False)
    except segno.DataOverflowError:
        return None
