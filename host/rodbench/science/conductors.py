"""Copper wire: sizes, resistance, voltage drop, and the current that a wire carries.

Sources. AWG diameters: the formula of ASTM B258, solid wire. Copper: IEC 60028 (annealed, 1/58
ohm mm2/m at 20 deg C, 0.00393 per K). Sizes in mm2: IEC 60228, table for class 5 (flexible), the
greatest resistance at 20 deg C. What a wire carries is from memory: cords by area as IEC 60335-1
has them, AWG by NFPA 70, 240.4(D), and never more than a cord of no greater area. So is what
stranded AWG has over solid, 2 to 3 % in NFPA 70, chapter 9, table 8.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

COPPER_OHM_MM2_PER_M = 1.0 / 58.0  # at 20 deg C
COPPER_PER_K = 0.00393
COLD_C, HOT_C = 20.0, 70.0  # hot: the most that common PVC insulation bears (common practice)
STRANDED = 1.03
RATED_AMBIENT_C = 30.0  # what the currents below are for
# mm2 (nominal) -> ohm/km at 20 deg C, and A.
CLASS_5_OHM_PER_KM = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.30,
    10.0: 1.91,
}
MM2_CARRIES_A = {0.5: 3, 0.75: 6, 1.0: 10, 1.5: 16, 2.5: 25, 4.0: 32, 6.0: 40, 10.0: 63}
AWG_CARRIES_A = {20: 3, 18: 7, 16: 10, 14: 15, 12: 20, 10: 30, 8: 40}


@dataclass(frozen=True, slots=True)
class Wire:
    """A size of wire: its name, area in mm2 (nominal where the size is in mm2), ohm per km at
    20 deg C, the current in A that it carries in air of 30 deg C, and how many times that
    resistance it has once it is stranded (class 5 is)."""

    name: str
    area_mm2: float
    ohm_per_km: float
    carries_a: float
    stranded: float = 1.0

    def ohm(self, length_m: float, celsius: float = COLD_C) -> float:
        """Resistance of so many metres of conductor, there and back counted by the caller."""
        return self.ohm_per_km / 1000.0 * length_m * warmed(celsius)

    def carries_at(self, ambient_c: float) -> float:
        """The current in A that it carries in air of another temperature, never more than rated."""
        return self.carries_a * derating(ambient_c)


def warmed(celsius: float) -> float:
    """How many times the resistance at 20 deg C (linear, IEC 60028)."""
    return 1.0 + COPPER_PER_K * (celsius - COLD_C)


def derating(ambient_c: float) -> float:
    """Share of the rated current in warmer air: the heat that a wire gives off grows with what it
    is warmer than the air, and the heat made with the square of the current."""
    room = (HOT_C - ambient_c) / (HOT_C - RATED_AMBIENT_C)
    return min(1.0, math.sqrt(max(0.0, room)))


def awg_diameter_mm(gauge: int) -> float:
    """Diameter of a solid wire, 36 AWG being 0.127 mm and 0000 (here -3) 11.684 mm (ASTM B258)."""
    return float(0.127 * 92.0 ** ((36 - gauge) / 39.0))


def awg_area_mm2(gauge: int) -> float:
    """Area of a solid wire of this gauge."""
    return math.pi / 4.0 * awg_diameter_mm(gauge) ** 2


def awg(gauge: int) -> Wire:
    """A gauge that motor current is led through. Raises KeyError for others."""
    area = awg_area_mm2(gauge)
    by_area = max(carries for mm2, carries in MM2_CARRIES_A.items() if mm2 <= area)
    ohm_per_km = 1000.0 * COPPER_OHM_MM2_PER_M / area
    carries_a = float(min(AWG_CARRIES_A[gauge], by_area))
    return Wire(f"AWG {gauge}", area, ohm_per_km, carries_a, STRANDED)


def mm2(area: float) -> Wire:
    """A size of the mm2 series. Raises KeyError for others."""
    return Wire(f"{area:g} mm2", area, CLASS_5_OHM_PER_KM[area], float(MM2_CARRIES_A[area]))


def all_mm2() -> tuple[Wire, ...]:
    """The mm2 series, thinnest first."""
    return tuple(mm2(area) for area in CLASS_5_OHM_PER_KM)


def all_awg() -> tuple[Wire, ...]:
    """The gauges, thinnest first."""
    return tuple(awg(gauge) for gauge in AWG_CARRIES_A)


def least_area_mm2(loop_m: float, current_a: float, drop_v: float) -> float:
    """Geometric area at 20 deg C at which a loop drops so much (Ohm's law)."""
    return COPPER_OHM_MM2_PER_M * loop_m * current_a / drop_v
