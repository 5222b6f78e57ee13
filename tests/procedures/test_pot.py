"""`measure pot` against the plant's truth, and its arithmetic against sweeps made up by hand."""

from __future__ import annotations

import math
import random
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rodbench.bench import pot
from rodbench.bench.pot_turns import TURNS
from rodbench.board import AxisSample, Sample
from rodbench.errors import Faulted, Interrupted, ProcedureError
from rodbench.science.pot import (
    Repeat,
    Start,
    Sweep,
    Track,
    Zone,
    behind,
    follow,
    judge,
    lost_at,
    noise_by_place,
    outside,
    repeat,
    zones,
)

from .pots import Seen, Watch, calibrated, clean, loose, machine, measured, settings_of, worn

STROKE_MM = 45.0

# ---------------------------------------------------------------- arithmetic


def track(falls: bool, noise: float = 0.05) -> Track:
    return Track(noise, 0.03, 225.0 if falls else -25.0, 5.0, 195.0)


def made_up(
    way: int, speed: float, track: Track, lost: tuple[float, float], share: float, seed: int
) -> Sweep:
    """A run at 100 Hz that starts within a tenth of a second; a reading without contact falls to a
    third with each tick of 5 ms (470 kohm, 10 nF: exp(-5/4.7))."""
    draw = np.random.default_rng(seed)
    seconds = np.arange(0.0, 190.0 / speed, 0.005)
    gone = speed * (seconds - 0.1 * (1.0 - np.exp(-seconds / 0.1)))
    true = 5.0 + gone if way > 0 else 195.0 - gone
    mm, away = np.empty_like(true), 0.0
    for number, place in enumerate(true):
        touches = not (lost[0] <= place <= lost[1] and draw.random() < share)
        away = abs(place - track.open_mm) if touches else away * math.exp(-5.0 / 4.7)
        mm[number] = track.open_mm + math.copysign(away, place - track.open_mm)
    mm += draw.normal(0.0, track.noise_mm, len(mm))
    return Sweep(way, seconds[::2].tolist(), mm[::2].tolist())


speeds = st.floats(2.0, 25.0)


@settings(max_examples=20, deadline=None)
@given(st.sampled_from([1, -1]), speeds, st.booleans(), st.integers(0, 999))
def test_a_sound_sweep_has_no_lost_reading(way: int, speed: float, falls: bool, seed: int) -> None:
    known = track(falls)
    found = follow(made_up(way, speed, known, (0.0, 0.0), 0.0, seed), known)
    assert lost_at([found]) == []
    noise = [rms for _, _, rms in noise_by_place([found], known)]
    assert 0.8 * known.noise_mm < np.median(noise) < 1.3 * known.noise_mm


@settings(max_examples=20, deadline=None)
@given(
    st.sampled_from([1, -1]),
    speeds,
    st.booleans(),
    st.floats(20.0, 160.0),
    st.floats(2.0, 20.0),
    st.floats(0.1, 0.6),
    st.integers(0, 999),
)
def test_lost_readings_are_found_where_they_are(
    way: int, speed: float, falls: bool, at: float, wide: float, share: float, seed: int
) -> None:
    known = track(falls)
    found = follow(made_up(way, speed, known, (at, at + wide), share, seed), known)
    places = lost_at([found])
    step = speed * 0.01
    assert all(at - 1.0 - step <= p <= at + wide + 1.0 + step for p in places)
    expected = share * wide / step
    assert len(places) >= 0.5 * expected - 3.0
    assert len(places) <= 1.5 * expected + 5.0


def test_a_gap_without_any_contact_is_bridged() -> None:
    known = track(False)
    found = follow(made_up(1, 10.0, known, (80.0, 90.0), 1.0, 4), known)
    (zone,) = zones(lost_at([found]))
    assert zone.from_mm == pytest.approx(80.0, abs=0.6)
    assert zone.to_mm == pytest.approx(90.0, abs=0.6)


def test_places_make_zones() -> None:
    assert zones([]) == []
    found = zones([50.0, 10.0, 11.0, 52.5, 13.9])
    assert found == [Zone(10.0, 13.9, 3), Zone(50.0, 52.5, 2)]


