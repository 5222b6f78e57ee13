"""Wires, fuses, pots and capacitors against published tables and worked examples.

Standards were not seen in full text: their figures are from pages that quote them, named beside
each. What is marked own example was reckoned by hand from the named formula.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from rodbench.science import conductors, fuses, pot_source, suppression

# AWG, diameter mm, area mm2, ohm/km at 20 and at 70 deg C: computed beforehand from ASTM B258-02
# (0.005 in times 92 to the power (36 - n) / 39, quoted at liquisearch.com) and IEC 60028 (1/58,
# 0.00393 per K; Industrial Power Engineering Handbook, p. 970). Then ohm/km and chassis-wiring A
# as printed at hyperphysics.phy-astr.gsu.edu/hbase/tables/wirega.html (None: not printed there).
AWG = [
    (10, 2.5882, 5.2612, 3.2771, 3.9211, 3.28, 55.0),
    (11, 2.3048, 4.1723, 4.1324, 4.9444, None, 47.0),
    (12, 2.0525, 3.3088, 5.2108, 6.2347, 5.21, 41.0),
    (13, 1.8278, 2.6240, 6.5707, 7.8619, None, 35.0),
    (14, 1.6277, 2.0809, 8.2855, 9.9136, 8.28, 32.0),
    (15, 1.4495, 1.6502, 10.4478, 12.5008, None, 28.0),
    (16, 1.2908, 1.3087, 13.1745, 15.7633, 13.2, 22.0),
    (17, 1.1495, 1.0378, 16.6127, 19.8771, None, 19.0),
    (18, 1.0237, 0.8230, 20.9482, 25.0646, 20.9, 16.0),
    (19, 0.9116, 0.6527, 26.4152, 31.6058, None, 14.0),
    (20, 0.8118, 0.5176, 33.3090, 39.8542, 33.2, 11.0),
    (21, 0.7229, 0.4105, 42.0019, 50.2552, None, 9.0),
    (22, 0.6438, 0.3255, 52.9634, 63.3707, 52.7, 7.0),
    (23, 0.5733, 0.2582, 66.7856, 79.9090, None, 4.7),
    (24, 0.5106, 0.2047, 84.2151, 100.7633, 84.2, 3.5),
]
CHASSIS_A = {gauge: amps for gauge, *_, amps in AWG}
# IEC 60228, class 5, plain copper, greatest ohm/km at 20 deg C: mycableengineering.com,
# uecables.com and kabelmetal agree.
CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91}
CLASS_1 = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83}
AMPS, LOOP_M, SUPPLY_V = 5.0, 6.0, 12.0  # the drop examples: 5 A, 3 m there and 3 m back, 12 V


# ---------------------------------------------------------------- AWG and copper


@pytest.mark.parametrize(("gauge", "mm", "mm2", "cold", "hot", "printed", "amps"), AWG)
def test_awg_sizes_and_resistances(
    gauge: int, mm: float, mm2: float, cold: float, hot: float, printed: float | None, amps: float
) -> None:
    area = conductors.awg_area_mm2(gauge)
    assert conductors.awg_diameter_mm(gauge) == pytest.approx(mm, abs=6e-5)
    assert area == pytest.approx(mm2, abs=6e-5)
    ohm = 1000.0 * conductors.COPPER_OHM_MM2_PER_M / area
    assert ohm == pytest.approx(cold, abs=6e-5)
    assert ohm * conductors.warmed(70.0) == pytest.approx(hot, abs=1.1e-4)
    if printed is not None:
        assert ohm == pytest.approx(printed, rel=0.006)
    assert amps > 0


def test_the_ends_and_the_step_of_the_gauge() -> None:
    # ASTM B258-02 as quoted at liquisearch.com: 36 AWG 0.0050 in, 0000 0.4600 in, step 1.1229322.
    assert conductors.awg_diameter_mm(36) / 25.4 == pytest.approx(0.0050, rel=1e-12)
    assert conductors.awg_diameter_mm(-3) / 25.4 == pytest.approx(0.4600, rel=1e-12)
    step = conductors.awg_diameter_mm(18) / conductors.awg_diameter_mm(19)
    assert step == pytest.approx(1.1229322, abs=5e-8)


def test_copper() -> None:
    # IEC 60028: 0.017241 ohm mm2/m as printed; the uecables.com table has 0.833 at 70 deg C with
    # 0.004 per K, 1/1.19645 = 0.8358 with 0.00393.
    assert pytest.approx(0.017241, abs=5e-7) == conductors.COPPER_OHM_MM2_PER_M
    assert 1.0 / conductors.warmed(70.0) == pytest.approx(0.8358, abs=5e-5)
    assert 1.0 / conductors.warmed(70.0) == pytest.approx(0.833, rel=0.006)
    assert conductors.warmed(20.0) == 1.0


@pytest.mark.parametrize("wire", conductors.all_awg(), ids=lambda wire: wire.name)
def test_a_gauge_is_what_the_formula_says(wire: conductors.Wire) -> None:
    gauge = int(wire.name.removeprefix("AWG "))
    assert wire.area_mm2 == conductors.awg_area_mm2(gauge)
    assert wire.ohm(1000.0) == pytest.approx(1000.0 / 58.0 / wire.area_mm2)


def test_stranded_gauges() -> None:
    # NFPA 70, chapter 9, table 8, uncoated copper, ohm/kft solid and stranded: from memory.
    for solid, stranded in ((7.77, 7.95), (3.07, 3.14), (1.93, 1.98), (1.21, 1.24)):
        assert conductors.awg(14).stranded >= stranded / solid
    assert {wire.stranded for wire in conductors.all_mm2()} == {1.0}, "class 5 is stranded"


# ---------------------------------------------------------------- mm2


def test_mm2_are_those_of_class_5() -> None:
    assert {wire.area_mm2: wire.ohm_per_km for wire in conductors.all_mm2()} == CLASS_5


@pytest.mark.parametrize("wire", conductors.all_mm2(), ids=lambda wire: wire.name)
def test_a_nominal_area_is_no_geometric_one(wire: conductors.Wire) -> None:
    """1.5 mm2 of class 5 is 13.3 ohm/km where copper of that area would be 11.49."""
    assert wire.ohm_per_km > CLASS_1[wire.area_mm2]
    assert wire.ohm_per_km > 1000.0 / 58.0 / wire.area_mm2


# ---------------------------------------------------------------- drop


def test_drop_of_a_gauge() -> None:
    # Own example, Ohm's law: AWG 18 0.125689 ohm, 0.628447 V, 5.2371 %; at 60 deg C 0.727239 V.
    wire = conductors.awg(18)
    assert wire.ohm(LOOP_M) == pytest.approx(0.125689, abs=6e-7)
    assert AMPS * wire.ohm(LOOP_M) == pytest.approx(0.628447, abs=6e-7)
    assert AMPS * wire.ohm(LOOP_M) / SUPPLY_V == pytest.approx(0.052371, abs=6e-7)
    assert AMPS * wire.ohm(LOOP_M, 60.0) == pytest.approx(0.727239, abs=6e-7)


@pytest.mark.parametrize(
    ("area", "volts", "percent"),
    [(0.75, 0.780, 6.50), (1.0, 0.585, 4.875), (1.5, 0.399, 3.325), (2.5, 0.2394, 1.995)],
)
def test_drop_of_flexible_wire(area: float, volts: float, percent: float) -> None:
    # Own example, Ohm's law with the table of IEC 60228 above.
    drop = AMPS * conductors.mm2(area).ohm(LOOP_M)
    assert drop == pytest.approx(volts, abs=1e-9)
    assert 100.0 * drop / SUPPLY_V == pytest.approx(percent, abs=1e-9)


def test_least_area() -> None:
    # Own example: 3 % of 12 V at 5 A over a loop of 6 m takes 1.436782 mm2 of copper.
    assert conductors.least_area_mm2(LOOP_M, AMPS, 0.36) == pytest.approx(1.436782, abs=6e-7)


# ---------------------------------------------------------------- what a wire carries


# The column ends with AWG 10 here, far below 10 mm2.
@pytest.mark.parametrize(
    "wire", [*conductors.all_awg(), *conductors.all_mm2()[:-1]], ids=lambda wire: wire.name
)
def test_no_wire_carries_what_free_air_wiring_would(wire: conductors.Wire) -> None:
    """The chassis-wiring column (free air) bounds ours, which bundles and boxes have to bear."""
    thinner = [gauge for gauge in CHASSIS_A if conductors.awg_area_mm2(gauge) <= wire.area_mm2]
    assert wire.carries_a <= CHASSIS_A[min(thinner)]


@pytest.mark.parametrize("series", [conductors.all_awg(), conductors.all_mm2()])
def test_thicker_carries_more(series: tuple[conductors.Wire, ...]) -> None:
    for thin, thick in pairwise(series):
        assert thin.area_mm2 < thick.area_mm2
        assert thin.carries_a < thick.carries_a
        assert thin.ohm_per_km > thick.ohm_per_km


def test_a_gauge_carries_no_more_than_a_cord_of_its_area() -> None:
    # Cords by area as IEC 60335-1 sizes them, small conductors by NFPA 70, 240.4(D): from memory.
    cords = {0.5: 3, 0.75: 6, 1.0: 10, 1.5: 16, 2.5: 25, 4.0: 32, 6.0: 40, 10.0: 63}
    small = {18: 7, 16: 10, 14: 15, 12: 20, 10: 30}
    assert {wire.area_mm2: wire.carries_a for wire in conductors.all_mm2()} == cords
    for wire in conductors.all_awg():
        gauge = int(wire.name.removeprefix("AWG "))
        assert wire.carries_a <= max(amps for mm2, amps in cords.items() if mm2 <= wire.area_mm2)
        assert wire.carries_a <= small.get(gauge, 40)


@pytest.mark.parametrize(("ambient", "share"), [(-10, 1), (30, 1), (60, 0.5), (70, 0), (90, 0)])
def test_warmer_air(ambient: float, share: float) -> None:
    # Own example, heat balance I^2 R = k (70 - ambient): a quarter of the room, half the current.
    assert conductors.derating(ambient) == pytest.approx(share)
    assert conductors.mm2(1.5).carries_at(ambient) == pytest.approx(16.0 * share)


# ---------------------------------------------------------------- fuses

# ISO 8820-3, type C, from memory; the colours' ratings (3, 5, 7.5 ... 30) are among them.
SERIES = (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 40)


def test_the_series_and_its_voltages() -> None:
    # ISO 8820-3:2015 scope, abstract at standards.iteh.ai: 32 V or 58 V, up to 100 A.
    assert fuses.RATINGS_A == SERIES
    assert [fuses.voltage_class(volts) for volts in (12, 32, 33, 58, 59)] == [32, 32, 58, 58, None]


@pytest.mark.parametrize(
    ("continuous", "rating"),
    [(5.0, 7.5), (0.75, 1.0), (0.7501, 2.0), (3.75, 5.0), (3.76, 7.5), (30.0, 40.0), (30.1, None)],
)
def test_three_quarters(continuous: float, rating: float | None) -> None:
    # Own example: 5 A all the time, 5 / 0.75 = 6.67 A, so 7.5 A (common practice, 70 to 80 %).
    assert fuses.choose(continuous) == rating


def test_a_fuse_between_trip_and_wire() -> None:
    assert fuses.choose(1.4, [2.9]) == 3.0
    assert fuses.choose(1.4, [2.9, 5.5]) == 7.5
    assert fuses.choose(5.0, [], most_a=7.5) == 7.5
    assert fuses.choose(5.0, [], most_a=7.4) is None
    assert fuses.least_a(1.5, [1.0]) == 2.0
    assert fuses.least_a(1.5, [2.5]) == 2.5


# ---------------------------------------------------------------- the pot as a source


def test_the_wipers_resistance() -> None:
    # Thevenin: R x (1 - x), most R/4 at mid travel: 2500 ohm of 10 kohm; 40 kohm meets 10 kohm.
    places = np.linspace(0.0, 1.0, 1001)
    seen = [pot_source.source_ohm(10_000.0, float(place)) for place in places]
    assert max(seen) == pytest.approx(2500.0)
    assert places[int(np.argmax(seen))] == pytest.approx(0.5)
    assert seen[250] == pytest.approx(10_000.0 * 0.25 * 0.75)
    assert pot_source.source_ohm(40_000.0) == pytest.approx(10_000.0)
    assert pot_source.source_ohm(10_000.0, 0.5, 220.0) == pytest.approx(5220 * 5000 / 10220)


def test_what_the_converter_sees() -> None:
    # R/4 + 1 kohm: 3.5 kohm for 10 kohm; 36 kohm comes to the 10 kohm of the ATmega328P's sheet.
    assert pot_source.at_pin_ohm(10_000.0) == pytest.approx(3500.0)
    assert pot_source.greatest_pot_ohm() == pytest.approx(36_000.0)
    assert pot_source.at_pin_ohm(pot_source.greatest_pot_ohm()) == pytest.approx(10_000.0)


@pytest.mark.parametrize(
    ("ratio", "place", "percent"),
    [(0.01, 0.6669, -0.14782), (0.1, None, -1.44933), (1.0, 0.6889, -12.15851)],
)
def test_loading(ratio: float, place: float | None, percent: float) -> None:
    # V/V0 = x / (1 + x (1 - x) R/RL), reckoned beforehand.
    found, bent = pot_source.worst_loading(10_000.0, 10_000.0 / ratio)
    assert 100.0 * bent == pytest.approx(percent, abs=6e-6)
    if place is not None:
        assert found == pytest.approx(place, abs=6e-5)
    assert pot_source.loaded(found, 10_000.0, 10_000.0 / ratio) - found == pytest.approx(bent)


def test_a_light_load_bends_by_four_twenty_sevenths() -> None:
    place, bent = pot_source.worst_loading(100.0, 470_000.0)
    assert place == pytest.approx(2.0 / 3.0, abs=1e-3)
    assert bent == pytest.approx(-4.0 / 27.0 * 100.0 / 470_000.0, rel=1e-3)


def test_loading_by_nodes() -> None:
    """The same by Kirchhoff's current law at the wiper."""
    for place in (0.1, 0.5, 0.8):
        upper, lower, load = (1 - place) * 10_000.0, place * 10_000.0, 470_000.0
        volts = (1.0 / upper) / (1.0 / upper + 1.0 / lower + 1.0 / load)
        assert pot_source.loaded(place, 10_000.0, load) == pytest.approx(volts, rel=1e-12)


