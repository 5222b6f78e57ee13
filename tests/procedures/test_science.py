"""Verdicts, kinds of end and proposals on made evidence: what must, and must never, come out."""

import itertools
import math
import random

import numpy as np
import pytest
from rodbench.science import duty, ends, proposal, rest, speed
from rodbench.science.polarity import Finding, PolarityRun, Seen, verdict
from rodbench.science.stall import Stall

# ------------------------------------------------------------------ rest


def test_the_error_of_a_mean_knows_noise_that_hangs_together() -> None:
    draw = np.random.default_rng(5)
    white = draw.normal(0, 5, 2000)
    slow = np.zeros(2000)
    for i in range(1, 2000):  # time constant 100 readings, the same rms
        slow[i] = slow[i - 1] * math.exp(-0.01) + draw.normal(0, 5 * math.sqrt(1 - math.exp(-0.02)))
    assert rest.rest(white).error < 0.3
    assert rest.rest(slow).error > 0.5


def test_a_quiet_input_is_said_to_be_quiet_and_divides_nothing_by_zero() -> None:
    found = rest.rest([3902] * 100)
    assert (found.mean, found.rms, found.error, found.quiet) == (3902, 0, 0, True)
    assert not rest.rest([3902] * 99 + [3903]).quiet


def test_a_dropout_shows_as_a_jump_and_steady_travel_does_not() -> None:
    travel = [1000 + 12 * i for i in range(100)]
    assert rest.largest_jump(travel) == 0
    travel[40] -= 600
    assert rest.largest_jump(travel) == pytest.approx(600)


# ------------------------------------------------------------------ polarity


def run(sign: int, change: float, seen: Seen, **other: object) -> PolarityRun:
    fields: dict = {"error_raw": 0.5, "current_a": 0.6, "step_a": 0.026, "quiet": False} | other
    return PolarityRun(sign, change, seen=seen, **fields)


def truth(sign: int, motor_reversed: bool, pot_falls: bool) -> PolarityRun:
    """What a sound rod and an attentive person give."""
    out = (sign > 0) != motor_reversed
    change = 60.0 if out != pot_falls else -60.0
    return run(sign, change, Seen.OUT if out else Seen.IN)


@pytest.mark.parametrize("motor_reversed", [False, True])
@pytest.mark.parametrize("pot_falls", [False, True])
@pytest.mark.parametrize("first", [1, -1])
def test_all_four_directions_are_told_apart(
    motor_reversed: bool, pot_falls: bool, first: int
) -> None:
    found = verdict(
        truth(first, motor_reversed, pot_falls), truth(-first, motor_reversed, pot_falls)
    )
    assert found.settled
    assert (found.motor_reversed, found.pot_falls) == (motor_reversed, pot_falls)


def test_only_agreement_settles_anything() -> None:
    """Every pair of answers and pot changes: settled exactly when both are opposite ways."""
    for a, b, up, down in itertools.product(Seen, Seen, (60.0, -60.0), (60.0, -60.0)):
        found = verdict(run(1, up, a), run(-1, down, b))
        sound = {a, b} == {Seen.OUT, Seen.IN} and up * down < 0
        assert found.settled == sound, (a, b, up, down)
        if Seen.NOT_SEEN in (a, b):
            assert found.finding is Finding.NOT_SEEN


def test_a_change_within_the_noise_is_no_motion() -> None:
    noisy = {"error_raw": 8.0}
    found = verdict(run(1, 40, Seen.OUT, **noisy), run(-1, -40, Seen.IN, **noisy))
    assert not found.settled


@pytest.mark.parametrize("current", [0.0, 0.02])
def test_no_current_and_no_motion_is_an_open_lead(current: float) -> None:
    still = {"current_a": current, "seen": Seen.STILL}
    assert verdict(run(1, 0, **still), run(-1, 0, **still)).finding is Finding.MOTOR_OPEN


def test_frozen_and_not_following_differ_in_the_noise() -> None:
    for quiet, finding in ((True, Finding.POT_FROZEN), (False, Finding.POT_NOT_FOLLOWING)):
        found = verdict(run(1, 0, Seen.OUT, quiet=quiet), run(-1, 0, Seen.IN, quiet=quiet))
        assert found.finding is finding


