"""Mounted rods: the ends are shown by hand, and nothing is ever driven into the machine's own."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rodbench.bench import commission, mounting
from rodbench.bench.commission import Commissioned
from rodbench.bench.found_ends import Endpoints
from rodbench.bench.keeper import KnownRod
from rodbench.bench.reach import PRESSES, AskedHand, Reach
from rodbench.emulator.plant import Mount
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import ProcedureError

from .harness import Bench, MemoryKeeper

STROKE_MM = 120.0
LOW_MM, HIGH_MM = 22.0, 96.0  # where the machine ends the rod's way
REVERSED = default_machine().rods[1].motor.reversed
CALIBRATED = {
    "feedback": 1,
    "calibrated": 1,
    "raw_retracted": 7366,
    "raw_extended": 818,
    "stroke_um": 120_000,
    "soft_stop_min_um": 5_000,
    "soft_stop_max_um": 115_000,
    "creep_output_permille": 250,
    "creep_speed_um_s": 900,
    "full_speed_extend_um_s": 8_000,
    "full_speed_retract_um_s": 8_000,
    "trip_ma": 3_000,
    "running_ma": 1_000,
}


def mounted(start_mm: float = 60.0) -> Bench:
    made = default_machine()
    made.board.boot_ms = 50.0
    made.rods.pop(2, None)
    rod = made.rods[1]
    rod.stroke_mm, rod.start_mm = STROKE_MM, start_mm
    rod.mount = Mount(LOW_MM, HIGH_MM)
    return Bench.of(made)


def known_rod(bench: Bench) -> KnownRod:
    raw = (round(bench.true_raw(0.0)), round(bench.true_raw(STROKE_MM)))
    return KnownRod(STROKE_MM, raw, ("end-switch", "end-switch"), 0.1, 305.0)


def commissioned(bench: Bench, known: KnownRod | None = None) -> Commissioned:
    """The whole of it."""
    done = commission.run(bench.job(mounting="mounted"), keeper(bench, known))
    assert isinstance(done, Commissioned)
    return done


def keeper(bench: Bench, known: KnownRod | None) -> MemoryKeeper:
    made = MemoryKeeper(bench.board)
    if known is not None:
        made.known["north"] = known
    return made


def shown(bench: Bench, known: KnownRod | None = None, hand: AskedHand | None = None) -> Endpoints:
    """The same up to the ends: the caution before full speed is not accepted."""
    found: list[Endpoints] = []
    job = bench.job(mounting="mounted", caution_full_speed="no")
    job.asker.hand = hand
    job.record = lambda _, fields: found.extend(
        one for one in fields.values() if isinstance(one, Endpoints)
    )
    try:
        commission.run(job, keeper(bench, known))
    except ProcedureError as error:
        if "the caution was not accepted" not in error.message:
            raise
    return found[0]


def assert_untouched(bench: Bench) -> None:
    assert bench.plant.mount_pressed_a == 0.0
    bench.board.sleep(0.3)
    assert bench.plant.speed_mm_s == 0.0


def test_working_ends_inside_the_ends_of_a_known_rod() -> None:
    bench = mounted()
    done = commissioned(bench, known_rod(bench))
    assert_untouched(bench)
    low, high = done.ends.range_mm
    # The eye stops within a twentieth of the stroke of the machine's own end.
    assert LOW_MM < low < LOW_MM + 0.05 * STROKE_MM + 0.5
    assert HIGH_MM - 0.05 * STROKE_MM - 0.5 < high < HIGH_MM
    stored = bench.board.read_scope(1)
    assert stored["stroke_um"] == round(1000 * STROKE_MM)
    assert 1000 * low < stored["soft_stop_min_um"] < stored["soft_stop_max_um"] < 1000 * high
    assert done.file_only["limits.working_end_min_mm"] == pytest.approx(low, abs=0.01)
    assert done.file_only["rods.end_retracted"] == "end-switch"
    assert done.notes["full_speed_extend_um_s"].endswith("as read, mounted")
    assert done.polarity.motor_reversed == bench.machine.rods[1].motor.reversed
    assert any("Known from the bench" in line for line in bench.talk)
    assert not any("ends are not known" in line for line in bench.talk)


@pytest.mark.parametrize("bow", [0.03, -0.03])
def test_working_ends_of_a_rod_with_a_table_are_where_the_board_has_them(bow: float) -> None:
    """Mid stroke a pot bent by 3 % reads 3.6 mm aside: soft stops set by its line would lie so far
    off where the board, which goes by the table, keeps them."""
    bench = mounted()
    rod = bench.machine.rods[1]
    rod.mount = Mount(LOW_MM, 0.6 * STROKE_MM)
    rod.pot.bow = bow
    bench = Bench.of(bench.machine)
    raw = [round(bench.true_raw(mm)) for mm in (0.0, 30.0, 60.0, 90.0, STROKE_MM)]
    table = {"table_points": 3} | {
        f"table_{key}_{n}": value
        for n in (1, 2, 3)
        for key, value in (("raw", raw[n]), ("place", round(65536 * n / 4)))
    }
    ends = {"raw_retracted": raw[0], "raw_extended": raw[-1]}
    bench.board.write_scope(1, CALIBRATED | ends | table | {"motor_reversed": int(REVERSED)})
    job = bench.job()
    _, found = mounting.find(job, mounting.way_of(job), known_rod(bench))
    high = found.range_mm[1]
    assert bench.plant.position_mm == pytest.approx(high, abs=0.5)
    assert job.live["table_points"] == 3
    assert job.axis.sample().position_mm == pytest.approx(high, abs=0.5)
    assert_untouched(bench)


def test_shown_ends_become_the_endpoints_of_an_unknown_rod() -> None:
    bench = mounted()
    done = commissioned(bench)
    assert_untouched(bench)
    assert done.ends.kinds == ("shown-by-hand", "shown-by-hand")
    assert done.ends.working_mm is None
    assert HIGH_MM - LOW_MM - 0.1 * STROKE_MM - 1 < done.ends.stroke_mm < HIGH_MM - LOW_MM
    for raw, off_mm in zip(done.ends.raw, (0.0, done.ends.stroke_mm), strict=True):
        pins = done.label.retracted_pin_to_pin_mm
        assert pins is not None
        at_mm = pins - bench.machine.rods[1].retracted_pin_to_pin_mm + off_mm
        assert raw == pytest.approx(bench.true_raw(at_mm), abs=20)
    assert any("own ends are not known" in line for line in bench.talk)
    assert "limits.working_end_min_mm" not in done.file_only


@pytest.mark.parametrize("start_mm", [LOW_MM + 7.0, HIGH_MM - 7.0])
def test_the_direction_runs_stay_within_the_room_they_were_given(start_mm: float) -> None:
    bench = mounted(start_mm)
    places: list[float] = []
    bench.clock.attach(lambda _: places.append(bench.plant.position_mm))
    assert shown(bench).stroke_mm > 50.0
    assert_untouched(bench)
    assert min(places) > LOW_MM
    assert max(places) < HIGH_MM


def test_without_room_nothing_moves() -> None:
    bench = mounted(LOW_MM + 2.0)
    with pytest.raises(ProcedureError, match=r"of room: the first runs go up to 6\.0 mm"):
        commissioned(bench)
    assert bench.plant.position_mm == LOW_MM + 2.0


class Scripted(AskedHand):
    """A person with a plan of presses for each end."""

    def __init__(self, **plans: list[str]) -> None:
        self.plans = plans

    def bring(self, reach: Reach, end: str) -> None:
        for word in self.plans[end]:
            if why := reach.press(*PRESSES[word]):
                reach.job.say(f"stopped: {why}")


def test_swapped_working_ends_are_refused() -> None:
    for known in (True, False):
        bench = mounted()
        hand = Scripted(retracted=["out"] * 5, extended=["in"] * 5)
        with pytest.raises(ProcedureError, match="swapped"):
            shown(bench, known_rod(bench) if known else None, hand)
        assert_untouched(bench)
        assert bench.board.digests()["stored"] == 0


def test_a_working_end_outside_the_rod_is_refused() -> None:
    bench = mounted()
    other = known_rod(bench)
    low = round(bench.true_raw(70.0))  # the file describes a rod that ends further out than this
    other = replace(other, raw=(low, round(bench.true_raw(STROKE_MM))), stroke_mm=50.0)
    with pytest.raises(ProcedureError, match="outside the rod's own"):
        shown(bench, other, Scripted(retracted=["a little out"], extended=["out"] * 12))


def test_a_person_who_is_late_is_stopped_by_the_watch() -> None:
    """Held far too long: the rod meets the machine once, at creep, and is stopped within 0.3 s."""
    bench = mounted()
    hand = Scripted(retracted=["in"] * 60 + ["a little out"] * 6, extended=["out"] * 60)
    shown(bench, hand=hand)
    assert 0 < bench.plant.mount_pressed_ticks < 60
    said = [line for line in bench.talk if line.startswith("stopped:")]
    assert any("something is in" in line for line in said)


def test_a_pot_that_goes_the_other_way_than_on_the_bench_is_refused() -> None:
    bench = mounted()
    known = known_rod(bench)
    with pytest.raises(ProcedureError, match="on the bench it was seen that it"):
        shown(bench, replace(known, raw=(known.raw[1], known.raw[0])))
    assert_untouched(bench)


def test_a_rod_calibrated_on_the_bench_keeps_its_limits_when_mounted() -> None:
    bench = mounted()
    bench.plant.rod.mount = Mount()
    free = Bench.of(bench.machine)
    done = free.commission(mounting="bench")
    before = free.board.read_scope(1)
    # The same board and rod, now in the machine.
    bench = mounted()
    bench.board.write_scope(1, before)
    job = bench.job()
    ends = done.ends
    known = KnownRod(ends.stroke_mm, ends.raw, ends.kinds, max(ends.spread_mm), 105.0)
    _, found = mounting.find(job, mounting.way_of(job), known)
    assert_untouched(bench)
    after = bench.board.read_scope(1)
    low, high = found.range_mm
    assert LOW_MM < low < high < HIGH_MM
    assert 1000 * low < after["soft_stop_min_um"] < after["soft_stop_max_um"] < 1000 * high
    same = set(before) - {"soft_stop_min_um", "soft_stop_max_um", "pot_margin_raw"}
    same -= {"noise_x16", "current_zero"}  # measured anew
    assert {key: after[key] for key in same} == {key: before[key] for key in same}


def test_swapped_motor_leads_on_a_mounted_rod_are_noticed_at_the_first_press() -> None:
    bench = mounted()
    bench.board.write_scope(1, CALIBRATED | {"motor_reversed": int(not REVERSED)})
    job = bench.job()
    with pytest.raises(ProcedureError, match="its pot goes the other way"):
        mounting.find(job, mounting.way_of(job), known_rod(bench))
    assert abs(bench.plant.position_mm - 60.0) < 3.0
    assert_untouched(bench)
