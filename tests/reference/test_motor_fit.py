"""The motor fit against the motor relations, against reference fits, and its intervals against
what they say of themselves.

Sources: V = I R + Ke w, stall V / R (any machines textbook; from memory). Full model: own example,
12 V, 1.2 ohm, 0.02 V s/rad, 0.4 A, stall 10 A, no-load speed 576 rad/s; at 2.0 A 480 rad/s and
15.36 W of 24 W. 1 V/krpm = 0.009549296586 V s/rad (computed). Copper: 0.00393 per K (Industrial
Power Engineering Handbook p. 970); 1.2 ohm at 20 C is 1.577280 at 100 C. A loaded track: Thevenin,
0.14782 % of all too little at 0.6669 for a track a hundredth of the load. Rounding: 1/sqrt(12)
(Analog Devices MT-001). Reference fits: numpy.linalg.lstsq, scipy.optimize.curve_fit, scipy.odr
(ODRPACK).
"""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from rodbench.science.motor_fit import (
    Point,
    Runs,
    Shared,
    figures,
    figures_without_current,
    fit,
    kelvin,
    lifting,
    step_error,
    values,
)
from rodbench.science.motor_steady import (
    Stretch,
    about_middle,
    loaded_slope,
    point,
    unloaded,
    zero_error,
)
from scipy.optimize import curve_fit

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)
    from scipy import odr

OHMS, CONSTANT, NO_LOAD_A, VOLTS = 1.2, 0.02, 0.4, 12.0
SHARES = (1.0, 0.7, 0.4)


def run(way: int, output: float, current_a: float, supply_v: float = VOLTS) -> Point:
    """What the motor does: w = (V - I R) / Ke. A rod that goes 1 mm for each rad."""
    speed = (output * supply_v - OHMS * current_a) / CONSTANT
    return Point(way, output, supply_v, current_a, speed, 0.01, 0.001, 0.5)


def runs(extend_a: float = NO_LOAD_A, retract_a: float = NO_LOAD_A) -> Runs:
    points = [run(w, o, i) for o in SHARES for w, i in ((1, extend_a), (-1, retract_a))]
    return Runs(tuple(points), VOLTS, 0.01)


# ---------------------------------------------------------------- relations


def test_the_full_model_is_reproduced() -> None:
    found = figures(replace(runs(), turn_mm=2.0 * math.pi))
    assert found["resistance_ohm"] == pytest.approx(OHMS)
    assert found["constant_v_s_per_mm"] == pytest.approx(CONSTANT)
    assert found["constant_v_s_per_rad"] == pytest.approx(CONSTANT)
    assert found["stall_a"] == pytest.approx(10.0)
    assert found["full_speed_extend_mm_s"] == pytest.approx(576.0)
    assert found["friction_retract_a"] == pytest.approx(NO_LOAD_A)
    assert found["dead_zone_extend"] == pytest.approx(OHMS * NO_LOAD_A / VOLTS)


def test_one_volt_for_a_thousand_turns_a_minute() -> None:
    """A rod that goes 0.3 mm a turn does 1000 / 60 x 0.3 mm/s for each volt."""
    scale = 1000.0 / 60.0 * 0.3
    points = [replace(p, speed_mm_s=(p.volts - OHMS * p.current_a) * scale) for p in runs().points]
    found = figures(replace(runs(), points=tuple(points), turn_mm=0.3))
    assert found["speed_mm_s_per_v"] == pytest.approx(scale)
    assert found["constant_v_s_per_rad"] == pytest.approx(0.009549296586)


def test_a_source_that_gives_way_is_told_from_the_motor() -> None:
    points = []
    for one in runs(0.5, 0.9).points:
        sagging = VOLTS - 0.15 * one.output * one.current_a
        points.append(run(one.way, one.output, one.current_a, sagging))
    found = figures(Runs(tuple(points), VOLTS, 0.01))
    assert found["resistance_ohm"] == pytest.approx(OHMS)
    assert found["source_ohm"] == pytest.approx(0.15)
    assert found["stall_a"] == pytest.approx(VOLTS / (OHMS + 0.15))
    assert found["stall_at_motor_a"] == pytest.approx(10.0)
    # V0 - Rs u I = R I / u at the edge of motion: both sides by the tool's own answer.
    zone = found["dead_zone_extend"]
    assert zone * (VOLTS - 0.15 * zone * 0.5) == pytest.approx(OHMS * 0.5)