def test_current_without_any_motion_blames_no_pot() -> None:
    found = verdict(run(1, 0, Seen.STILL), run(-1, 0, Seen.NOT_SEEN))
    assert found.finding is Finding.NO_MOTION


def test_runs_in_the_same_direction_are_our_own_mistake() -> None:
    with pytest.raises(ValueError, match="opposite"):
        verdict(run(1, 60, Seen.OUT), run(1, 60, Seen.OUT))


# ------------------------------------------------------------------ ends

SENSOR = ends.Sensor(step_a=0.026, noise_a=0.02)


def kind(running: float, stopped: float, probe: float) -> ends.End:
    return ends.classify(ends.Approach(612, running, stopped, probe), SENSOR).end


def test_a_switch_leaves_no_current_and_a_stall_follows_the_output() -> None:
    assert kind(0.62, 0.0, 0.0) is ends.End.SWITCH
    assert kind(0.62, 0.90, 1.08) is ends.End.STALL


def test_a_stall_at_creep_that_is_only_just_above_running_is_still_a_stall() -> None:
    # 20 % friction: stall at creep is 1.5 times running, and the probe a fifth more.
    assert kind(0.60, 0.84, 1.0) is ends.End.STALL


@pytest.mark.parametrize(
    ("running", "stopped", "probe"),
    [(0.62, 0.62, 0.62), (0.62, 0.9, 0.9), (0.62, 0.4, 0.4), (0.62, 0.0, 0.9 * 0.62)],
)
def test_between_the_two_nothing_is_claimed(running: float, stopped: float, probe: float) -> None:
    assert kind(running, stopped, probe) is ends.End.UNKNOWN


def test_a_coarse_sensor_and_no_sensor_say_why() -> None:
    coarse = ends.classify(ends.Approach(612, 5.9 * 0.026, 0, 0), SENSOR)
    assert coarse.end is ends.End.UNKNOWN
    assert "too coarse" in coarse.reason
    blind = ends.classify(ends.Approach(612, 0.6, 0, 0), None)
    assert blind.end is ends.End.UNKNOWN
    assert "no current sensor" in blind.reason


def test_approaches_must_agree() -> None:
    switch, stall = ends.Kind(ends.End.SWITCH, "s"), ends.Kind(ends.End.STALL, "h")
    unsure = ends.Kind(ends.End.UNKNOWN, "u")
    assert ends.agree([switch, switch, unsure]).end is ends.End.SWITCH
    assert ends.agree([switch, stall, switch]).end is ends.End.UNKNOWN
    assert ends.agree([switch, unsure, unsure]).end is ends.End.UNKNOWN
    assert ends.agree([unsure, unsure, unsure]).reason == "u"


def test_spread_and_its_limit() -> None:
    assert ends.spread([7410, 7413, 7411]) == 3
    assert ends.spread_limit(6798) == pytest.approx(67.98)
    assert ends.spread_limit(1000) == 32  # four ADC steps


# ------------------------------------------------------------------ speed


def made_run(v: float, on_s: float, tau: float, noise: float, seed: int = 1) -> speed.Run:
    """A first-order start to speed v; the current falls from 4 A to 1 A with it."""
    draw = random.Random(seed)
    times = [i * 0.01 for i in range(int(on_s / 0.01))]
    places = [v * (t - tau * (1 - math.exp(-t / tau))) + draw.gauss(0, noise) for t in times]
    return speed.Run(times, places, [1.0 + 3.0 * math.exp(-t / tau) for t in times])


def test_steady_speed_and_peaks_of_a_known_run() -> None:
    found = speed.steady(made_run(-8.1, 3.0, 0.06, 0.03), held_s=0.05)
    assert found.speed_mm_s == pytest.approx(8.1, rel=0.01)
    assert found.running_a == pytest.approx(1.0, abs=0.01)
    assert found.peak_a == pytest.approx(4.0)
    assert found.held_peak_a == pytest.approx(1 + 3 * math.exp(-0.05 / 0.06), abs=0.05)


def test_a_short_run_is_refused() -> None:
    with pytest.raises(ValueError, match="too short"):
        speed.steady(made_run(8.1, 0.09, 0.06, 0), held_s=0.05)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_run_on_counts_along_the_way(way: float) -> None:
    line = speed.steady(made_run(way * 10.0, 2.0, 0.05, 0.0), 0.05).line
    stop_s = 1.995
    assert speed.run_on(line, stop_s, line.at(stop_s) + way * 0.4) == pytest.approx(0.4, abs=1e-6)
    assert speed.run_on(line, stop_s, line.at(stop_s) - way * 0.4) == 0.0


