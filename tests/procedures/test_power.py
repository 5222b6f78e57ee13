"""Supply, fuse and wire of random machines: whatever is known, nothing dangerous is proposed."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rodbench.science import conductors
from rodbench.science.power import MARGIN, Known, Plan, Rod, plan

amps = st.floats(0.05, 25.0)
metres = st.floats(0.0, 40.0)
WIRES = [*conductors.all_mm2(), *conductors.all_awg()]
SERIES = [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 40]  # ISO 8820-3, type C, from memory


def rods(axis: int) -> st.SearchStrategy[Rod]:
    return st.builds(
        Rod,
        axis=st.just(axis),
        running_a=st.none() | amps,
        stall_a=st.none() | amps,
        trip_a=st.none() | st.floats(0.05, 30.0),
        driver_continuous_a=st.none() | amps,
        driver_peak_a=st.none() | amps,
        wire_m=st.none() | metres,
    )


machines = st.builds(
    Known,
    rods=st.one_of(st.tuples(rods(1)), st.tuples(rods(1), rods(2))),
    supply_v=st.none() | st.floats(5.0, 60.0),
    supply_rated_a=st.none() | amps,
    supply_wire_m=st.none() | metres,
    fuse_a=st.none() | st.floats(0.5, 45.0),
    wire=st.none() | st.sampled_from(WIRES),
    drop_max=st.floats(0.005, 0.2),
    ambient_c=st.floats(-10.0, 80.0),
)


def lost_v(known: Known, wire: conductors.Wire, axis: int) -> float:
    """Volts lost to one motor, by the currents in each piece of wire at 70 deg C; a gauge, whose
    table is of solid wire, stranded 3 % above it."""
    stranded = 1.03 if wire.name.startswith("AWG") else 1.0
    per_m = wire.ohm_per_km / 1000.0 * stranded * (1.0 + 0.00393 * 50.0)
    every = sum(rod.running_a for rod in known.rods)
    own = next(rod for rod in known.rods if rod.axis == axis)
    return 2.0 * per_m * (known.supply_wire_m * every + own.wire_m * own.running_a)


def all_known(known: Known) -> bool:
    needed = [known.supply_v, known.supply_wire_m]
    needed += [value for rod in known.rods for value in (rod.running_a, rod.wire_m)]
    return None not in needed


def carries(made: Plan, wire: conductors.Wire) -> float:
    """Wire rated at 30 deg C, nothing left at 70 deg C, by the square root between."""
    room = min(1.0, max(0.0, (70.0 - made.known.ambient_c) / 40.0))
    return wire.carries_a * room**0.5


@settings(max_examples=400)
@given(known=machines)
def test_nothing_dangerous_is_proposed(known: Known) -> None:
    made = plan(known)
    wires = [each.wire for each in (made.by_mm2, made.by_awg) if each is not None]
    fitted = [] if known.wire is None else [known.wire]
    for wire in [*wires, *fitted]:
        if made.fuse_a is not None:
            assert made.fuse_a <= carries(made, wire) * (1 + 1e-12), "the wire burns first"
    for wire in wires:
        if known.fuse_a is not None:
            assert known.fuse_a <= carries(made, wire) * (1 + 1e-12), (
                "nor for the fuse that is there"
            )
        for rod in known.rods if all_known(known) else ():
            lost = lost_v(known, wire, rod.axis)
            assert lost <= known.drop_max * known.supply_v * (1 + 1e-12)
    running = [rod.running_a for rod in known.rods]
    if made.fuse_a is not None:
        assert 0.75 * made.fuse_a >= sum(running) * (1 - 1e-12)
        assert all(made.fuse_a >= (rod.trip_a or 0.0) for rod in known.rods)
        assert made.fuse_a in (*SERIES, known.fuse_a)
    assert (made.fuse_a is None) or None not in running, "no fuse without the current"


@settings(max_examples=400)
@given(known=machines)
def test_what_cannot_be_is_said(known: Known) -> None:
    made = plan(known)
    said = " ".join(made.problems)
    running = [rod.running_a for rod in known.rods]
    if None not in running and made.fuse_a is None:
        assert "no fuse" in said
    if made.by_mm2 is None and made.by_awg is None and (made.fuse_a or known.fuse_a):
        assert "no wire" in said
    if known.wire and known.fuse_a and known.fuse_a > carries(made, known.wire):
        assert "burns before" in said
    if known.wire and all_known(known):
        lost = max(lost_v(known, known.wire, rod.axis) for rod in known.rods)
        if lost > known.drop_max * known.supply_v * (1 + 1e-9):
            assert "more than the" in said
    if known.fuse_a and None not in running and 0.75 * known.fuse_a < sum(running):
        assert "too small" in said


@settings(max_examples=200)
@given(known=machines)
def test_the_thinnest_that_does(known: Known) -> None:
    """A thinner size of the same series carries too little, or loses too much."""
    made = plan(known)
    for taken, series in (
        (made.by_mm2, conductors.all_mm2()),
        (made.by_awg, conductors.all_awg()),
    ):
        for wire in series:
            if taken is None or wire.area_mm2 >= taken.wire.area_mm2:
                continue
            guarded = max(made.fuse_a or 0.0, known.fuse_a or 0.0)
            thin = carries(made, wire) < guarded
            loses = all_known(known) and any(
                lost_v(known, wire, rod.axis) > known.drop_max * known.supply_v * (1 - 1e-12)
                for rod in known.rods
            )
            assert thin or loses


@settings(max_examples=200)
@given(known=machines)
def test_verdicts(known: Known) -> None:
    made = plan(known)
    running = [rod.running_a for rod in known.rods]
    if None not in running and known.supply_rated_a is not None:
        fits = known.supply_rated_a >= 1.25 * sum(running)
        assert made.supply.word == ("fits" if fits else "too small")
    for rod, verdict in zip(known.rods, made.drivers, strict=True):
        always, peak = rod.driver_continuous_a, rod.driver_peak_a
        if verdict.word == "fits":
            assert always >= 1.25 * rod.running_a
            assert max(always, peak or 0.0) >= rod.stall_a
        if verdict.word == "not known":
            assert None in (always, peak, rod.running_a, rod.stall_a)
    assert MARGIN == 1.25


def test_nothing_known_is_nothing_said() -> None:
    made = plan(Known((Rod(1),)))
    assert (made.fuse_a, made.by_mm2, made.by_awg, made.problems) == (None, None, None, ())
    assert (made.supply.word, made.drivers[0].word) == ("not known", "not known")


def test_a_machine_by_hand() -> None:
    """Two rods of 1.4 A: 2.8 A / 0.75 = 3.73, but a trip of 4.5 A: 5 A. Class 5, 2 m and 3 m:
    1.0 mm2 at 70 deg C: 2 x 0.02333 x (2 x 2.8 + 3 x 1.4) = 0.457 V, 3.8 % of 12 V, more than
    3 %; 1.5 mm2: 0.0159124 ohm/m, 0.312 V, 2.6 %. AWG 16, 0.0157633 ohm/m, 3 % more as
    stranded: 0.318 V."""
    both = tuple(Rod(axis, "", 1.4, "", 6.0, 4.5, wire_m=3.0) for axis in (1, 2))
    made = plan(Known(both, 12.0, supply_wire_m=2.0))
    assert made.least_fuse_a == 4.5
    assert made.fuse_a == 5.0
    assert made.by_mm2 is not None
    assert made.by_awg is not None
    assert (made.by_mm2.wire.name, made.by_awg.wire.name) == ("1.5 mm2", "AWG 16")
    drop = made.by_mm2.drops[0]
    assert drop.running_hot_v == pytest.approx(0.3119, abs=1e-4)
    assert made.by_awg.drops[0].running_hot_v == pytest.approx(0.3182, abs=1e-4)
    # Stalled: 2 x 0.0159124 x (2 x (6 + 1.4) + 3 x 6) = 1.0439 V.
    assert drop.stall_hot_v == pytest.approx(1.0439, abs=1e-4)
    assert (made.supply.least_a, made.supply.least_peak_a) == (pytest.approx(3.5), 12.0)
