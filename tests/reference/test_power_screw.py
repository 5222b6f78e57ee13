"""Power screw, worked examples of textbooks.

Shigley, Mechanical Engineering Design (8th to 10th ed.), Example 8-1: square thread, d 32 mm,
pitch 4 mm, double start, f = fc = 0.08, collar 40 mm, 6.4 kN (printed results from memory; they
follow from the inputs to the printed digits). Mott, Machine Elements in Mechanical Design, 4th
ed., Example 17-1 (p. 703), Acme 1 1/2-4; its printed torque is 0.3 % low by its own formula. FOSSEE
Scilab Textbook Companion, book 764, Ex. 6.1: square, d 50, pitch 8, three starts, friction 0.15,
collar by uniform wear. Tr8: own examples.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.science.screw import HALF_ANGLES, Screw


def test_shigley_8_1() -> None:
    screw, collar = Screw(30.0, 8.0), (0.08, 40.0)
    assert screw.raising(6.4, 0.08, collar) == pytest.approx(26.18, abs=0.005)
    assert screw.lowering(6.4, 0.08, collar) == pytest.approx(9.77, abs=0.005)
    assert screw.efficiency(0.08, collar) == pytest.approx(0.311, abs=0.0005)
    # The thread alone would let the load down: pi f dm = 7.540 mm is less than the lead of 8 mm.
    assert screw.lowering(6.4, 0.08) == pytest.approx(-0.46557, abs=1e-5)
    assert not screw.locks(0.08)
    assert screw.lead_angle_deg == pytest.approx(4.8518, abs=1e-4)


def test_mott_17_1() -> None:
    screw = Screw(1.3429, 0.250, HALF_ANGLES["acme"])
    assert screw.raising(12_500.0, 0.15) == pytest.approx(1809.0, rel=0.005)
    assert screw.efficiency(0.15) == pytest.approx(0.275, rel=0.005)
    assert screw.lead_angle_deg == pytest.approx(3.39, abs=0.005)
    assert screw.locks(0.15)


def test_the_scilab_companions_6_1() -> None:
    """Collar outer 100, inner 65 mm; uniform wear has its friction at the mean radius."""
    screw, collar = Screw(46.0, 24.0), (0.15, (100.0 + 65.0) / 2.0)
    assert screw.raising(15_000.0, 0.15, collar) == pytest.approx(204644.140833, rel=1e-9)
    assert screw.lowering(15_000.0, 0.15, collar) == pytest.approx(87401.514671, rel=1e-9)
    assert screw.raising(15_000.0, 0.15, collar) / 500.0 == pytest.approx(409.288282, rel=1e-8)


@pytest.mark.parametrize(
    ("lead", "raising", "lowering", "efficiency", "locks"),
    [(2.0, 87.4176, 22.2074, 0.364126, True), (8.0, 192.5538, -69.0700, 0.661238, False)],
)
def test_one_start_holds_where_four_let_go(
    lead: float, raising: float, lowering: float, efficiency: float, locks: bool
) -> None:
    screw = Screw(7.0, lead, HALF_ANGLES["trapezoidal"])
    assert screw.raising(100.0, 0.15) == pytest.approx(raising, abs=1e-4)
    assert screw.lowering(100.0, 0.15) == pytest.approx(lowering, abs=1e-4)
    assert screw.efficiency(0.15) == pytest.approx(efficiency, abs=1e-6)
    assert screw.locks(0.15) is locks
    if not locks:
        assert screw.back_efficiency(0.15) == pytest.approx(0.542475, abs=1e-6)


def test_best_efficiency_and_the_edge_of_locking() -> None:
    """At 45° - ρ/2 it is (1 - sin ρ) / (1 + sin ρ); where lead and friction angle are equal,
    (1 - tan² ρ) / 2, below a half."""
    rho = math.atan(0.08)
    best = math.pi / 4.0 - rho / 2.0
    screw = Screw(10.0, math.pi * 10.0 * math.tan(best))
    assert math.degrees(best) == pytest.approx(42.713, abs=1e-3)
    assert screw.efficiency(0.08) == pytest.approx(0.852289, abs=1e-6)
    edge = Screw(10.0, math.pi * 10.0 * 0.15)
    assert edge.efficiency(0.15) == pytest.approx(0.48875, abs=1e-6)
    assert edge.back_efficiency(0.15) == pytest.approx(0.0, abs=1e-12)


@given(
    mean=st.floats(2.0, 60.0),
    lead=st.floats(0.3, 60.0),
    angle=st.floats(0.0, 20.0),
    friction=st.floats(0.02, 0.4),
)
def test_locking_lowering_and_back_driving_say_the_same(
    mean: float, lead: float, angle: float, friction: float
) -> None:
    screw = Screw(mean, lead, angle)
    lowering, back = screw.lowering(100.0, friction), screw.back_efficiency(friction)
    if abs(back) > 1e-9:
        assert screw.locks(friction) == (lowering > 0.0) == (back < 0.0)
    # What the load gives while it goes down, less what arrives, is friction: never below zero.
    assert back < 1.0
