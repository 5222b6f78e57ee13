"""A pot as a source for the board's converter: its resistance, and what a bleed resistor bends.

Thevenin's theorem and Ohm's law, any text on circuits. `place` is 0 at the grounded end and 1 at
the fed one; `feed_ohm` is the resistor in the 5 V lead, outside the track.
"""

from __future__ import annotations

import numpy as np

ADVICE_OHM = 10_000.0  # ATmega328P data sheet, chapter ADC, "Analog Input Circuitry"
WIPER_OHM = 1_000.0  # between wiper and pin
BLEED_OHM = 470_000.0  # from the wiper to ground
_PLACES = 100_001


def source_ohm(pot_ohm: float, place: float = 0.5, feed_ohm: float = 0.0) -> float:
    """Resistance that the wiper shows: the two parts of the track, side by side."""
    upper, lower = feed_ohm + (1.0 - place) * pot_ohm, place * pot_ohm
    return upper * lower / (pot_ohm + feed_ohm)


def at_pin_ohm(pot_ohm: float, feed_ohm: float = 0.0) -> float:
    """What the converter sees at mid travel: R/4 (a little more with a resistor in the feed) and
    the resistor at the pin; the bleed resistor would lower it, and is left out."""
    return source_ohm(pot_ohm, 0.5, feed_ohm) + WIPER_OHM


def greatest_pot_ohm() -> float:
    """The pot with which R/4 and the resistor at the pin come to the advice."""
    return 4.0 * (ADVICE_OHM - WIPER_OHM)


def loaded(place: float, pot_ohm: float, load_ohm: float) -> float:
    """Share of the track's voltage that a wiper gives into a load: x / (1 + x (1 - x) R / RL)."""
    return place / (1.0 + place * (1.0 - place) * pot_ohm / load_ohm)


def worst_loading(pot_ohm: float, load_ohm: float = BLEED_OHM) -> tuple[float, float]:
    """Where a load bends the reading most, as a place from 0 to 1, and by what share of the span
    (negative: it reads low). For a light load near 2/3 and -4/27 R/RL."""
    places = np.linspace(0.0, 1.0, _PLACES)
    bent = places / (1.0 + places * (1.0 - places) * pot_ohm / load_ohm) - places
    worst = int(np.argmin(bent))
    return float(places[worst]), float(bent[worst])
