"""`compare` on strokes made up by hand, and on proof runs of an emulated rod."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rodbench.bench import proof
from rodbench.bench.compared import compared
from rodbench.bench.compared import taken as of_run
from rodbench.bench.proof_required import Agreed
from rodbench.emulator.random_plants import random_machine
from rodbench.errors import ProcedureError
from rodbench.record import runs
from rodbench.record.runs import Run, Writer
from rodbench.science.compare import Comparison, compare
from rodbench.science.stroke_figures import Recorded, figures
from rodbench.science.taken import Taken

from .compare import EXPECTED, Seen, changed, proven
from .harness import Bench
from .pots import settings_of

# ---------------------------------------------------------------- made up by hand

WAY_MM, REST_S, STEP_S = 100.0, 0.6, 0.01


def made(
    way: int,
    output: float,
    draw: np.random.Generator,
    *,
    constant: float = 1.0,
    source: float = 0.1,
    friction: float = 1.0,
    bump: float = 0.0,
    supply: float = 12.0,
    ohm: float = 1.5,
) -> Recorded:
    """A run over 100 mm, by V = I R + K w with the supply sagging by its own resistance. `bump` is
    a share of the friction, from 60 to 70 mm."""
    place = 0.0 if way > 0 else WAY_MM
    rows = []
    rest, after, done = round(REST_S / STEP_S), 0, False
    for number in range(100_000):
        on = number >= rest
        amps = friction / constant * (1.0 + (bump if 60.0 <= place <= 70.0 else 0.0))
        volts = supply - source * amps * output if on else supply
        speed = (output * volts - ohm * amps) / constant if on else 0.0
        place += way * speed * STEP_S * (not done)
        done = not 0.0 <= place <= WAY_MM
        noise = draw.normal(0.0, (0.02, 0.01, 0.01))
        on = on and not done
        drive = 1000.0 * way * output if on else 0.0
        drawn = (amps if on else 0.0) + noise[1]
        rows.append((number * STEP_S, place + noise[0], drawn, drive, volts + noise[2]))
        after += done
        if after > rest:
            break
    table = np.array(rows)
    return Recorded(way, *(table[:, n] for n in range(5)))


def taken(seed: int, shift_mm: tuple[float, float] = (0.0, 0.0), **changes: float) -> Taken:
    """Two fast runs each way and a slow one, and the ends found twice."""
    draw = np.random.default_rng(seed)
    fast = [made(way, 0.9, draw, **changes) for _ in range(2) for way in (1, -1)]
    slow = [made(way, 0.4, draw, **changes) for way in (1, -1)]
    ends = [list(at + draw.normal(0.0, 0.03, 2)) for at in (shift_mm[0], WAY_MM + shift_mm[1])]
    return Taken((), fast, slow, (ends[0], ends[1]), WAY_MM, 0.8, 0.028)


BASELINE = taken(1)


def kinds(found: Comparison) -> list[str]:
    return [finding.kind for finding in found.findings]


def test_unchanged_strokes_bring_no_finding_in_twenty_pairs() -> None:
    assert [kinds(compare(taken(2 * n + 10), taken(2 * n + 11))) for n in range(20)] == [[]] * 20


@pytest.mark.parametrize(
    ("changes", "kind", "figure", "value", "allowed"),
    [
        ({"bump": 0.2}, "binding", "at_mm", 65.0, 1.5),
        ({"bump": 0.2}, "binding", "share", 0.2, 0.02),
        ({"bump": -0.2}, "freer", "share", -0.2, 0.02),
        ({"constant": 0.9}, "magnets", "constant_share", -0.1, 0.01),
        ({"constant": 0.9}, "magnets", "current_share", 1 / 0.9 - 1, 0.01),
        ({"source": 0.3}, "source", "change_ohm", 0.2, 0.02),
        ({"source": 0.0}, "source", "change_ohm", -0.1, 0.02),
        ({"friction": 1.2}, "stiffer", "share", 0.2, 0.01),
        ({"friction": 0.8}, "easier", "share", -0.2, 0.01),
        ({"shift_mm": (1.25, 1.25)}, "pot-shift", "of_reference", 0.01, 0.001),
        ({"shift_mm": (-1.25, -1.25)}, "pot-shift", "shift_mm", -1.25, 0.1),
        ({"shift_mm": (-1.0, 1.0)}, "pot-span", "extended_mm", 1.0, 0.1),
        ({"shift_mm": (0.0, 1.0)}, "end-moved", "extended_mm", 1.0, 0.1),
    ],
)
def test_each_change_is_found_with_its_size(
    changes: dict[str, float], kind: str, figure: str, value: float, allowed: float
) -> None:
    found = compare(BASELINE, taken(7, **changes))
    (finding,) = [one for one in found.findings if one.kind == kind]
    assert finding.figures[figure] == pytest.approx(value, abs=allowed)
    # Friction slows the rod as well; nothing else brings a second word.
    assert set(kinds(found)) - {kind} <= {"slower", "faster"}


def test_another_supply_voltage_is_no_change_of_the_rod() -> None:
    for volts in (11.4, 12.6):
        assert kinds(compare(BASELINE, taken(8, supply=volts))) == []


def test_a_warmer_winding_is_neither_weaker_magnets_nor_slower() -> None:
    """20 K more: copper has 8 % more resistance."""
    assert kinds(compare(BASELINE, taken(9, ohm=1.5 * 1.08))) == []


def test_a_motor_that_got_slower_is_told() -> None:
    """Half an ohm in its own leads: the same current, the same volts per speed."""
    assert kinds(compare(BASELINE, taken(9, ohm=2.2))) == ["slower"]


def moved(seed: int, output: float, **changes: float) -> Taken:
    """As `taken`, with a move each way: at full output all the way, or with some to spare."""
    draw = np.random.default_rng(seed)
    moves = [made(way, output, draw, **changes) for way in (1, -1)]
    if output < 1.0:  # the speed is held, by a little more or less
        moves = [replace(m, output_permille=m.output_permille + 5.0 * m.on * np.sin(9.0 * m.t_s))
                 for m in moves]  # fmt: skip
    return replace(taken(seed, **changes), moves=moves)


def test_a_move_that_full_output_just_holds_takes_longer_on_a_lower_supply() -> None:
    """8 % less supply, a tenth more time; told where there is output to spare, or where it is more
    than the supply explains."""
    lower = {"supply": 11.0}
    assert kinds(compare(moved(1, 1.0), moved(2, 1.0, **lower))) == []
    assert kinds(compare(moved(1, 0.8), moved(2, 0.8, **lower))) == ["longer"]
    slow = moved(2, 1.0, **lower)
    stretched = [replace(m, t_s=1.2 * m.t_s) for m in slow.moves]
    assert kinds(compare(moved(1, 1.0), replace(slow, moves=stretched))) == ["longer"]


@pytest.mark.parametrize(
    ("rests", "said"),
    [
        ({1: [1.1], -1: [0.2]}, []),  # within the tolerance of a move, 1 mm
        ({1: [1.4], -1: [0.2]}, [(1.0, 1.2)]),
        ({1: [0.2], -1: [-1.2]}, [(-1.0, -1.4)]),
        ({1: [9.0]}, [(1.0, 8.8)]),
        ({}, []),
    ],
)
def test_where_moves_rest(rests: dict[int, list[float]], said: list[tuple[float, float]]) -> None:
    baseline = replace(BASELINE, rests_mm={1: [0.2], -1: [0.2]})
    found = compare(baseline, replace(taken(6), rests_mm=rests))
    assert set(kinds(found)) <= {"rests"}
    told = [(one.figures["way"], round(one.figures["change_mm"], 6)) for one in found.findings]
    assert told == said
    assert compare(BASELINE, replace(taken(6), rests_mm=rests)).findings == ()


def test_what_cannot_be_looked_at_is_told() -> None:
    later = taken(3)
    assert compare(BASELINE, later).unseen == ()
    assert compare(BASELINE, replace(later, ends_mm=None)).unseen == ("ends",)
    assert compare(BASELINE, replace(later, runs=(), slows=())).unseen == ("strokes",)
    assert compare(BASELINE, replace(later, has_current=False)).unseen == ("currents",)
    assert compare(BASELINE, replace(later, slows=())).unseen == ("motor",)


def test_one_run_each_way_is_enough_for_a_bump() -> None:
    before, after = (replace(t, runs=t.runs[:2], slows=()) for t in (BASELINE, taken(4, bump=0.2)))
    assert "binding" in kinds(compare(before, after))
    assert kinds(compare(before, replace(taken(5), slows=(), runs=taken(5).runs[:2]))) == []


def test_figures_of_a_stroke_are_those_that_made_it() -> None:
    stroke = made(1, 0.9, np.random.default_rng(3))
    found = figures(stroke, 99.0, 0.05)
    volts = 0.9 * (12.0 - 0.1 * 0.9)
    assert found.speed_mm_s == pytest.approx(volts - 1.5, rel=0.01)
    assert found.current_mean_a == pytest.approx(1.0, abs=0.01)
    assert found.current_peak_a == pytest.approx(1.0, abs=0.03)
    assert found.sag_v == pytest.approx(0.09, abs=0.005)
    assert found.on_s == pytest.approx(100.0 / (volts - 1.5), abs=0.05)
    assert found.beyond_mm == pytest.approx(1.0, abs=0.1)


# ---------------------------------------------------------------- on the emulator

SEED = 12  # a rod of some 45 mm; every kind of change is looked for in it


@pytest.fixture(scope="module")
def rod(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, int], Run]:
    machine = random_machine(SEED, stroke_mm=(40.0, 50.0))
    machine.board.boot_ms = 50.0
    settings = settings_of(Bench.of(machine))
    folder = tmp_path_factory.mktemp("machine")
    return folder, settings, proven(machine, settings, folder)


@pytest.mark.parametrize("change", list(EXPECTED))
def test_a_planted_change_is_found_and_none_invented(
    rod: tuple[Path, dict[str, int], Run], change: str
) -> None:
    folder, settings, baseline = rod
    machine = changed(random_machine(SEED, stroke_mm=(40.0, 50.0)), change, SEED)
    machine.board.boot_ms = 50.0
    later = proven(machine, settings, folder)
    seen = Seen(SEED, change, machine.rods[1], compared(baseline, later))
    assert seen.right, seen.kinds
    assert runs.read_all(folder)[1] == []


def test_the_record_says_what_was_required_and_done(
    rod: tuple[Path, dict[str, int], Run],
) -> None:
    folder, settings, baseline = rod
    assert baseline.passed, [line for line in baseline.required if not line.passed]
    names = [stroke.name for stroke in baseline.strokes]
    assert names == ["extend-1", "retract-1", "extend-run-1", "retract-run-1", "extend-slow-1",
                     "retract-slow-1", "extend-run-2", "retract-run-2"]  # fmt: skip
    for stroke in baseline.strokes:
        assert stroke.output_permille[0] == stroke.output_permille[-1] == 0.0
        assert np.all(np.diff(stroke.t_s) > 0.0)
        assert np.isfinite(stroke.supply_v).mean() > 0.9
    for way, (off,) in of_run(baseline).rests_mm.items():
        move = next(s for s in baseline.strokes if s.facts["way"] == way)
        assert off == pytest.approx(way * (move.position_mm[-10:].mean() - move.facts["target_mm"]),
                                    abs=0.05)  # fmt: skip
    ends = baseline.conditions["ends_extended_mm"]
    assert ends == pytest.approx([settings["stroke_um"] / 1000.0] * 2, abs=0.5)
    assert (folder / "runs" / baseline.name / "extend-1.csv").exists()


def test_a_proof_leaves_the_settings_as_they_were_and_a_mounted_rod_off_its_ends(
    tmp_path: Path,
) -> None:
    machine = random_machine(SEED, stroke_mm=(40.0, 50.0))
    machine.board.boot_ms = 50.0
    bench = Bench.of(machine)
    settings = settings_of(bench)
    bench.board.write_scope(1, settings)
    before = bench.board.digests()["live"]
    stops = [settings[f"soft_stop_{side}_um"] / 1000.0 for side in ("min", "max")]
    furthest = [bench.plant.position_mm] * 2

    def look(_: int) -> None:
        place = bench.plant.position_mm
        furthest[:] = min(furthest[0], place), max(furthest[1], place)

    bench.clock.attach(look)
    required = {"time_extend_s": 0.5}
    agreed = Agreed(*stops, runs=1, required=required, why_no_ends="the rod is mounted")
    run = proof.prove(bench.job(), agreed, "north", lambda: Writer(tmp_path))
    assert bench.board.digests()["live"] == before
    assert furthest[0] > stops[0] - 0.5
    assert furthest[1] < stops[1] + 0.5
    assert "A pot that slipped as a whole cannot be seen" in "\n".join(bench.talk)
    missed = [line for line in run.required if not line.passed]
    assert [(line.what, line.source) for line in missed] == [
        ("time to extend", "[proof] time_extend_s")
    ]
    assert run.conditions["ends_found_again"] is False


def test_an_axis_that_is_not_calibrated_is_refused(tmp_path: Path) -> None:
    bench = Bench.of(random_machine(SEED))
    bench.board.write_scope(1, {"feedback": 1})
    with pytest.raises(ProcedureError, match="not calibrated"):
        proof.prove(bench.job(), Agreed(5.0, 95.0), "north", lambda: Writer(tmp_path))
    assert not (tmp_path / "runs").exists()
