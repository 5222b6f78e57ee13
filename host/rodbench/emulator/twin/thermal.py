"""How warm a motor is, first order, by its current squared: permille with 20 fraction bits."""

from __future__ import annotations

from typing import Any

from rodbench.emulator.twin.div import div_toward_zero

THERMAL_BITS = 20
ROOT = 2024
RATIO_MOST = 46000
HEAT_MOST = 0xE0000000


def thermal_permille(heat: int) -> int:
    """Of where the rated current would end up."""
    return heat >> THERMAL_BITS


def thermal_tick(heat: int, settings: Any, current_ma: int) -> int:
    """One tick; the new heat. Without a rated current it is 0."""
    if not settings.rated_ma:
        return 0
    ratio = min(abs(current_ma) * ROOT // settings.rated_ma, RATIO_MOST)
    step = div_toward_zero(ratio * ratio - (heat >> 8), settings.thermal_time_s)
    if step < 0 or heat < HEAT_MOST:
        heat += step + (step * 9 >> 5)
    return heat


def thermal_rest(heat: int, settings: Any, off_s: int) -> int:
    """The heat after so long without current."""
    time_s: int = settings.thermal_time_s
    for _ in range(8):
        heat = heat // (time_s + off_s // 8) * time_s
    return heat
