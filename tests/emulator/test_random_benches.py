"""Random benches: everything is drawn, what is said of them is true, and they read back."""

import pytest
from rodbench.emulator.plant_file import dump, parse
from rodbench.emulator.plant_keys import DRIVERS
from rodbench.emulator.random_benches import (
    HELD,
    MOUNT,
    NO_END,
    TIMED,
    WIPER,
    RandomBench,
    random_bench,
)

BENCHES = [random_bench(seed) for seed in range(400)]


def test_everything_that_a_bench_can_be_is_drawn() -> None:
    def seen(what: object) -> set[object]:
        return {what(bench) for bench in BENCHES}  # type: ignore[operator]

    assert seen(lambda b: b.rod.driver.kind) == set(DRIVERS)
    assert seen(lambda b: b.rod.sensor.kind) == {"none", "one-sided", "centred"}
    assert seen(lambda b: b.rod.ends.kind) == {"switch", "hard", "clutch"}
    for choice in (
        lambda b: b.rod.sensor.ratiometric,
        lambda b: b.two_wires,
        lambda b: b.rod.mount.fitted,
        lambda b: b.rod.motor.reversed,
        lambda b: b.rod.pot.extended > b.rod.pot.retracted,
        lambda b: b.rod.pot.worn,
        lambda b: b.rod.pot.repeat_mm > 0,
        lambda b: b.rod.start_mm in (0.0, b.rod.stroke_mm),
        lambda b: b.stop_by == "brake",
        lambda b: b.units == "in",
        lambda b: b.axis == 2,
        lambda b: bool(b.lie),
    ):
        assert seen(choice) == {True, False}
    wired = {"right", "wiper-on-supply", "wiper-on-ground"}
    assert seen(lambda b: b.rod.pot.wired) == wired
    assert len({bench.lie for bench in BENCHES}) == 7
    assert len({bench.row for bench in BENCHES}) > 15


@pytest.mark.parametrize("bench", BENCHES[:60], ids=lambda bench: str(bench.seed))
def test_a_bench_reads_back_and_stays_as_it_is(bench: RandomBench) -> None:
    assert parse(dump(bench.machine), "bench") == bench.machine
    assert random_bench(bench.seed) == bench


def test_nobody_calls_a_mounted_rod_free() -> None:
    for bench in BENCHES:
        rod, mount = bench.rod, bench.rod.mount
        assert bench.facts["mounting"] == ("mounted" if mount.fitted else "bench")
        if mount.fitted:
            inside = (mount.max_mm or rod.stroke_mm) - mount.min_mm
            assert rod.start_mm > mount.min_mm + 0.2 * inside
            assert rod.start_mm < mount.min_mm + 0.8 * inside


def test_drivers_stand_where_they_can() -> None:
    for bench in BENCHES:
        assert list(bench.machine.rods) == [bench.axis]
        if bench.rod.driver.kind == "two-pwm-inputs":
            assert bench.axis == 1
        if bench.rod.driver.kind == "pwm-and-one-direction-line":
            assert bench.stop_by == bench.rod.driver.pwm_low


def test_what_may_be_said_follows_from_what_is_true() -> None:
    for bench in BENCHES:
        assert bench.allowed
        if bench.lie:
            continue
        assert (WIPER in bench.allowed) == (bench.rod.pot.wired != "right")
        if bench.two_wires and not bench.rod.mount.fitted:
            sees = bench.rod.sensor.kind != "none"
            assert bench.allowed - {NO_END} == {TIMED if sees else HELD}
        assert MOUNT not in bench.allowed or bench.rod.mount.fitted


def test_few_ends_are_beyond_what_the_current_can_show() -> None:
    hidden = [bench for bench in BENCHES if NO_END in bench.allowed]
    assert 0 < len(hidden) < 0.03 * len(BENCHES)
    for bench in hidden:
        assert bench.rod.ends.kind != "switch"
        assert TIMED in bench.allowed


def test_what_a_person_says_is_what_is_there_unless_wrong() -> None:
    for bench in BENCHES:
        facts, rod = bench.facts, bench.rod
        if "pot" not in bench.lie:
            assert facts["wires"] == ("motor only" if bench.two_wires else "motor + pot")
        if "sensor" not in bench.lie:
            assert facts["current_sensor"] == rod.sensor.kind
        else:
            assert facts["current_sensor"] != rod.sensor.kind
        assert facts["driver"] == rod.driver.kind
        assert facts["retracted_pin_to_pin"].endswith(bench.units)