# ---------------------------------------------------------------- capacitors


def test_ripple_step_by_step() -> None:
    """A supply that gives the mean, a bridge that takes I for a share of the period: charge on the
    capacitor summed over one period, step by step."""
    amps, farad, share, steps = 6.0, 220e-6, 0.3, 20_000
    period = 1.0 / suppression.PWM_HZ
    taken = np.where(np.arange(steps) < share * steps, amps, 0.0)
    volts = np.cumsum((amps * share - taken) * period / steps) / farad
    assert suppression.ripple_v(amps, farad, share) == pytest.approx(np.ptp(volts), rel=1e-3)
    rms = math.sqrt(
        float(np.mean((np.where(np.arange(steps) < steps / 2, amps, 0.0) - amps / 2) ** 2))
    )
    assert suppression.bulk_rms_a(amps) == pytest.approx(rms)


@pytest.mark.parametrize(("volts", "nf"), [(12.0, 22.0), (24.0, 4.7), (6.0, 100.0), (400.0, None)])
def test_the_capacitor_at_the_motor(volts: float, nf: float | None) -> None:
    # By hand, C V^2 f: 22 nF at 12 V and 20 kHz 63 mW, 47 nF 135 mW; 4.7 nF at 24 V 54 mW.
    assert suppression.motor_capacitor_nf(volts) == nf
    if nf is not None:
        assert nf * 1e-9 * volts**2 * 20_000.0 <= 0.1


@pytest.mark.parametrize(
    ("amps", "uf"), [(2.9, 100.0), (6.2, 220.0), (30.0, 1000.0), (500.0, None)]
)
def test_the_capacitor_at_the_bridge(amps: float, uf: float | None) -> None:
    # By hand: 6.2 A / 4 over 20 kHz and 5 % of 12 V is 129 uF.
    assert suppression.bulk_uf(amps, 12.0) == uf