# ------------------------------------------------------------------ duty


def test_planning_rests() -> None:
    assert duty.plan(220, 300, 0.25, 1200).rests == 0
    short = duty.plan(320, 300, 0.25, 1200)
    assert (short.rests, short.rest_s) == (1, 920)
    assert duty.plan(1000, 300, 0.25, 1200).rests == 3
    assert math.isinf(duty.stroke_bound_s(100, 0.0))


# ------------------------------------------------------------------ proposal


def learned(**other: object) -> proposal.Learned:
    fields: dict = {
        "range_mm": (0.0, 203.0),
        "spread_mm": 0.1,
        "noise_mm": 0.03,
        "speed_mm_s": (8.1, 8.6),
        "dead_zone": (0.14, 0.13),
        "run_on_mm": (0.3, 0.4),
        "running_a": 1.4,
        "held_peak_a": 1.9,
        "stall": Stall(6.2, 0.7, "scaled from creep, not measured"),
        "brakes": True,
        "fuse_a": 5.0,
        "sensor_top_a": 26.0,
    }
    return proposal.Learned(**(fields | other))


def test_the_proposal_keeps_its_promises() -> None:
    p = proposal.propose(learned())
    assert 0.4 + 0.1 < p.soft_stop_min_mm < 5
    assert 195 < p.soft_stop_max_mm < 203 - 0.3 - 0.1
    assert p.speed_max_mm_s < 8.1
    assert p.trip_a is not None
    assert 1.9 * 1.15 <= p.trip_a <= 0.8 * (6.2 - 0.7)
    assert (p.duty_share, p.duty_window_min) == (0.25, 20)
    assert "not measured" in p.reasons["trip"]
    groups = {"soft stops", "speed, ramps", "trip", "stall time", "duty", "falls behind"}
    assert set(p.reasons) == groups
    assert p.following_mm == pytest.approx(2.0 * p.speed_max_mm_s, abs=1.0)


@pytest.mark.parametrize("load_a", [0.5, 4.0])
def test_the_speed_asked_for_is_one_that_a_warm_motor_reaches(load_a: float) -> None:
    volts, ohms, constant = 12.0, 1.2, 0.9  # V, ohm, V per mm/s: V = I R + K v

    def full(warmth: float) -> float:
        return (volts - load_a * ohms * warmth) / constant

    zone = load_a * ohms / volts
    p = proposal.propose(learned(speed_mm_s=(full(1.0), full(1.0)), dead_zone=(zone, zone)))
    assert proposal.warm_speed(full(1.0), zone) == pytest.approx(full(1.15))
    assert 0.9 * full(1.15) < p.speed_max_mm_s < full(1.15)


def test_an_unknown_stall_is_said() -> None:
    p = proposal.propose(learned(stall=None))
    assert "stall unknown" in p.reasons["trip"]
    assert any("unknown" in warning for warning in p.warnings)


def test_no_trip_above_the_fuse_or_the_sensor() -> None:
    assert proposal.propose(learned(fuse_a=2.5)).trip_a == 2.5
    assert proposal.propose(learned(sensor_top_a=2.2)).trip_a == 2.2
    low = proposal.propose(learned(fuse_a=1.0))
    assert any("at or below the running peak" in warning for warning in low.warnings)


def test_a_coasting_driver_gets_more_room_and_a_warning() -> None:
    braking, coasting = proposal.propose(learned()), proposal.propose(learned(brakes=False))
    assert coasting.soft_stop_max_mm < braking.soft_stop_max_mm
    assert any("no promise" in warning for warning in coasting.warnings)


def test_no_room_is_an_error_not_a_proposal() -> None:
    with pytest.raises(ValueError, match="no room"):
        proposal.propose(learned(range_mm=(0.0, 20.0), run_on_mm=(9.0, 9.0)))


def test_no_sensor_no_trip() -> None:
    p = proposal.propose(learned(running_a=None, held_peak_a=None, stall=None))
    assert p.trip_a is None
    assert "no trip" in p.reasons["trip"]
