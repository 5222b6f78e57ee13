"""The whole sequence: what is sent when, what leaving and refusing do, and what comes out."""

from __future__ import annotations

import pytest
from rodbench.bench import commission
from rodbench.bench.ask import Answers, Asker, Eye
from rodbench.bench.job import Job
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import NeedsPerson, ProcedureError, UsageError

from .harness import Bench, MemoryKeeper, label


@pytest.fixture
def bench() -> Bench:
    made = default_machine()
    made.board.boot_ms = 50.0
    made.rods[1].stroke_mm, made.rods[1].start_mm = 60.0, 25.0
    made.rods.pop(2, None)
    return Bench.of(made)


def assert_not_stored(bench: Bench) -> None:
    bench.board.sleep(0.3)
    assert bench.plant.speed_mm_s == 0.0
    assert bench.board.digests()["stored"] == 0


def test_from_label_to_trial(bench: Bench) -> None:
    done = bench.commission()
    stored = bench.board.read_scope(1)
    assert stored == done.settings
    assert bench.board.digests()["stored"] == done.digest
    assert done.trial.worst_mm < 1.0
    assert done.file_only["board.fuse_a"] == label(bench.machine)["fuse_a"]
    assert set(done.notes) - set(done.file_only) <= set(stored)
    text = "\n".join(bench.talk)
    for part in ("1 Before", "2 Sensors", "3 Polarity", "4 Ends", "5 Speed", "6 Proposal",
                 "7 On the board", "8 Trial", "Not guarded", "local codes"):  # fmt: skip
        assert part in text
    assert text.index("Planned") < text.index("3 Polarity"), "the cost is said first"
    assert max(len(line) for line in text.splitlines()) < 200


def test_speeds_and_run_on_are_those_of_the_plant(bench: Bench) -> None:
    done = bench.commission()
    rod, supply = bench.machine.rods[1], bench.machine.supply
    for way, friction in ((0, rod.motor.friction_extend_a), (1, rod.motor.friction_retract_a)):
        current = done.speeds.running_a[way]
        volts = supply.volts - supply.source_ohm * current
        speed = (volts - rod.motor.resistance_ohm * current) / rod.motor.constant_v_s_per_mm
        assert done.speeds.speed_mm_s[way] == pytest.approx(speed, rel=0.03)
        assert current > friction
    stall = done.proposed.stall
    assert stall is not None
    true = supply.volts / (rod.motor.resistance_ohm + supply.source_ohm)
    assert abs(stall.current_a - true) < 2.5 * stall.sigma_a
    assert max(done.speeds.held_peak_a) < done.settings["trip_ma"] / 1000 < true


def test_nothing_of_the_proposal_is_sent_before_it_is_accepted(bench: Bench) -> None:
    seen = {}

    class Leaves:
        def answer(self, question: object) -> str | None:
            if getattr(question, "id", "") != "accept":
                return None
            seen.update(bench.board.read_scope(1))
            return "leave"

    person = Asker(Leaves(), *bench.asker().sources)
    with pytest.raises(ProcedureError, match="the proposal was left"):
        commission.run(Job(bench.board, 1, person), MemoryKeeper(bench.board))
    # Provisional stops are in force, not those of the proposal.
    assert (seen["soft_stop_min_um"], seen["soft_stop_max_um"]) == (3000, 57000)
    assert_not_stored(bench)
    bench.board.restart()
    assert bench.board.read_scope(1)["feedback"] == 0


@pytest.mark.parametrize("caution", ["caution_crush", "caution_full_speed"])
def test_a_caution_that_is_not_accepted_ends_it(bench: Bench, caution: str) -> None:
    at_start = bench.plant.position_mm
    with pytest.raises((ProcedureError, UsageError)):
        bench.commission(**{caution: "no"})
    assert_not_stored(bench)
    if caution == "caution_crush":
        assert bench.plant.position_mm == at_start


def test_without_yes_and_without_a_person_nothing_moves(bench: Bench) -> None:
    at_start = bench.plant.position_mm
    person = Asker(Answers(label(bench.machine)), Eye(bench.emulated.eye.look))
    with pytest.raises(NeedsPerson):
        commission.run(Job(bench.board, 1, person), MemoryKeeper(bench.board))
    assert bench.plant.position_mm == at_start
    assert_not_stored(bench)