def test_friction_that_grows_with_speed_is_no_resistance() -> None:
    points = []
    for one in runs().points:
        # I = 0.4 + 0.001 w with V = I R + Ke w: w = (V - 0.4 R) / (Ke + 0.001 R).
        speed = (one.volts - OHMS * 0.4) / (CONSTANT + 0.001 * OHMS)
        points.append(replace(one, speed_mm_s=speed, current_a=0.4 + 0.001 * speed))
    found = figures(replace(runs(), points=tuple(points)))
    assert found["resistance_ohm"] == pytest.approx(OHMS)
    assert found["friction_rise_extend_a_s_per_mm"] == pytest.approx(0.001)
    assert found["full_speed_extend_mm_s"] == pytest.approx((12.0 - 0.48) / (0.02 + 0.0012))


def test_a_winding_that_warms_is_told_at_the_middle_of_the_runs() -> None:
    points = []
    for at, one in enumerate((*runs(2.0, 1.5).points, *runs(2.0, 1.5).points)):
        ohm = OHMS * (1.0 + 0.06 * (at / 11.0 - 0.5))
        speed = (one.volts - ohm * one.current_a) / CONSTANT
        points.append(replace(one, speed_mm_s=speed, speed_sigma=0.01, heat=float(at)))
    found = values(Runs(tuple(points), VOLTS, 0.001))
    assert found["resistance_ohm"].best == pytest.approx(OHMS, rel=1e-3)
    assert found["warming_share"].best == pytest.approx(0.06, rel=0.05)
    assert kelvin(0.00393 * 80.0) == pytest.approx(80.0)
    assert OHMS * (1.0 + 0.00393 * kelvin(1.577280 / OHMS - 1.0)) == pytest.approx(1.577280)


def test_efficiency_of_the_best_point_of_the_full_model() -> None:
    """2.0 A at 480 rad/s: 1.6 A of it for the load, 0.032 N m each rad, so 32 N on 1 mm/rad."""
    loaded = [replace(run(w, o, i), loaded=True) for o in SHARES for w, i in ((1, 2.0), (-1, 0.4))]
    whole = replace(runs(), points=(*runs().points, *loaded), force_n=32.0)
    found = figures(whole)
    assert lifting(whole) == 1
    assert found["load_a"] == pytest.approx(1.6)
    assert found["drive_efficiency"] == pytest.approx(1.0)
    assert found["whole_efficiency"] == pytest.approx(0.64)
    assert figures(replace(whole, force_n=16.0))["drive_efficiency"] == pytest.approx(0.5)


def test_without_a_current_volts_and_slope_are_told() -> None:
    found = figures_without_current(runs())
    assert found["lost_extend_v"] == pytest.approx(OHMS * NO_LOAD_A)
    assert found["speed_retract_mm_s_per_v"] == pytest.approx(1.0 / CONSTANT)
    assert found["full_speed_extend_mm_s"] == pytest.approx(576.0)


def test_the_pots_slope_in_the_middle_does_not_reach_the_constant() -> None:
    off = [replace(p, speed_mm_s=0.99 * p.speed_mm_s) for p in runs().points]
    whole = [replace(run(w, 1.0, NO_LOAD_A), whole=True) for w in (1, -1)]
    made = replace(runs(), points=(*whole, *off))
    assert figures(made)["constant_v_s_per_mm"] == pytest.approx(CONSTANT)
    assert figures(made)["resistance_ohm"] == pytest.approx(OHMS)
    assert figures(made)["full_speed_extend_mm_s"] == pytest.approx(576.0)
    assert fit(made).scale == pytest.approx(1.0 / 0.99)
    assert figures_without_current(made)["full_speed_extend_mm_s"] == pytest.approx(576.0)


@pytest.mark.parametrize("speeds", ["backwards", "none"])
def test_runs_that_tell_nothing_are_refused(speeds: str) -> None:
    sign = -1.0 if speeds == "backwards" else 0.0
    bad = [replace(p, speed_mm_s=sign * p.speed_mm_s) for p in runs().points]
    with pytest.raises(ValueError, match="do not tell"):
        figures(replace(runs(), points=tuple(bad)))


# ---------------------------------------------------------------- reference fits


def noisy(seed: int, *, heat: bool = False) -> Runs:
    """Runs at many outputs with errors as large as their sigmas, which differ."""
    draw = np.random.default_rng(seed)
    points = []
    for at in range(24):
        true = run((1, -1)[at % 2], 0.35 + 0.65 * draw.random(), (0.9, 1.4)[at % 2])
        sigmas = draw.uniform(0.005, 0.02), draw.uniform(0.002, 0.01), draw.uniform(0.2, 1.5)
        points.append(
            Point(
                true.way,
                true.output,
                true.supply_v + sigmas[0] * draw.standard_normal(),
                true.current_a + sigmas[1] * draw.standard_normal(),
                true.speed_mm_s + sigmas[2] * draw.standard_normal(),
                *sigmas,
                heat=float(at) if heat else 0.0,
            )
        )
    rest = VOLTS + 0.01 * draw.standard_normal()
    return Runs(tuple(points), rest, 0.01)


