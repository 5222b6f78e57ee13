"""The rod of a hinged arm: force through the travel.

Hinge O, rod pin on the arm at a, base pin at b and β below the horizontal, weight m g at c on the
arm, arm at θ. Rod length s = √(a² + b² - 2ab cos(θ + β)), lever h = ab sin(θ + β) / s,
F = m g c cos θ / h (statics, any text). Own example, a 150, b 300, c 300 mm, β 60°, m 20 kg,
g 9.80665 m/s², reckoned again by virtual work, F = m g c cos θ / (ds/dθ), equal to nine digits.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from rodbench.science.hinge import Flap, below_of, turned
from rodbench.science.loads import GRAVITY, Carried, Travel
from scipy.integrate import trapezoid

# θ deg, s mm, h mm, F N
ARM = [
    (0.0, 150.0 * math.sqrt(3.0), 150.0, 392.266),
    (15.0, 298.674214, 145.532022, 390.532464),
    (30.0, 335.410197, 134.164079, 379.809921),
    (45.0, 368.501987, 117.955028, 352.728433),
    (60.0, 396.862697, 98.198051, 299.598106),
]


def arm(**changes: float) -> Flap:
    figures = {"frame_mm": 300.0, "pin_mm": 150.0, "weight_mm": 300.0, "area_mm": 300.0,
               "closed_deg": 0.0, "opens_deg": 60.0, "below_deg": 60.0}  # fmt: skip
    return Flap(**{**figures, **changes})


@pytest.mark.parametrize(("tilt", "pins", "lever", "force"), ARM)
def test_the_hinged_arm(tilt: float, pins: float, lever: float, force: float) -> None:
    """The travel begins at each of the five places in turn."""
    here = turned(Carried(mass_kg=20.0), arm(closed_deg=tilt, opens_deg=75.0 - tilt))
    assert here.pins_mm is not None
    assert here.pins_mm[0] == pytest.approx(pins, abs=1e-6)
    assert here.high_n[0] == pytest.approx(force, abs=1e-6)
    # A pressure's moment is p A r: its force shows the lever alone.
    pressed = turned(
        Carried(area_m2=1.0, wind_pa=100.0), arm(closed_deg=tilt, opens_deg=75.0 - tilt)
    )
    assert pressed.high_n[0] == pytest.approx(100.0 * 300.0 / lever, rel=1e-8)
    assert pressed.low_n[0] == pytest.approx(-100.0 * 300.0 / lever, rel=1e-8)


def test_the_whole_travel_lies_on_the_table() -> None:
    whole = turned(Carried(mass_kg=20.0), arm(), points=2001)
    assert whole.pins_mm is not None
    for _, pins, _, force in ARM:
        assert np.interp(pins, whole.pins_mm, whole.high_n) == pytest.approx(force, abs=1e-3)
    assert whole.way_mm == pytest.approx(ARM[-1][1] - ARM[0][1], abs=1e-6)


def test_the_pins_distance_tells_where_the_frame_pin_is() -> None:
    for tilt, pins, _, _ in ARM:
        assert below_of(300.0, 150.0, pins, tilt) == pytest.approx(60.0, abs=1e-6)
    with pytest.raises(ValueError, match=r"only from 150\.0 to 450\.0 mm"):
        below_of(300.0, 150.0, 450.0, 0.0)


def test_a_dead_centre_is_named() -> None:
    assert arm().no_lever() is None
    assert "open, the two pins stand 180.0 deg apart" in str(arm(opens_deg=120.0).no_lever())
    assert "on its way" in str(arm(closed_deg=-70.0, opens_deg=80.0).no_lever())


GEOMETRY = {
    "frame": st.floats(50.0, 1500.0),
    "pin": st.floats(50.0, 1500.0),
    "weight": st.floats(10.0, 2000.0),
    "below": st.floats(-170.0, 170.0),
    "closed": st.floats(-89.0, 89.0),
    "opens": st.floats(-120.0, 120.0),
    "mass": st.floats(0.1, 200.0),
}


def whatever(frame: float, pin: float, weight: float, below: float, closed: float, opens: float,
             mass: float, friction_nm: float = 0.0) -> tuple[Flap, Travel]:  # fmt: skip
    flap = Flap(frame, pin, weight, weight, closed, opens, below, friction_nm)
    assume(abs(opens) > 1.0 and flap.no_lever() is None)
    return flap, turned(Carried(mass_kg=mass), flap, points=4001)


@given(**GEOMETRY)
def test_moments_about_the_hinge_balance_in_the_plane(**figures: float) -> None:
    """Pins as points, the rod's force as a vector along them: its moment holds the weight's."""
    flap, travel = whatever(**figures)
    assert travel.turned_deg is not None
    for at in (0, 1700, 4000):
        tilt = math.radians(flap.closed_deg + travel.turned_deg[at])
        pin = flap.pin_mm * np.array([math.cos(tilt), math.sin(tilt)])
        low = math.radians(-flap.below_deg)
        frame = flap.frame_mm * np.array([math.cos(low), math.sin(low)])
        along = pin - frame
        assert np.hypot(*along) == pytest.approx(travel.pins_mm[at], rel=1e-9)  # type: ignore[index]
        push = travel.high_n[at] * along / np.hypot(*along)
        moment = pin[0] * push[1] - pin[1] * push[0]
        weight = figures["mass"] * GRAVITY * flap.weight_mm
        assert moment == pytest.approx(weight * math.cos(tilt), rel=1e-6, abs=1e-6 * weight)


@given(**GEOMETRY, friction_nm=st.floats(0.0, 50.0))
def test_the_work_of_the_rod_is_height_gained_and_friction(**figures: float) -> None:
    """∫ F ds over the travel = m g c (sin θ_long - sin θ_short) + friction moment x angle."""
    flap, travel = whatever(**figures)
    turned_rad = np.radians(travel.turned_deg)
    tilts = math.radians(flap.closed_deg) + turned_rad[[0, -1]]
    joule = figures["mass"] * GRAVITY * flap.weight_mm / 1000.0
    gained = joule * (math.sin(tilts[1]) - math.sin(tilts[0]))
    rubbed = figures["friction_nm"] * abs(tilts[1] - tilts[0])
    extending = trapezoid(travel.extend_n, travel.place_mm) / 1000.0
    retracting = trapezoid(travel.retract_n, travel.place_mm) / 1000.0
    slack = 1e-3 * (joule + rubbed)
    assert extending == pytest.approx(gained + rubbed, abs=slack)
    assert retracting == pytest.approx(rubbed - gained, abs=slack)


@given(scale=st.floats(0.2, 5.0), **GEOMETRY)
def test_a_larger_drawing_has_the_same_forces(scale: float, **figures: float) -> None:
    flap, travel = whatever(**figures)
    lengths = (flap.frame_mm, flap.pin_mm, flap.weight_mm, flap.area_mm)
    larger = Flap(*(scale * length for length in lengths), flap.closed_deg, flap.opens_deg,
                  flap.below_deg)  # fmt: skip
    again = turned(Carried(mass_kg=figures["mass"]), larger, points=4001)
    assert again.way_mm == pytest.approx(scale * travel.way_mm, rel=1e-9)
    np.testing.assert_allclose(again.high_n, travel.high_n, rtol=1e-6, atol=1e-9)
