"""The hinge triangle against the hinged arm worked by hand, and against plain coordinates.

Hinged arm: rod pin on the arm at a from the hinge, base pin at b from it and β below the
horizontal, arm at θ: rod length √(a² + b² - 2ab cos(θ + β)) and lever h = ab sin(θ + β) / s (law
of cosines and law of sines, any geometry textbook). The figures are our own example, a 150 mm,
b 300 mm, β 60°, reckoned again by virtual work.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from rodbench.science.linkage import Linkage

# θ deg, rod mm, lever mm
ARM = [
    (0.0, 150.0 * math.sqrt(3.0), 150.0),
    (15.0, 298.674214, 145.532022),
    (30.0, 335.410197, 134.164079),
    (45.0, 368.501987, 117.955028),
    (60.0, 396.862697, 98.198051),
]
RETRACTED = ARM[0][1]


@pytest.mark.parametrize(("angle", "rod", "lever"), ARM)
def test_the_hinged_arm(angle: float, rod: float, lever: float) -> None:
    arm = Linkage(300.0, 150.0, RETRACTED)
    assert arm.angle_deg(rod - RETRACTED) == pytest.approx(angle, abs=1e-6)
    assert arm.position_mm(angle) == pytest.approx(rod - RETRACTED, abs=1e-6)
    step = 1e-3  # the lever is what the rod moves for a small turn: ds = h dθ
    moved = arm.position_mm(angle + step) - arm.position_mm(angle - step)
    assert moved / math.radians(2 * step) == pytest.approx(lever, rel=1e-6)


def test_closed_is_where_the_file_says_and_either_way_may_open() -> None:
    arm = Linkage(300.0, 150.0, 200.0, closed_at_mm=ARM[1][1] - 200.0)
    assert arm.angle_deg(ARM[1][1] - 200.0) == 0.0
    assert arm.angle_deg(ARM[3][1] - 200.0) == pytest.approx(30.0, abs=1e-6)
    pulled = Linkage(300.0, 150.0, 200.0, closed_at_mm=ARM[3][1] - 200.0, opens=-1)
    assert pulled.angle_deg(ARM[1][1] - 200.0) == pytest.approx(30.0, abs=1e-6)
    assert pulled.position_mm(30.0) == pytest.approx(ARM[1][1] - 200.0, abs=1e-6)


lengths = st.floats(20.0, 2000.0)


@given(frame=lengths, vent=lengths, retracted=lengths, at=st.floats(0.0, 1.0))
def test_pins_in_the_plane_have_the_rods_length(
    frame: float, vent: float, retracted: float, at: float
) -> None:
    """Frame pin on the x axis, vent pin turned by the angle: Pythagoras gives the rod."""
    arm = Linkage(frame, vent, retracted, closed_at_mm=0.0)
    assume(arm.holds(0.0))
    high = min(arm.room_mm()[1], 1000.0)
    position = at * high * 0.999
    angle = math.radians(arm.angle_deg(position) + arm._hinge_deg(0.0))
    pins = math.hypot(vent * math.cos(angle) - frame, vent * math.sin(angle))
    assert pins == pytest.approx(retracted + position, rel=1e-9)
    assert arm.position_mm(arm.angle_deg(position)) == pytest.approx(position, abs=1e-3)


def test_no_triangle_is_refused() -> None:
    arm = Linkage(300.0, 150.0, 200.0)
    assert arm.room_mm() == (-50.0, 250.0)
    with pytest.raises(ValueError, match=r"only from -50\.0 to 250\.0 mm"):
        arm.angle_deg(250.0)
    with pytest.raises(ValueError, match="apart at the hinge"):
        arm.position_mm(175.0)