def columns(made: Runs) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """I and v, V, and the sigma of V - R I - k v at the truth."""
    points = made.points
    left = np.array([[p.current_a, p.speed_mm_s] for p in points])
    sigma = [
        math.hypot(p.output * p.supply_sigma, OHMS * p.current_sigma, CONSTANT * p.speed_sigma)
        for p in points
    ]
    return left, np.array([p.volts for p in points]), np.array(sigma)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_fit_is_that_of_numpy_and_scipy(seed: int) -> None:
    made = noisy(seed)
    left, volts, sigma = columns(made)
    by_numpy = np.linalg.lstsq(left / sigma[:, None], volts / sigma, rcond=None)[0]
    found = fit(made)
    assert (found.ohm, found.constant) == pytest.approx(by_numpy, rel=2e-4)
    best, covariance = curve_fit(
        lambda x, ohm, constant: ohm * x[0] + constant * x[1],
        left.T, volts, p0=(1.0, 0.01), sigma=sigma, absolute_sigma=True,
    )  # fmt: skip
    stated = values(made)
    excess = sum(r * r for r in found.residuals) / (len(made.points) - 3)
    for at, name in enumerate(("resistance_ohm", "constant_v_s_per_mm")):
        width = 1.96 * math.sqrt(covariance[at, at] * max(1.0, excess))
        assert stated[name].best == pytest.approx(best[at], rel=2e-4)
        assert stated[name].half == pytest.approx(width, rel=0.03)


@pytest.mark.parametrize("seed", [4, 5])
def test_errors_in_all_three_as_odrpack_counts_them(seed: int) -> None:
    made = noisy(seed)
    left, volts, _ = columns(made)
    points = made.points
    sx = np.array([[p.current_sigma, p.speed_sigma] for p in points]).T
    sy = np.array([p.output * p.supply_sigma for p in points])
    model = odr.Model(lambda beta, x: beta[0] * x[0] + beta[1] * x[1])
    out = odr.ODR(odr.RealData(left.T, volts, sx=sx, sy=sy), model, beta0=[1.0, 0.01]).run()
    found = values(made)
    for at, name in enumerate(("resistance_ohm", "constant_v_s_per_mm")):
        # Its sd is scaled by the residuals both ways, ours upwards alone.
        sd = math.sqrt(out.cov_beta[at, at])
        assert found[name].best == pytest.approx(out.beta[at], abs=0.1 * sd)
        assert found[name].half >= 0.97 * 1.96 * sd


# ---------------------------------------------------------------- intervals


def test_what_all_runs_share_moves_all_of_them() -> None:
    """A sensor 2 % off makes resistance 2 % off; a supply 1 % off both constants; a zero of a
    hundredth of the current a hundredth of the resistance."""

    def half(shared: Shared, name: str) -> float:
        quiet = [replace(p, supply_sigma=1e-9, speed_sigma=1e-9, current_sigma=1e-9)
                 for p in runs().points]  # fmt: skip
        made = Runs(tuple(quiet), VOLTS, 1e-9, shared)
        return values(made)[name].share / 1.96

    assert half(Shared(sensor_share=0.02), "resistance_ohm") == pytest.approx(0.02, rel=0.03)
    assert half(Shared(sensor_share=0.02), "constant_v_s_per_mm") == pytest.approx(0.0, abs=1e-6)
    assert half(Shared(supply_share=0.01), "resistance_ohm") == pytest.approx(0.01, rel=0.01)
    assert half(Shared(supply_share=0.01), "stall_a") == pytest.approx(0.0, abs=1e-6)
    assert half(Shared(zero_a=0.004), "resistance_ohm") == pytest.approx(0.01, rel=0.02)
    assert half(Shared(speed_share=0.01), "constant_v_s_per_mm") == pytest.approx(0.01, rel=0.02)
    # A centred sensor's zero adds one way and takes away the other.
    signed = half(Shared(zero_a=0.004, signed=True), "resistance_ohm")
    assert signed < 0.001


def test_intervals_hold_what_they_say() -> None:
    """Of 120 fits of made-up runs about 95 % hold the truth: from 107 on is what chance allows
    (binomial, 99.7 %); the scatter of few runs widens some."""
    inside = {"resistance_ohm": 0, "constant_v_s_per_mm": 0, "stall_a": 0}
    true = {"resistance_ohm": OHMS, "constant_v_s_per_mm": CONSTANT, "stall_a": VOLTS / OHMS}
    for seed in range(120):
        found = values(noisy(100 + seed))
        for name in inside:
            inside[name] += found[name].holds(true[name])
    assert all(107 <= count < 120 for count in inside.values()), inside


