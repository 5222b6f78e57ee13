"""Sizing many candidates over a 200-point travel: numpy, beside plain Python, in one run.

    python -m tests.benchmarks.sizing

The plain way does for one candidate after another what a person would program first: speed and
current at each place, sums for time and energy, the worst force and the thinnest bearing. Both must
give the same times, energies and margins.
"""

from __future__ import annotations

import math
import random

import numpy as np
from rodbench.science.candidate import Assumed, Sheet
from rodbench.science.hinge import Flap, turned
from rodbench.science.loads import Carried, Travel
from rodbench.science.sizing import Demand, size

from tests.benchmarks.clocked import cpu_s

CANDIDATES = 1000
DUTY = Demand(40.0, 40.0, 4.0, 12.0, source_ohm=0.07)
ASSUMED = Assumed()


def travel() -> Travel:
    carried = Carried(mass_kg=22.0, area_m2=1.0, wind_pa=60.0, snow_pa=150.0, rods=2, uneven=1.2)
    return turned(carried, Flap(420.0, 390.0, 250.0, 250.0, 25.0, 26.0, 19.9, 4.0))


def sheets() -> list[Sheet]:
    """Invented rods, the same in every run."""
    rng = random.Random(11)
    made = []
    for number in range(CANDIDATES):
        gear = rng.uniform(0.5, 8.0)
        made.append(
            Sheet(f"r{number}", 200.0, 150.0 * gear, 12.0, 300.0, 400.0 * gear, 33.0 / gear,
                  24.0 / gear, 0.7, 2.9, 0.25, 1200.0, rng.uniform(5.0, 12.0))
        )  # fmt: skip
    return made


def by_numpy(way: Travel, all_sheets: list[Sheet]) -> list[tuple[float, float, float]]:
    found = size(way, DUTY, all_sheets, ASSUMED)
    buckling = next(check.margin for check in found.checks if check.name == "buckling")
    return list(zip(found.extend_s.tolist(), found.energy_wh.tolist(), buckling.tolist(),
                    strict=True))  # fmt: skip


def by_plain_python(way: Travel, all_sheets: list[Sheet]) -> list[tuple[float, float, float]]:
    pins = way.pins_mm
    assert pins is not None
    columns = [column.tolist() for column in (way.extend_n, way.retract_n, way.pressed_n, pins)]
    return [_one(sheet, way.way_mm, *columns) for sheet in all_sheets]


def _one(
    s: Sheet, way: float, extend: list[float], retract: list[float], pressed: list[float],
    pins: list[float],
) -> tuple[float, float, float]:  # fmt: skip
    assert s.speed_free_mm_s is not None
    assert s.speed_rated_mm_s is not None
    assert s.amps_free is not None
    assert s.amps_rated is not None
    assert s.rod_mm is not None
    v0, v1, i0, i1 = s.speed_free_mm_s, s.speed_rated_mm_s, s.amps_free, s.amps_rated
    ohms = s.volts * (v0 - v1) / (i1 * v0 - i0 * v1)
    constant = (s.volts - i0 * ohms) / v0
    step, steady, energy = way / (len(extend) - 1), [0.0, 0.0], 0.0
    for index, loads in enumerate((extend, retract)):
        for at, load in enumerate(loads):
            share = max(load, 0.0) / s.force_n
            amps = i0 + (i1 - i0) * share
            speed = (DUTY.volts - amps * (ohms + DUTY.source_ohm)) / constant
            weight = step / 2.0 if at in (0, len(loads) - 1) else step
            steady[index] += weight / speed
            energy += DUTY.volts * amps * weight / speed / 3600.0
    area, inertia = math.pi * s.rod_mm**2 / 4.0, math.pi * s.rod_mm**4 / 64.0
    least = min(
        min(math.pi**2 * 200e3 * inertia / length**2, area * 235.0 / 2.0) / force
        for force, length in zip(pressed, pins, strict=True)
        if force > 0.0
    )
    mean = way / steady[0]
    return steady[0] + mean / 20.0, energy, least


def main() -> None:
    way, all_sheets = travel(), sheets()
    np.testing.assert_allclose(
        by_numpy(way, all_sheets), by_plain_python(way, all_sheets), rtol=1e-9
    )
    plain = cpu_s(lambda: by_plain_python(way, all_sheets))
    fast = cpu_s(lambda: by_numpy(way, all_sheets))
    print(f"{CANDIDATES} candidates over {way.place_mm.size} places, CPU, best of three; aim: 1 s")
    print(f"  {'plain Python':14s} {1000 * plain:8.1f} ms")
    print(f"  {'numpy':14s} {1000 * fast:8.1f} ms   {plain / fast:.0f} times as fast")


if __name__ == "__main__":
    main()