@pytest.mark.parametrize(
    ("places", "verdict", "reason"),
    [
        ([], "clean", None),
        ([Zone(180.0, 183.0, 9)], "avoid", "zone"),
        ([Zone(95.0, 105.0, 9)], "replace", "too little left"),
        ([Zone(20.0, 21.0, 2), Zone(60.0, 61.0, 2), Zone(180.0, 181.0, 2)], "replace", "many"),
        ([Zone(140.0, 190.0, 99)], "replace", "wide"),
    ],
)
def test_the_verdict(places: list[Zone], verdict: str, reason: str | None) -> None:
    health = judge(places, [], None, track(False))
    assert health.verdict == verdict
    assert reason is None or any(reason in r for r in health.reasons)


def test_soft_stops_leave_the_zone_out() -> None:
    low, high = outside([Zone(150.0, 160.0, 5)], track(False))
    assert (low, high) == (5.0, 149.0)
    assert outside([Zone(30.0, 40.0, 5)], track(False)) == (41.0, 195.0)


def test_scatter_and_noise_have_limits() -> None:
    quiet = [(float(n), n + 1.0, 0.1) for n in range(9)]
    loud = [*quiet, (9.0, 10.0, 0.5)]
    assert judge([], quiet, Repeat(1.0, 0.5, 0.0, 30), track(False)).verdict == "clean"
    assert judge([], quiet, Repeat(0.0, 1.5, 0.0, 30), track(False)).reasons == ("scatter",)
    assert judge([], loud, None, track(False)).reasons == ("noisy part",)
    assert judge([], quiet, None, track(False), blocked_at_mm=3.0).reasons == ("blocked",)


def test_how_far_a_line_lies_behind() -> None:
    # 10 mm/s from 0.2 s on: drawn back to 0 it is 2 mm behind.
    seconds = [n / 100 for n in range(120)]
    mm = [50.0 - max(0.0, 10.0 * (t - 0.2)) for t in seconds]
    assert behind(Sweep(-1, seconds, mm), 50.0, 0.0, 3.0) == pytest.approx((2.0, 0.0), abs=1e-9)
    # Alternating by 0.1 mm: sigma 0.1 of a point; the intercept's error as in any textbook.
    ragged = [m + 0.1 * (-1) ** n for n, m in enumerate(mm)]
    error = behind(Sweep(-1, seconds, ragged), 50.0, 0.0, 3.0)[1]
    t = np.array(seconds[50:])
    expected = 0.1 * math.sqrt(1 / 70 + t.mean() ** 2 / (70 * t.var()))
    assert error == pytest.approx(expected, rel=0.1)
    with pytest.raises(ValueError, match="too short"):
        behind(Sweep(-1, seconds, mm), 50.0, 0.0, 20.0)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.0, 2.0), st.floats(0.0, 1.0), st.integers(0, 9999))
def test_play_and_scatter_from_starts_made_by_hand(play: float, rms: float, seed: int) -> None:
    draw, starts = random.Random(seed), []
    own = {1: 1.3, -1: 0.9}
    for way in (1, 1, 1, -1, -1, -1):
        starts.append(Start(way, False, own[way]))
    before = 0.0
    for number in range(40):
        way, now = (1, -1)[number % 2], draw.gauss(0.0, rms)
        starts.append(Start(way, True, own[way] + play - way * (now - before)))
        before = now
    found = repeat(starts)
    # Five sigma of the mean of 40 pairs, and of a standard deviation of 38 degrees of freedom.
    assert found.play_mm == pytest.approx(play, abs=5.0 * 2.0 * rms / math.sqrt(40) + 1e-6)
    assert found.scatter_mm == pytest.approx(rms, abs=5.0 * rms / math.sqrt(2 * 38) + 1e-6)


def test_the_stated_error_of_the_play_is_one_sigma() -> None:
    """Of 300 sets of starts made by hand, 95 % lie within 1.96 of it: 273 to 296 by chance
    (binomial, 99.8 %)."""
    draw, inside = random.Random(5), 0
    for _ in range(300):
        starts = [Start(w, False, draw.gauss(1.0, 0.02), 0.02) for w in (1, 1, 1, -1, -1, -1)]
        before = draw.gauss(0.0, 0.1)
        for number in range(TURNS):
            way, now = (1, -1)[number % 2], draw.gauss(0.0, 0.1)
            lag = draw.gauss(1.0, 0.02) + 0.5 - way * (now - before)
            starts.append(Start(way, True, lag, 0.02))
            before = now
        found = repeat(starts)
        inside += abs(found.play_mm - 0.5) <= 1.96 * found.play_error_mm
    assert 273 <= inside <= 296


