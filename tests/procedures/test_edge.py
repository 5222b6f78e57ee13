"""A pot at the edge of its scale: a rod at its end goes on, a wire in the wrong place is refused
after a nudge, with the board's own supply spared."""

from __future__ import annotations

import pytest
from rodbench.bench import commission, current, edge, polarity
from rodbench.bench.job import Job
from rodbench.bench.label import Label
from rodbench.emulator.plant import Rod
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.errors import ProcedureError
from rodbench.science.edge import AT_BOTTOM, NEAR_TOP, Nudges, follows
from rodbench.science.edge import edge as edge_of

from .harness import Bench

STROKE_MM = 120.0
NUDGE_MM = 5.0


def bench(*, start_mm: float = 60.0, **pot: object) -> Bench:
    rod = Rod(name="rod-1", stroke_mm=STROKE_MM, start_mm=start_mm)
    for name, value in pot.items():
        setattr(rod.pot, name, value)
    return Bench.of(Machine(name="edge", seed=5, supply=Supply(volts=12.2), rods={1: rod}))


def nudged(made: Bench) -> polarity.Polarity:
    """Sensors, nudge, polarity, as commission does it."""
    job = prepared(made)
    return polarity.find(job, edge.leave(job, current.measure(job), STROKE_MM))


def prepared(made: Bench) -> Job:
    job = made.job()
    commission.prepare(job, Label("north", 105.0, STROKE_MM, 0.185, 5.0))
    return job


@pytest.mark.parametrize("start_mm", [20.0, 60.0, 100.0])
@pytest.mark.parametrize("wired", ["wiper-on-supply", "wiper-on-ground"])
def test_a_swapped_wiper_is_refused_after_a_nudge(wired: str, start_mm: float) -> None:
    made = bench(start_mm=start_mm, wired=wired)
    where = "the bottom" if wired == "wiper-on-ground" else "the top"
    with pytest.raises(ProcedureError, match=f"{where} of its scale: wiper and .* swapped"):
        nudged(made)
    assert abs(made.plant.position_mm - start_mm) < NUDGE_MM
    assert made.plant.reference_ma < 12.0, "from the worst place of these, and never nearer"
    assert made.board.digests()["stored"] == 0


@pytest.mark.parametrize("fault", [("pot_open", None), ("pot_short", 1.0), ("pot_short", 0.0)])
def test_open_and_shorted_leads_are_refused_with_the_same_care(
    fault: tuple[str, float | None],
) -> None:
    made = bench()
    job = prepared(made)
    made.emulated.rig.set_fault(fault[0], 1, fault[1])
    made.board.sleep(0.2)
    with pytest.raises(ProcedureError, match=r"open|shorted") as caught:
        edge.leave(job, current.measure(job), STROKE_MM)
    assert "wire --identify" in (caught.value.hint or "")
    assert abs(made.plant.position_mm - 60.0) < NUDGE_MM


@pytest.mark.parametrize(
    ("retracted", "extended", "start_mm"),
    [(0.0, 0.9, 0.0), (0.9, 0.0, STROKE_MM), (0.1, 1.0, STROKE_MM), (1.0, 0.1, 0.0),
     (0.1, 0.97, 119.0), (0.002, 0.9, 0.0)],
)  # fmt: skip
@pytest.mark.parametrize("kind", ["switch", "hard"])
def test_a_rod_that_starts_at_its_end_is_not_called_an_open_lead(
    retracted: float, extended: float, start_mm: float, kind: str
) -> None:
    made = bench(start_mm=start_mm, retracted=retracted, extended=extended)
    made.plant.rod.ends.kind = kind
    found = nudged(made)
    assert found.pot_falls == (extended < retracted)
    assert any("First a nudge" in line for line in made.talk)
    assert any("It follows the rod" in line for line in made.talk)


def test_a_pot_in_the_middle_is_not_nudged() -> None:
    made = bench()
    nudged(made)
    assert not any("nudge" in line for line in made.talk)


def test_a_rod_that_does_not_move_is_said_to_stand() -> None:
    made = bench(start_mm=0.0, retracted=0.0)
    made.plant.set_fault("motor_open", 1.0)
    with pytest.raises(ProcedureError, match="drew no current"):
        nudged(made)
    made = bench(start_mm=60.0, wired="wiper-on-supply")
    made.plant.set_fault("jam", 60.0)
    made.plant.rod.motor.friction_extend_a = made.plant.rod.motor.friction_retract_a = 50.0
    made.plant._resistance()
    with pytest.raises(ProcedureError, match="is it jammed"):
        nudged(made)


FULL = 8184.0


@pytest.mark.parametrize(
    ("raw", "where"),
    [(0, AT_BOTTOM), (24, AT_BOTTOM), (25, ""), (7600, ""), (7700, NEAR_TOP), (8184, NEAR_TOP)],
)
def test_edges(raw: float, where: str) -> None:
    assert edge_of(raw, FULL) == where


@pytest.mark.parametrize(
    ("changes", "moved", "answer"),
    [
        ((0.0, 0.0), 0.0, None),  # it stood
        ((0.3, -0.4), 0.001, None),  # too little to tell
        ((0.3, -0.4), 0.02, False),  # it moved 2 % of the stroke and the pot did not
        ((3.0, -3.0), 0.03, False),  # a fiftieth of what a sound pot does
        ((66.0, -64.0), 0.01, True),
        ((0.0, -64.0), 0.01, True),  # it stood against its end first
        ((64.0, 60.0), 0.01, False),  # twice the same way
        ((4000.0, -4000.0), 0.01, False),  # a jump across the scale
        ((30.0, -30.0), 0.0, None),  # nobody saw it move
    ],
)
def test_whether_a_pot_follows(
    changes: tuple[float, float], moved: float, answer: bool | None
) -> None:
    assert follows(Nudges(changes, 0.3, moved), FULL) is answer
