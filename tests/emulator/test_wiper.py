"""The pot's circuit against nodal analysis (Kirchhoff and Ohm, any textbook of circuits), and what
wear does to its reading."""

import itertools
import math
import statistics
from collections.abc import Iterable

import numpy as np
import pytest
from rodbench.emulator import wiper
from rodbench.emulator.plant import TICK_S, Motor, Plant, Rod
from rodbench.emulator.signals import BRAKE, DRIVE, OFF
from rodbench.emulator.wiper import Pot

SUPPLY_V = 5.0
# which of the pot's terminals each lead of the board ends on: supply lead, ground lead, input
LEADS = {
    "right": ("high", "low", "wiper"),
    "wiper-on-supply": ("wiper", "low", "high"),
    "wiper-on-ground": ("high", "wiper", "low"),
}


def solve(pot: Pot, share: float) -> tuple[float, float]:
    """Share of the supply at the input, and mA from the supply: conductances, node by node."""
    supply, ground, reading = LEADS[pot.wired]
    nodes = ["supply", "lead", *(n for n in ("high", "low", "wiper"))]
    at = {name: place for place, name in enumerate(nodes)}
    parts = [
        ("supply", "lead", max(pot.series_ohm, 1e-5)),
        ("lead", supply, 1e-5),
        ("wiper", "low", share * pot.resistance_ohm),
        ("wiper", "high", (1 - share) * pot.resistance_ohm),
        (ground, "ground", 1e-5),
        (reading, "ground", 470_000.0),
    ]
    matrix, right = np.zeros((5, 5)), np.zeros(5)
    for a, b, ohm in parts:
        for one, other in ((a, b), (b, a)):
            if one in at:
                matrix[at[one], at[one]] += 1 / ohm
                if other in at:
                    matrix[at[one], at[other]] -= 1 / ohm
    matrix[at["supply"]] = 0.0
    matrix[at["supply"], at["supply"]], right[at["supply"]] = 1.0, SUPPLY_V
    volts = np.linalg.solve(matrix, right)
    drawn = (volts[at["supply"]] - volts[at["lead"]]) / parts[0][2]
    return float(volts[at[reading]] / SUPPLY_V), float(1000 * drawn)


@pytest.mark.parametrize("wired", list(LEADS))
@pytest.mark.parametrize("series", [0.0, 330.0, 2200.0])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.5, 0.97])
def test_every_wiring_reads_and_draws_as_nodal_analysis_says(
    wired: str, series: float, share: float
) -> None:
    pot = Pot(0.0, 1.0, wired=wired, series_ohm=series, resistance_ohm=5000.0)
    plant = Plant(Rod(stroke_mm=200.0, start_mm=200.0 * share, pot=pot))
    reads, drawn = solve(pot, share)
    assert plant.pot_share == pytest.approx(reads, abs=2e-6)
    rel = 1e-2 if wired == "right" else 1e-4  # the truth leaves the bleed's microamperes out
    assert plant.reference_ma == pytest.approx(drawn, rel=rel)


def test_a_wiper_on_the_supply_lead_draws_volts_over_series_and_what_lies_below() -> None:
    """5 V / (1000 + 0.1 x 10 000 ohm) = 2.5 mA, the bleed aside."""
    pot = Pot(0.0, 1.0, wired="wiper-on-supply", series_ohm=1000.0)
    plant = Plant(Rod(stroke_mm=200.0, start_mm=20.0, pot=pot))
    assert plant.reference_ma == pytest.approx(2.5, rel=0.002)


def test_the_worst_draw_is_kept_as_the_rod_nears_the_short() -> None:
    pot = Pot(0.0, 1.0, wired="wiper-on-supply")
    plant = Plant(Rod(stroke_mm=203.0, start_mm=20.0, pot=pot))
    first = plant.reference_ma
    for _ in range(400):
        plant.step(-6.0, DRIVE)
    near = plant.position_mm
    assert near < 18.0
    worst = 1000 * 5.0 / (10_000.0 * near / 203.0)
    assert plant.reference_ma == pytest.approx(worst, rel=0.005)
    assert plant.reference_ma > first
    for _ in range(400):
        plant.step(6.0, DRIVE)
    assert plant.reference_ma == pytest.approx(worst, rel=0.005)


def test_a_wiper_at_the_very_end_of_the_track_is_a_short_of_an_ohm() -> None:
    for wired, place in (("wiper-on-supply", 0.0), ("wiper-on-ground", 200.0)):
        pot = Pot(0.0, 1.0, wired=wired)
        plant = Plant(Rod(stroke_mm=200.0, start_mm=place, pot=pot))
        assert plant.reference_ma == pytest.approx(5000.0)


def test_a_pot_that_is_not_fitted_reads_nothing_and_draws_nothing() -> None:
    plant = Plant(Rod(pot=Pot(fitted=False, noise_lsb=2.0)))
    for _ in range(100):
        plant.step(6.0, DRIVE)
    assert plant.position_mm > 101.0
    assert plant.pot_share == 0.0
    assert plant.reference_ma == 0.0


