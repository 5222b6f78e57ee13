"""What the pot's three leads do to the board's input and to its supply, by Ohm's law.

The track has R from its supply end to its ground end, the wiper at the share s of R above the
ground end; RS lies between the board's supply and the lead that carries it, the bleed RB between
the input and ground. All as shares of the board's supply V (references: divider and Thevenin, any
textbook of circuits):

right             s R / (R + RS), loaded by RB through the parallel of its two sides
wiper-on-supply   the supply's lead on the wiper, the supply end on the input. The lead feeds s R
                  to ground beside (1 - s) R + RB, and the input has RB / ((1 - s) R + RB) of the
                  wiper's volts. Drawn: about V / (RS + R s), a dead short at the ground end
wiper-on-ground   ground on the wiper, the ground end on the input, which reads 0 everywhere.
                  Drawn: V / (RS + R (1 - s)), a dead short at the supply end
"""

from __future__ import annotations

from dataclasses import dataclass

BLEED_OHM = 470_000.0
CONTACT_OHM = 1.0  # wiper contact and leads: the least a short has (common practice, no source)
WIRED = ("right", "wiper-on-supply", "wiper-on-ground")


@dataclass(slots=True)
class Pot:
    """Where the wiper stands on the track at the two ends of travel, and what spoils the reading.

    `retracted` and `extended` are shares of the track above its ground end: shares of the reference
    where nothing lies in series. `bow` is the greatest deviation from the line, at mid stroke, as a
    share of the span; noise in ADC steps rms for each conversion, `noise_correlated` being the
    share of its power that is common to a tick and forgotten with `noise_time_ms`. Between
    `worn_from_mm` and `worn_to_mm` the wiper has no contact in `worn_share` of the ticks;
    `repeat_mm` is the rms scatter of the place that is read, new with each stroke.
    """

    retracted: float = 0.1
    extended: float = 0.9
    fitted: bool = True
    wired: str = "right"
    resistance_ohm: float = 10_000.0
    series_ohm: float = 0.0
    bow: float = 0.0
    worn_from_mm: float = 0.0
    worn_to_mm: float = 0.0
    worn_share: float = 0.3
    repeat_mm: float = 0.0
    noise_lsb: float = 0.35
    noise_correlated: float = 0.0
    noise_time_ms: float = 50.0

    @property
    def worn(self) -> bool:
        """Whether some of the track has lost contact."""
        return self.worn_to_mm > self.worn_from_mm and self.worn_share > 0.0


def swapped(pot: Pot, share: float, contact: bool = True) -> tuple[float, float]:
    """Share of the board's supply at the input of a pot with the wiper on a wrong lead, and the
    resistance in ohm that loads that supply; `share` of the track lies below the wiper."""
    below, above = share * pot.resistance_ohm, (1.0 - share) * pot.resistance_ohm
    if pot.wired == "wiper-on-ground":
        if contact:
            return 0.0, pot.series_ohm + max(above, CONTACT_OHM)
        whole = pot.series_ohm + pot.resistance_ohm + BLEED_OHM
        return BLEED_OHM / whole, whole
    if not contact:
        return 0.0, float("inf")
    beside = above + BLEED_OHM
    fed = max(below * beside / (below + beside), CONTACT_OHM)
    return fed / (pot.series_ohm + fed) * BLEED_OHM / beside, pot.series_ohm + fed


def drawn_ma(pot: Pot, reference_v: float) -> float:
    """What a pot that is wired right draws from the board's supply, in mA."""
    if not pot.fitted:
        return 0.0
    return 1000.0 * reference_v / (pot.resistance_ohm + pot.series_ohm)