# ---------------------------------------------------------------- readings


def test_what_rounding_leaves() -> None:
    assert step_error(0.0) == pytest.approx(0.288675, rel=0.01)
    draw = np.random.default_rng(1)
    for noise in (0.1, 0.2, 0.3):
        places = np.linspace(0.0, 1.0, 101)[:-1]
        shots = noise * draw.standard_normal(20_000)
        left = [float(np.floor(place + shots + 0.5).mean()) - place for place in places]
        assert step_error(noise) == pytest.approx(np.std(left), abs=0.006)


def test_a_loaded_track() -> None:
    assert unloaded(0.6669 - 0.0014782, 0.01) == pytest.approx(0.6669, abs=1e-5)
    # dy/dx at mid way is 1 - load / 4, to first order.
    assert loaded_slope(0.499, 0.501, 0.0, 1.0, 0.01) == pytest.approx(1.0 - 0.0025, abs=2e-5)


def test_a_zero_below_the_converters_range() -> None:
    assert zero_error(40.0, 0.02, 0.001) == (0.0, 0.001)
    shift, sigma = zero_error(0.0, 0.02, 0.0)
    assert shift == pytest.approx(-0.25 * 0.02)
    assert sigma == pytest.approx(0.5 * 0.02 / math.sqrt(12.0))


@pytest.mark.parametrize("whole", [False, True])
def test_means_of_a_run_whose_load_grows_keep_the_relation(whole: bool) -> None:
    """Current 1 A + 0.5 A a second, so that the speed falls: V = R I + k v holds for the means."""
    times = np.arange(0.0, 2.0, 0.01)
    current = 1.0 + 0.5 * times
    speed = (VOLTS - OHMS * current) / 0.8
    places = 10.0 - np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2.0 * 0.01)])
    made = Stretch(-1, 1.0, times.tolist(), places.tolist(), (current + 0.07).tolist(),
                   times[::5].tolist(), [VOLTS] * len(times[::5]))  # fmt: skip
    found = point(made, zero_a=0.07, least_supply_v=0.01, least_a=0.001, whole=whole)
    assert found.volts == pytest.approx(VOLTS)
    assert OHMS * found.current_a + 0.8 * found.speed_mm_s == pytest.approx(VOLTS, rel=2e-4)
    with pytest.raises(ValueError, match="way it was driven"):
        point(replace(made, way=1), zero_a=0.0, least_supply_v=0.01, least_a=0.001)
    with pytest.raises(ValueError, match="too short"):
        point(
            replace(made, times_s=made.times_s[:5], mm=made.mm[:5]),
            zero_a=0.0, least_supply_v=0.01, least_a=0.001,
        )  # fmt: skip


@pytest.mark.parametrize(
    ("middle_mm", "from_s", "to_s"), [(50.0, 0.0, 2.0), (60.0, 0.0, 4.0), (100.0, 4.0, 8.0)]
)
def test_a_stretch_about_the_middle(middle_mm: float, from_s: float, to_s: float) -> None:
    """From 40 mm at 10 mm/s for 8 s, and mirrored: the rod passes 50 mm after 1 s."""
    for way in (1.0, -1.0):
        places = [(n / 10.0, way * (40.0 + n)) for n in range(81)]
        assert about_middle(places, way * middle_mm) == pytest.approx((from_s, to_s))
        assert about_middle(places, way * 39.0) == (-math.inf, math.inf)
    assert about_middle([], 50.0) == (-math.inf, math.inf)
    assert about_middle([(n / 10.0, 5.0) for n in range(20)], 5.0) == (-math.inf, math.inf)


def test_the_sigma_of_a_speed_is_that_of_a_line() -> None:
    """sigma sqrt(12 / n) / T for n places over T (any statistics textbook)."""
    draw = np.random.default_rng(3)
    times = np.arange(0.0, 4.0, 0.01)
    places = 5.0 * times + 0.2 * draw.standard_normal(times.size)
    made = Stretch(1, 0.5, times.tolist(), places.tolist(), [1.0] * times.size,
                   times[::5].tolist(), [VOLTS] * len(times[::5]))  # fmt: skip
    found = point(made, zero_a=0.0, least_supply_v=0.01, least_a=0.001)
    expected = 0.2 * math.sqrt(12.0 / times.size) / 4.0
    assert found.speed_sigma == pytest.approx(expected, rel=0.1)
    assert found.speed_mm_s == pytest.approx(5.0, abs=4.0 * expected)
