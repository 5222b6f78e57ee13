"""The motor relations behind the stall estimate and the dead zone.

Source: V = I R + Ke w, stall current V / R, torque in proportion to current less the no-load
current (any machines textbook; from memory). Figures of the full model: own example, 12 V,
1.2 ohm, 0.02 V s/rad, 0.4 A no-load, stall 10 A, no-load speed 576 rad/s. Copper: 0.00393 per K
(Industrial Power Engineering Handbook p. 970).
"""

import pytest
from rodbench.science.speed import dead_zone
from rodbench.science.stall import Point, believable, from_running, from_stalled, resistance

OHMS, CONSTANT, NO_LOAD_A, VOLTS = 1.2, 0.02, 0.4, 12.0


def point(volts: float, current_a: float) -> Point:
    """What the motor does at a current: w = (V - I R) / Ke."""
    return Point(volts, current_a, (volts - current_a * OHMS) / CONSTANT)


def test_the_full_model_is_reproduced() -> None:
    assert point(VOLTS, 10.0).speed_mm_s == pytest.approx(0.0, abs=1e-9)
    assert point(VOLTS, NO_LOAD_A).speed_mm_s == pytest.approx(576.0)


@pytest.mark.parametrize("friction_a", [0.4, 1.0, 2.0])
def test_stall_from_two_running_points(friction_a: float) -> None:
    creep, full = point(0.3 * VOLTS, friction_a), point(VOLTS, friction_a)
    assert resistance(creep, full) == pytest.approx(OHMS)
    found = from_running(creep, full, VOLTS, 0.01, 0.1)
    assert found is not None
    assert found.current_a == pytest.approx(10.0)
    assert found.sigma_a > 0.0


def test_two_points_with_different_loads_still_give_the_resistance() -> None:
    assert resistance(point(3.6, 0.5), point(12.0, 1.7)) == pytest.approx(OHMS)


def test_stall_scaled_from_creep_and_what_heat_does_to_it() -> None:
    cold = from_stalled(Point(3.6, 3.6 / OHMS, 0.0), VOLTS, 0.02)
    hot_ohms = OHMS * (1 + 0.00393 * 80)
    assert hot_ohms == pytest.approx(1.577280)
    hot = from_stalled(Point(3.6, 3.6 / hot_ohms, 0.0), VOLTS, 0.02)
    assert cold is not None
    assert hot is not None
    assert cold.current_a == pytest.approx(10.0)
    assert cold.sigma_a == pytest.approx(((0.02 * VOLTS / 3.6) ** 2 + (0.05 * 10.0) ** 2) ** 0.5)
    assert hot.current_a == pytest.approx(VOLTS / hot_ohms)


def test_dead_zone_is_where_friction_eats_all_of_the_voltage() -> None:
    friction_a = 1.5
    points = [(share, point(share * VOLTS, friction_a).speed_mm_s) for share in (0.3, 1.0)]
    assert dead_zone(points) == pytest.approx(friction_a * OHMS / VOLTS)


def test_an_estimate_within_its_own_error_is_unknown() -> None:
    full = point(VOLTS, 0.4)
    assert believable(from_running(point(3.6, 0.4), full, VOLTS, 0.39, 5.0), full) is None
    assert believable(None, full) is None