def test_too_few_starts_tell_nothing() -> None:
    with pytest.raises(ValueError, match="too few"):
        repeat([Start(1, False, 1.0), Start(-1, True, 1.0)])


# ---------------------------------------------------------------- on emulated rods


def assert_put_back(seen: Seen) -> None:
    """Settings as before, soft stops kept, the rod at rest."""
    bench = seen.bench
    live = bench.board.read_scope(1)
    assert {k: live[k] for k in settings_of(bench)} == settings_of(bench)
    assert bench.board.digests()["stored"] == 0, "nothing is stored"
    low, high = seen.report.track.low_mm, seen.report.track.high_mm
    assert low - 0.6 <= seen.furthest_mm[0]
    assert seen.furthest_mm[1] <= high + 0.6
    assert bench.plant.speed_mm_s == 0.0


@pytest.mark.parametrize("seed", [1, 3])
def test_a_worn_zone_is_found_within_two_mm(seed: int) -> None:
    seen = measured(worn(seed, STROKE_MM))
    true = seen.rod.pot
    assert len(seen.found) == 1
    assert seen.found[0][0] == pytest.approx(true.worn_from_mm, abs=2.0)
    assert seen.found[0][1] == pytest.approx(true.worn_to_mm, abs=2.0)
    health = seen.report.health
    assert health.verdict in ("avoid", "replace")
    if health.stops_mm:
        low, high = health.stops_mm
        assert high < true.worn_from_mm or low > true.worn_to_mm
    assert_put_back(seen)


def test_a_worn_zone_of_a_bent_pot_is_where_its_table_has_it() -> None:
    """Bent by 8 %, it reads 3.6 mm aside in the middle."""
    made = machine(1, STROKE_MM, worn_from_mm=20.0, worn_to_mm=24.0, worn_share=0.3, bow=0.08)
    bench = calibrated(made)
    stroke_mm = made.rods[1].stroke_mm
    table = {"table_points": 3} | {
        f"table_{key}_{n}": value
        for n in (1, 2, 3)
        for key, value in (
            ("raw", round(bench.true_raw(n / 4 * stroke_mm))),
            ("place", round(65536 * n / 4)),
        )
    }
    bench.board.write_scope(1, table)
    (zone,) = pot.measure(bench.job()).zones
    assert zone.from_mm == pytest.approx(20.0, abs=2.0)
    assert zone.to_mm == pytest.approx(24.0, abs=2.0)


@pytest.mark.parametrize("seed", [1, 5, 8])
def test_a_sound_pot_is_called_clean(seed: int) -> None:
    seen = measured(clean(seed, STROKE_MM))
    assert seen.report.health.verdict == "clean"
    assert seen.report.stops == 0
    assert seen.report.repeat is not None
    assert seen.report.repeat.scatter_mm < 0.15
    assert_put_back(seen)


@pytest.mark.parametrize("seed", [1, 3])
def test_scatter_and_play_are_told_apart(seed: int) -> None:
    seen = measured(loose(seed, STROKE_MM))
    found = seen.report.repeat
    assert found is not None
    assert found.reversals >= TURNS - 2
    assert found.scatter_mm == pytest.approx(seen.scatter_mm, rel=0.30)
    true = seen.rod.screw.backlash_mm
    assert found.play_mm == pytest.approx(true, abs=0.1 + 5.0 * seen.scatter_mm / math.sqrt(TURNS))
    assert seen.found == [], "neither is taken for lost contact"


