"""The voltage of a rod without a label, guessed from runs at low voltage, against machines whose
voltage is known."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.emulator.plant import Rod
from rodbench.emulator.random_plants import full_speed, random_machine
from rodbench.science.rated import Guess, Motor, guess, motor
from rodbench.science.stall import Point

SHARES = (0.3, 0.45)  # of the true voltage: what a careful person would have tried so far


def points(rod: Rod, volts: float, blind: bool = False) -> list[Point]:
    """Steady runs both ways, by the plant's own relations; `blind` without a current sensor."""
    found = []
    for share in SHARES:
        for sense in (1, -1):
            at = share * volts
            speed = full_speed(rod, at, sense)
            current = (at - rod.motor.constant_v_s_per_mm * speed) / rod.motor.resistance_ohm
            if speed > 0.0:
                found.append(Point(at, 0.0 if blind else current, speed))
    return found


def guesses(blind: bool, count: int = 150) -> list[tuple[float, Guess]]:
    """(true voltage, guess) of machines whose figures are random."""
    seen = []
    for seed in range(count):
        machine = random_machine(seed)
        volts = 12.0 if machine.supply.volts < 20.0 else 24.0
        seen.append((volts, guess(motor(points(machine.rods[1], volts, blind)))))
    return seen


@pytest.mark.parametrize("blind", [False, True])
def test_the_true_voltage_is_among_the_plausible_and_the_safe_one_never_above_it(
    blind: bool,
) -> None:
    told = guesses(blind)
    assert sum(volts in found.plausible for volts, found in told) >= 0.95 * len(told)
    assert sum(found.safe_v > volts for volts, found in told) <= 0.01 * len(told)


def test_a_sure_guess_is_right_in_nineteen_of_twenty_and_most_are_sure() -> None:
    sure = Counter(volts == found.volts for volts, found in guesses(False) if found.sure)
    assert sure[True] >= 19 * sure[False]
    assert sure.total() >= 75


def test_without_a_current_the_guess_is_less_often_sure() -> None:
    assert sum(g.sure for _, g in guesses(True)) < sum(g.sure for _, g in guesses(False))


@given(
    ohms=st.floats(0.5, 30.0),
    constant=st.floats(0.1, 10.0),
    currents=st.tuples(st.floats(0.1, 2.0), st.floats(0.1, 2.0)),
    speeds=st.tuples(st.floats(1.0, 5.0), st.floats(8.0, 60.0)),
)
def test_the_motor_comes_back_from_points_on_its_line(
    ohms: float, constant: float, currents: tuple[float, float], speeds: tuple[float, float]
) -> None:
    line = [
        Point(ohms * amps + constant * speed, amps, speed) for amps in currents for speed in speeds
    ]
    found = motor(line)
    assert found.resistance_ohm == pytest.approx(ohms, rel=1e-6)
    assert found.constant_v_s_per_mm == pytest.approx(constant, rel=1e-6)
    assert found.stall_a(12.0) == pytest.approx(12.0 / ohms, rel=1e-6)


def test_runs_that_tell_nothing_are_refused() -> None:
    with pytest.raises(ValueError, match="too close together"):
        motor([Point(3.0, 0.5, 2.0), Point(3.1, 0.5, 2.1)])
    with pytest.raises(ValueError, match="motor's line"):
        motor([Point(6.0, 0.5, 2.0), Point(3.0, 0.5, 9.0)])


def test_the_reasons_name_both_voltages_and_what_was_seen() -> None:
    found = guess(Motor(2.0, 1.2, 1.5))
    assert found.volts == 12.0
    assert any("at 12 V 12 %" in reason and "at 24 V 6.2 %" in reason for reason in found.reasons)
    assert len(found.reasons) == 3
    assert len(guess(Motor(None, 1.2, 1.5)).reasons) == 2
