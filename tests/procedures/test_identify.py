"""Unknown wires: right in all wirings where the readings decide, never wrong in the others."""

from __future__ import annotations

import math
import random
from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rodbench.science.identify import Battery, Identification, Move
from rodbench.science.wirings import Kind, Part, Probe, Reading, part_fits, wirings

from .meter import OPEN, Wires, arrangements, identify, measured, wrong

PLACES = (0.0, 0.02, 0.3, 0.5, 0.97, 1.0)
FIVE = arrangements("MmABW")


@pytest.mark.parametrize("place", PLACES)
def test_every_wiring_of_a_five_wire_rod(place: float) -> None:
    draw = random.Random(f"five {place}")
    for order in FIVE:
        end = draw.choice(("open", "diode", "whole"))
        wires = Wires(order, place=place, at_end=end, motor_ohm=draw.choice((0.4, 6.0, 55.0)))
        found = identify(wires, lambda: draw.choice((-0.1, 0.0, 0.1)))
        verdict = found.verdict()
        assert wrong(verdict, order) == []
        assert verdict.decided
        assert found.asked <= 12


def test_the_worst_corners_of_the_meter_decide_at_mid_stroke() -> None:
    for errors in product((-0.1, 0.1), repeat=7):
        for place in (0.3, 0.5):
            left = list(errors)
            wires = Wires("AmWMB", place=place)
            found = identify(wires, lambda left=left: left.pop(0) if left else 0.1)
            assert wrong(found.verdict(), wires.roles) == []
            assert found.verdict().decided
            assert found.place == 0, "no need to move the rod"


@pytest.mark.parametrize("place", [0.0, 0.02, 0.97, 1.0])
def test_near_an_end_the_wiper_is_left_open_when_the_rod_stays(place: float) -> None:
    for order in FIVE[::7]:
        found = identify(Wires(order, place=place, at_end="whole"), movable=False)
        verdict = found.verdict()
        assert wrong(verdict, order) == []
        assert verdict.wiper is None
        assert verdict.track
        assert verdict.motor
        assert not verdict.decided


def test_a_motor_at_its_end_switch_is_not_claimed_without_evidence() -> None:
    found = identify(Wires("WMABm", place=1.0, at_end="open"), movable=False)
    assert found.verdict().motor == (1, 4)
    assert found.verdict().motor_by_elimination
    assert not found.verdict().decided
    moved = identify(Wires("WMABm", place=1.0, at_end="open"))
    assert moved.verdict().decided


@pytest.mark.parametrize("roles", ["Mm", "MmX", "MmSs", "MmXX", "MmVGO"])
@pytest.mark.parametrize("place", [0.0, 0.3, 1.0])
def test_few_wires(roles: str, place: float) -> None:
    draw = random.Random(f"{roles} {place}")
    for order in arrangements(roles):
        end = draw.choice(("open", "diode", "whole"))
        wires = Wires(order, place=place, at_end=end, sensor_seed=draw.randrange(99))
        verdict = identify(wires, lambda: draw.uniform(-0.1, 0.1)).verdict()
        assert wrong(verdict, order) == []
        assert verdict.sensor == (() if "V" not in roles else verdict.sensor)
        if "S" in roles:
            assert len(verdict.switches) == 1, "seen closed at one of the places"
        if "V" in roles:
            assert len(verdict.sensor) == 3


@pytest.mark.parametrize("roles", ["MmABWX", "MmABWSs", "MmSsTt", "MmVGOP"])
def test_six_and_seven_wires(roles: str) -> None:
    draw = random.Random(roles)
    for _ in range(12):
        order = tuple(draw.sample(roles, len(roles)))
        place = draw.choice((*PLACES, draw.random()))
        wires = Wires(order, place=place, at_end=draw.choice(("open", "diode", "whole")))
        verdict = identify(wires, lambda: draw.uniform(-0.1, 0.1)).verdict()
        assert wrong(verdict, order) == []
        assert verdict.motor is not None
        assert (verdict.wiper is not None) == ("W" in roles)


@pytest.mark.parametrize("roles", ["VGO", "VGOP"])
def test_a_sensor_with_pull_ups_is_no_pot(roles: str) -> None:
    """Two pull-ups to one supply read like a pot with its wiper in the middle."""
    for order in arrangements("Mm" + roles)[:: 3 if len(roles) == 3 else 30]:
        for seed in range(3):
            wires = Wires(order, pull_up_ohm=4_700.0, sensor_seed=seed)
            verdict = identify(wires).verdict()
            assert verdict.pot_ends is None
            assert verdict.wiper is None
            assert wrong(verdict, order) in ([], ["said to fit nothing"])


def test_eight_wires() -> None:
    roles = tuple(random.Random(8).sample("MmABWSsX", 8))
    verdict = identify(Wires(roles, place=0.31)).verdict()
    assert wrong(verdict, roles) == []
    assert verdict.motor
    assert verdict.wiper is not None