def test_a_lost_contact_leaves_the_input_to_bleed_or_track() -> None:
    """The wiper's own lead open: the input hangs on the track's far end alone."""
    supply = Pot(wired="wiper-on-supply")
    assert wiper.swapped(supply, 0.4, contact=False)[0] == 0.0
    ground = Pot(wired="wiper-on-ground", series_ohm=1000.0)
    assert wiper.swapped(ground, 0.4, contact=False)[0] == pytest.approx(470 / 481)


# ---------------------------------------------------------------- wear


def worn(seed: int = 5, share: float = 0.25) -> Plant:
    pot = Pot(worn_from_mm=90.0, worn_to_mm=110.0, worn_share=share, resistance_ohm=0.01)
    return Plant(Rod(start_mm=80.0, pot=pot), seed)


def reads(plant: Plant, ticks: int, volts: float = 6.0) -> Iterable[tuple[float, float]]:
    """Where the rod is, and how far below the line the pot reads: 1 on it, 0 at ground."""
    for _ in range(ticks):
        plant.step(volts, DRIVE)
        yield plant.position_mm, plant.pot_share / (0.1 + 0.8 * plant.position_mm / 203.0)


def test_a_worn_zone_loses_its_share_of_ticks_and_the_rest_none() -> None:
    seen = list(reads(worn(), 2600))
    inside = [sound for place, sound in seen if 90.0 <= place <= 110.0]
    outside = [sound for place, sound in seen if not 90.0 <= place <= 110.0]
    assert len(inside) > 1000
    assert len(outside) > 500
    assert min(outside) == pytest.approx(1.0, abs=1e-4)
    lost = sum(sound < 0.99 for sound in inside) / len(inside)
    assert lost == pytest.approx(0.25, abs=3 * math.sqrt(0.25 * 0.75 / len(inside)))


def test_a_lost_contact_falls_by_the_bleed_and_comes_back_at_once() -> None:
    """470 kohm and 10 nF: exp(-5 ms / 4.7 ms) = 0.345 after a tick, squared after two."""
    sound = [round(s, 3) for _, s in reads(worn(share=0.5), 1500)]
    falls = {round(s, 2) for s in sound if 0.05 < s < 0.99}
    assert falls == {0.34, 0.12}  # 0.345, 0.119 as the rod moves on; a third tick reads 0.041
    after = [b for a, b in itertools.pairwise(sound) if a < 0.1]
    assert 1.0 in after


def test_a_worn_track_flickers_under_a_resting_rod_too() -> None:
    plant = worn()
    plant.place(100.0)
    shares = set()
    for _ in range(200):
        plant.step(0.0, BRAKE)
        shares.add(round(plant.pot_share, 3))
    assert len(shares) > 2


def test_wear_repeats_with_its_seed() -> None:
    assert list(reads(worn(5), 2000)) == list(reads(worn(5), 2000))
    assert list(reads(worn(5), 2000)) != list(reads(worn(6), 2000))


def test_each_stroke_reads_the_same_place_a_little_aside() -> None:
    """Fifty strokes past 100 mm: the readings there scatter by repeat_mm, rms."""
    pot = Pot(repeat_mm=0.5, resistance_ohm=0.01)
    quick = Motor(constant_v_s_per_mm=0.2, response_ms=10.0)
    plant = Plant(Rod(start_mm=90.0, pot=pot, motor=quick), seed=3)
    off: list[float] = []
    for stroke in range(160):
        way = 1.0 if stroke % 2 == 0 else -1.0
        before = plant.position_mm
        while plant.position_mm * way < 100.0 * way + 10.0:
            plant.step(12.0 * way, DRIVE)
            at = (plant.pot_share - 0.1) / 0.8 * 203.0 - plant.position_mm
            if way > 0 and before < 103.0 <= plant.position_mm:
                off.append(at)
            before = plant.position_mm
        for _ in range(60):
            plant.step(0.0, BRAKE)
    assert len(off) == 80
    assert statistics.fmean(off) == pytest.approx(0.0, abs=0.2)
    assert statistics.pstdev(off) == pytest.approx(0.5, rel=0.25)


def test_within_a_stroke_nothing_scatters_further() -> None:
    plant = Plant(Rod(start_mm=20.0, pot=Pot(repeat_mm=0.5, resistance_ohm=0.01)), seed=3)
    off = []
    for _ in range(2000):
        plant.step(8.0, DRIVE)
        off.append((plant.pot_share - 0.1) / 0.8 * 203.0 - plant.position_mm)
    assert plant.position_mm > 60.0
    assert max(off) - min(off) < 1e-6
    plant.step(0.0, OFF)
    assert plant.position_mm - 20.0 > TICK_S