@pytest.mark.parametrize(
    ("answers", "why"),
    [
        ({"mounting": "mounted", "room": "1 mm"}, "1.0 mm of room"),
        ({"driver": "relays"}, "no creep"),
        ({"driver": "h-bridge"}, "none of: pwm-and-two-direction-lines"),
        ({"current_sensor_v_per_a": 185}, "185 mV per A is 0.185"),
        ({"current_sensor_v_per_a": "3 mm"}, "cannot be turned into V/A"),
        ({"current_sensor": "hall"}, "none of: none, one-sided, centred"),
        ({"fuse_a": 5000}, "a fuse of 5000 A"),
        ({"retracted_pin_to_pin": 12}, "is no rod"),
        ({"extended_pin_to_pin": "3 m"}, "can be worked with"),
        ({"extended_pin_to_pin": "104 mm"}, "were the two swapped"),
        ({"retracted_pin_to_pin": "3 kg"}, "retracted_pin_to_pin"),
    ],
)
def test_what_cannot_be_commissioned_is_said_before_anything_moves(
    bench: Bench, answers: dict[str, object], why: str
) -> None:
    at_start = bench.plant.position_mm
    with pytest.raises((ProcedureError, UsageError), match=why):
        bench.commission(**answers)
    assert bench.plant.position_mm == at_start
    assert_not_stored(bench)


EDITED = {
    "soft_stop_min_mm": "5 mm",
    "soft_stop_max_mm": "2.0 in",
    "speed_max_mm_s": 4,
    "acceleration_mm_s2": 15,
    "deceleration_mm_s2": 20,
    "trip_a": "2500 mA",
    "stall_time_ms": 500,
    "duty_share": "20 %",
    "duty_window_min": 10,
}


def test_an_edited_proposal_is_what_is_stored(bench: Bench) -> None:
    edits = {f"edit_{name}": value for name, value in EDITED.items()}
    done = bench.commission(accept="edit", accept_edited="yes", **edits)
    stored = bench.board.read_scope(1)
    assert stored["soft_stop_min_um"] == 5000
    assert stored["soft_stop_max_um"] == 50800
    assert stored["trip_ma"] == 2500
    assert (stored["duty_share_permille"], stored["duty_window_s"]) == (200, 600)
    assert done.trial.targets_mm[0] == 5.0


@pytest.mark.parametrize(
    ("edit", "why"),
    [
        ({"duty_share": 9}, "duty_share"),
        ({"trip_a": 7.0}, "above the estimated stall"),
        ({"trip_a": 0.2}, "running current"),
        ({"soft_stop_max_mm": "70 mm"}, "beyond the stroke"),
    ],
)
def test_an_edit_that_board_or_file_refuse_is_asked_again(
    bench: Bench, edit: dict[str, object], why: str
) -> None:
    """Said each time, three times at most, and nothing stored: a duty share of 9 is no share, and a
    trip above the stall or the fuse would never trip."""
    edits = {f"edit_{name}": word for name, word in (EDITED | edit).items()}
    with pytest.raises(ProcedureError, match=why):
        bench.commission(accept="edit", **edits)
    said = [line for line in bench.talk if "Nothing was sent; edit it again" in line]
    assert len(said) == 2
    assert why in said[0]
    assert_not_stored(bench)


def test_recalibrating_begins_with_an_uncalibrated_axis(bench: Bench) -> None:
    """A second commissioning that breaks off leaves the axis uncalibrated until a restart."""
    done = bench.commission()
    with pytest.raises(ProcedureError):
        bench.commission(run_a="not seen", run_b="not seen")
    assert bench.board.read_scope(1)["calibrated"] == 0
    assert bench.board.digests()["stored"] == done.digest
    bench.board.restart()
    assert bench.board.read_scope(1)["calibrated"] == 1


def test_a_second_run_gives_the_same_within_the_noise(bench: Bench) -> None:
    one = bench.commission().settings
    two = bench.commission().settings
    for key, most in (("raw_retracted", 12), ("raw_extended", 12), ("soft_stop_max_um", 200)):
        assert abs(one[key] - two[key]) <= most, key
    for key in ("full_speed_extend_um_s", "full_speed_retract_um_s", "trip_ma", "running_ma"):
        assert two[key] == pytest.approx(one[key], rel=0.05), key


def test_a_file_that_does_not_match_the_board_is_not_called_done(bench: Bench) -> None:
    class Forgets(MemoryKeeper):
        def digest(self) -> int:
            return super().digest() ^ 1

    with pytest.raises(ProcedureError, match="the machine file"):
        commission.run(bench.job(), Forgets(bench.board))