@pytest.mark.parametrize("seed", [3, 6])
def test_a_place_without_any_contact(seed: int) -> None:
    """Passed by time where there is room for it, else the way is barred; never past a soft stop."""
    seen = measured(machine(seed, STROKE_MM, worn_from_mm=20.0, worn_to_mm=26.0, worn_share=1.0))
    report, said = seen.report, " ".join(pot.sentences(seen.bench.job(), seen.report))
    assert report.health.verdict == "replace", "less than half of the way is left beside it"
    assert min(z.from_mm for z in report.zones) == pytest.approx(20.0, abs=2.0)
    assert ("blocked" in report.health.reasons) == ("cannot drive it past" in said)
    assert report.stuck == ("push it on by hand" in said)
    if report.stuck:
        assert 19.0 <= seen.bench.plant.position_mm <= 27.0
    else:
        assert max(z.to_mm for z in report.zones) == pytest.approx(26.0, abs=2.0)
    assert_put_back(seen)


def test_a_dead_place_up_to_the_end_is_not_crept_through() -> None:
    """Nothing tells the rod's place there: by its time it could be at the soft stop, and rests."""
    seen = measured(machine(4, STROKE_MM, worn_from_mm=25.0, worn_to_mm=45.0, worn_share=0.55))
    assert seen.report.health.verdict == "replace"
    assert "blocked" in seen.report.health.reasons
    assert_put_back(seen)


@pytest.mark.parametrize("seed", [1, 4])
def test_an_axis_that_is_not_calibrated_is_swept_from_end_to_end(seed: int) -> None:
    bench = calibrated(worn(seed, STROKE_MM))
    job, true = bench.job(), bench.machine.rods[1].pot
    job.uncalibrate()
    report = pot.measure(job)
    (zone,) = report.zones
    assert zone.from_mm == pytest.approx(true.worn_from_mm, abs=2.0)
    assert zone.to_mm == pytest.approx(true.worn_to_mm, abs=2.0)
    assert (report.track.low_mm, report.track.high_mm) == pytest.approx(
        (0.0, bench.machine.rods[1].stroke_mm)
    )
    assert bench.board.read_scope(1)["calibrated"] == 0
    assert bench.plant.speed_mm_s == 0.0


def test_a_guard_that_is_not_the_pots_is_not_passed_over() -> None:
    bench = calibrated(clean(1, STROKE_MM))
    bench.emulated.rig.set_fault("motor_open", 1)
    with pytest.raises(Faulted, match="no current"):
        pot.measure(bench.job())


def test_the_cost_is_said_first_and_the_result_kept() -> None:
    bench = calibrated(clean(2, STROKE_MM))
    watch, job = Watch(bench), bench.job()
    kept: list[tuple[str, Any]] = []
    job.record = lambda kind, fields: kept.append((kind, fields))
    planned = pot.planned_s(job)
    report = pot.measure(job)
    assert watch.on * 0.005 == pytest.approx(planned, rel=0.35)
    said = [n for n, line in enumerate(bench.talk) if "Planned" in line]
    caution = [n for n, line in enumerate(bench.talk) if "crush a hand" in line]
    assert said[0] < caution[0]
    assert kept == [("measure pot", {"axis": 1, "found": report})]


def test_what_it_needs_before_it_moves() -> None:
    bench = calibrated(clean(1, STROKE_MM))
    job = bench.job(caution_creep="no")
    with pytest.raises(ProcedureError, match="caution"):
        pot.measure(job)
    job = bench.job(mounting="mounted")
    job.uncalibrate()
    with pytest.raises(ProcedureError, match=r"not calibrated.*mounted"):
        pot.measure(job)
    job.commit({"feedback": 0})
    with pytest.raises(ProcedureError, match="no pot"):
        pot.measure(job)
    assert bench.plant.position_mm == pytest.approx(bench.machine.rods[1].start_mm)


def test_a_key_in_a_dead_place_stops_the_rod_and_puts_calibration_back() -> None:
    bench = calibrated(worn(1, STROKE_MM))
    pressed = []

    def hear(sample: Sample) -> None:
        if (
            isinstance(sample, AxisSample)
            and not sample.calibrated
            and sample.output
            and not pressed
        ):
            pressed.append(sample.tick)
            raise Interrupted("a key was pressed")

    bench.board.listeners.append(hear)
    with pytest.raises(Interrupted):
        pot.measure(bench.job())
    assert pressed
    bench.board.sleep(0.5)
    assert bench.plant.speed_mm_s == 0.0
    assert bench.board.read_scope(1)["calibrated"] == 1