def test_the_pot_alone_when_the_motor_is_known() -> None:
    for order in arrangements("ABW"):
        found = identify(Wires(order, place=0.4), motor=False)
        assert wrong(found.verdict(), order) == []
        assert found.verdict().decided
        assert found.asked == 5, "three pairs, and two of them with the probes changed"


def test_no_reading_is_asked_twice_and_the_least_is_not_far() -> None:
    """Six readings prove a five-wire rod: three of the pot, two of those changed, the motor."""
    counts = []
    for order in FIVE:
        found = identify(Wires(order, place=0.35))
        assert len(found.readings) == found.asked
        counts.append(found.asked)
    assert min(counts) == 6
    assert sum(counts) / len(counts) < 8.0
    assert max(counts) <= 9


def test_six_readings_are_the_least_that_prove_a_five_wire_rod() -> None:
    """Every smaller choice of readings leaves a second wiring, or a motor that nobody saw."""
    wires = Wires("MmABW", place=0.35)
    probes = [Probe(0, a, b) for a in range(5) for b in range(5) if a != b]
    useful = [p for p in probes if math.isfinite(wires.ohm(p.red, p.black))]
    for choice in combinations(useful, 5):
        found = Identification(5)
        for probe in choice:
            found.read(probe, measured(wires.ohm(probe.red, probe.black), 0.0, 0.3))
        assert not found.verdict().decided


def test_readings_that_fit_nothing_are_said_to() -> None:
    found = Identification(5)
    for pair in combinations(range(4), 2):
        found.read(Probe(0, *pair), Reading(5.0))
    assert found.next() is None
    assert not found.verdict().fits


def test_a_battery_is_never_asked_for_on_wires_that_conduct() -> None:
    draw = random.Random(3)
    for _ in range(40):
        order = tuple(draw.sample("MmABWX", 6))
        wires = Wires(order, place=draw.choice((0.0, 1.0)), at_end="open")
        found = Identification(6)
        while (step := found.next()) is not None:
            if isinstance(step, Probe):
                found.read(step, measured(wires.ohm(step.red, step.black), 0.0, 0.3))
            elif isinstance(step, Battery):
                assert not set(step.wires) & {order.index(r) for r in "ABW"}
                found.battery(step.wires, wires.battery_moves(step.wires))
            else:
                assert isinstance(step, Move)
                assert {order[w] for w in step.wires} == {"M", "m"}, "only the motor is driven"
                wires.move()
                found.moved()


resistor = st.floats(1_100.0, 90_000.0)
error = st.floats(-0.1, 0.1)


@settings(max_examples=60, deadline=None)
@given(resistor, st.floats(0.0, 1.0), st.lists(error, min_size=6, max_size=6))
def test_a_true_pot_is_never_ruled_out(ohm: float, place: float, errors: list[float]) -> None:
    wires = Wires("ABW", pot_ohm=ohm, place=place)
    probes = [Probe(0, a, b) for a in range(3) for b in range(3) if a != b]
    readings = {
        probe: measured(wires.ohm(probe.red, probe.black), error, 0.5)
        for probe, error in zip(probes, errors, strict=True)
    }
    assert part_fits(Part(Kind.POT, (0, 1, 2)), readings)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_whatever_the_rod_nothing_wrong_is_said(data: st.DataObject) -> None:
    roles = data.draw(st.sampled_from(["Mm", "MmX", "MmSs", "MmABW", "MmVGO", "MmABWX"]))
    order = tuple(data.draw(st.permutations(roles)))
    wires = Wires(
        order,
        place=data.draw(st.one_of(st.sampled_from(PLACES), st.floats(0.0, 1.0))),
        motor_ohm=data.draw(st.floats(0.25, 59.0)),
        pot_ohm=data.draw(resistor),
        at_end=data.draw(st.sampled_from(["whole", "open", "diode"])),
        sensor_seed=data.draw(st.integers(0, 999)),
        later=data.draw(st.lists(st.floats(0.0, 1.0), max_size=3)),
        leads=data.draw(st.floats(0.0, 0.5)),
    )
    draw = random.Random(data.draw(st.integers(0, 999)))
    found = identify(wires, lambda: draw.uniform(-0.1, 0.1), data.draw(st.booleans()))
    mistakes = wrong(found.verdict(), order)
    assert mistakes == [] or (mistakes == ["said to fit nothing"] and "V" in order)


def test_wirings_are_counted_once_each() -> None:
    # By hand: 1; 3 motors; 6 motors x (a contact or none); 10 x (nothing, 3 contacts, a sensor,
    # 3 pots).
    for count, expected in ((2, 1), (3, 3), (4, 12), (5, 80)):
        made = list(wirings(count))
        assert len({frozenset(w) for w in made}) == len(made) == expected


def test_a_pot_with_a_broken_wire_is_not_called_a_sensor() -> None:
    class Broken(Wires):
        def ohm(self, red: int, black: int) -> float:
            wiper = "W" in (self.roles[red], self.roles[black])
            return OPEN if wiper else super().ohm(red, black)

    for order in FIVE[::11]:
        verdict = identify(Broken(order)).verdict()
        assert verdict.sensor == ()
        assert verdict.pot_ends is None
        assert not verdict.decided
