"""Two rods as one from the command, in virtual time: both move, level moves one, what is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.board.gang import Gang
from rodbench.cli.hold import LevelHold
from rodbench.cli.keys import Keys
from rodbench.errors import Faulted, NeedsPerson, ProcedureError, Refused, UsageError
from rodbench.settings.machine import MachineFile
from rodbench.settings.units import Units
from rodbench_protocol.names import FaultBits

from tests import boards as test_boards
from tests.cli.conftest import ANSWERS, MACHINE, PLANT, benched
from tests.cli.test_steps import Bench

pytestmark = pytest.mark.skipif(test_boards.kind().axes < 2, reason="a gang needs two axes")
SOUTH = (
    PLANT[PLANT.index("[axes.1]") :]
    .replace("axes.1", "axes.2")
    .replace("north", "south")
    .replace("stroke_mm = 40.0", "stroke_mm = 60.0")
    .replace("start_mm = 20.0", "start_mm = 31.2")
    .replace("constant_v_s_per_mm = 0.8", "constant_v_s_per_mm = 0.6")
)
PAIR = (
    MACHINE
    + """
[rods.south]
stroke_mm = 60.0
pot_retracted = 0.1
pot_extended = 0.9
speed_extend_mm_s = 16.0
speed_retract_mm_s = 16.0
creep_speed_mm_s = 3.0
run_on_extend_mm = 0.8
run_on_retract_mm = 0.8

[axes.2]
rod = "south"
calibrated = true

[axes.2.limits]
soft_stop_min_mm = 3.0
soft_stop_max_mm = 54.0
speed_max_mm_s = 12.0
acceleration_mm_s2 = 40.0
deceleration_mm_s2 = 40.0
trip_a = 3.0
"""
)
GANG = "\n[gang]\naxes = [1, 2]\napart_trip_mm = 3.0\n"


@pytest.fixture
def pair(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Bench:
    """Two rods of different strokes and speeds, 1.2 mm from level, ganged."""
    made = Bench(tmp_path, capsys, PLANT + SOUTH)
    made.stand_in(monkeypatch)
    (tmp_path / "machine.toml").write_text(PAIR + GANG)
    made.run("settings", "push")
    return made


def shares(pair: Bench) -> tuple[float, float]:
    """Where both truly are."""
    plants = pair.emulated.rig.plants
    return plants[1].position_mm / 40.0, plants[2].position_mm / 60.0


def alone_to(pair: Bench, place: str) -> None:
    """Axis 2 moved while it was not ganged; then ganged again."""
    path = pair.folder / "machine.toml"
    path.write_text(PAIR)
    pair.run("settings", "push")
    pair.run("move", "2", place, "--yes")
    path.write_text(PAIR + GANG)
    pair.run("settings", "push")


@pytest.mark.parametrize(("axis", "place"), [("1", "30 mm"), ("2", "45 mm")])
def test_a_move_of_either_moves_both_to_the_same_share(pair: Bench, axis: str, place: str) -> None:
    done = pair.run("move", axis, place, "--yes")
    assert done["ended"] == "reached"
    assert done["ganged_with"] == 3 - int(axis)
    assert shares(pair) == (pytest.approx(0.75, abs=0.02), pytest.approx(0.75, abs=0.02))
    assert pair.board.last_axis[1].faults == pair.board.last_axis[2].faults == 0


def test_a_command_says_that_both_move(pair: Bench) -> None:
    assert "Axis 2 is ganged with axis 1: both move." in pair.said("move", "2", "30 mm", "--yes")
    assert "ganged" in pair.said("jog", "1", "-4 mm/s", "--for", "1 s", "--yes")
    one, two = shares(pair)
    assert one == pytest.approx(two, abs=0.03)
    assert one < 0.45


def test_a_push_that_gangs_tells_the_order_of_pairing(pair: Bench) -> None:
    path = pair.folder / "machine.toml"
    path.write_text(path.read_text().replace("\n[gang]\naxes = [1, 2]\napart_trip_mm = 3.0\n", ""))
    assert "level" not in pair.said("settings", "push")
    path.write_text(path.read_text() + GANG)
    said = pair.said("settings", "push")
    assert said.index("`rodbench level`") < said.index("bolt the bar")


def test_a_place_that_the_other_rod_may_not_go_to_is_refused_with_its_reason(pair: Bench) -> None:
    before = shares(pair)
    with pytest.raises(Refused) as caught:
        pair.run("move", "1", "37 mm", "--yes")
    assert caught.value.hint == (
        "37 mm: the soft stops are at 2.0 .. 38.0 mm; axis 2 would go to 55.5 mm, its are at "
        "3.0 .. 54.0 mm"
    )
    assert shares(pair) == pytest.approx(before, abs=0.001)


def test_level_by_itself_moves_one_until_the_noise_hides_the_difference(pair: Bench) -> None:
    one, two = shares(pair)
    assert (two - one) * 60 == pytest.approx(1.2, abs=0.1)
    done = pair.run("level", "2", "--until-level", "--yes")
    now = shares(pair)
    assert now[0] == pytest.approx(one, abs=0.0005)
    assert (now[1] - now[0]) * 60 == pytest.approx(done["ahead_mm"], abs=0.15)
    assert abs(done["ahead_mm"]) < 0.3
    assert abs(pair.run("level", "1", "--until-level")["ahead_mm"]) < 0.3


def test_rods_found_apart_trip_and_level_brings_them_together(pair: Bench) -> None:
    alone_to(pair, "34.5 mm")
    with pytest.raises(Faulted) as caught:
        pair.run("move", "1", "30 mm", "--yes")
    assert "apart" in caught.value.message
    assert "`rodbench clear`" in str(caught.value.hint)
    with pytest.raises(Refused, match="apart"):
        pair.run("level", "2", "--until-level")
    assert pair.run("clear")["cleared"] == ["apart"]
    assert abs(pair.run("level", "2", "--until-level")["ahead_mm"]) < 0.3
    assert pair.run("move", "1", "30 mm")["ended"] == "reached"


def test_beyond_twice_the_distance_level_trips_too(pair: Bench) -> None:
    alone_to(pair, "38 mm")
    before = pair.emulated.rig.plants[2].position_mm
    with pytest.raises(Faulted, match="apart"):
        pair.run("level", "2", "--until-level", "--yes")
    assert pair.emulated.rig.plants[2].position_mm == pytest.approx(before, abs=0.05)


def test_a_jam_of_one_is_told_of_that_one(pair: Bench) -> None:
    pair.emulated.rig.set_fault("jam", axis=2, value=40.0)
    with pytest.raises(Faulted, match=r"axis 2 stopped at (39.\d|40.\d) mm") as caught:
        pair.run("move", "1", "34 mm", "--yes")
    assert caught.value.axis == 2
    one, two = shares(pair)
    assert abs(one - two) * 60 < 3.0
    assert pair.board.last_axis[1].faults == 0


def test_level_where_nothing_is_ganged_and_without_a_terminal(pair: Bench) -> None:
    with pytest.raises(NeedsPerson, match="level by keys needs a terminal"):
        pair.run("level", "1", "--yes")
    (pair.folder / "machine.toml").write_text(PAIR)
    pair.run("settings", "push")
    with pytest.raises(UsageError, match="nothing is ganged on this board"):
        pair.run("level", "1", "--until-level", "--yes")


def test_level_that_meets_a_soft_stop_says_how_far_off_it_is(pair: Bench) -> None:
    alone_to(pair, "28 mm")
    path = pair.folder / "machine.toml"
    path.write_text(path.read_text().replace("max_mm = 54.0", "max_mm = 28.6"))
    pair.run("settings", "push")
    with pytest.raises(ProcedureError, match=r"axis 2 is \d.\d mm behind axis 1: ended at a soft"):
        pair.run("level", "2", "--until-level", "--yes")


@pytest.mark.parametrize("step", ["current", "polarity", "endpoints", "speed"])
def test_nothing_is_learned_of_one_rod_of_a_gang(pair: Bench, step: str) -> None:
    before = shares(pair)
    with pytest.raises(UsageError, match=r"\[gang\] in the machine file has axis 1"):
        pair.run("calibrate", step, "1", "--yes")
    (pair.folder / "machine.toml").write_text(PAIR)
    with pytest.raises(UsageError, match="axis 1 is ganged with axis 2 on this board"):
        pair.run("calibrate", step, "1", "--yes")
    assert shares(pair) == before


def test_commission_of_a_ganged_axis_is_refused_before_anything_is_sent(pair: Bench) -> None:
    (pair.folder / "answers.toml").write_text(ANSWERS)
    before = pair.board.digests()["live"]
    with pytest.raises(UsageError, match="nothing is learned of one rod of a gang alone"):
        pair.run("commission", "1", "--yes", "--answers", "answers.toml")
    assert pair.board.digests()["live"] == before


def test_one_rod_that_is_not_calibrated_bars_both(pair: Bench) -> None:
    path = pair.folder / "machine.toml"
    text = path.read_text()
    first = text.index("calibrated = true")
    path.write_text(text[:first] + text[first:].replace("calibrated = true", "calibrated = false"))
    pair.run("settings", "push")
    assert not MachineFile.load(path).scope(1)["calibrated"]
    with pytest.raises(Refused) as caught:
        pair.board.axis(2).jog_output(0.2)
    assert caught.value.status_name == "ganged"
    assert "`rodbench level`" in str(caught.value.hint)


def test_the_api_waits_for_both(pair: Bench) -> None:
    """Else the host would fall silent while the slower one still goes."""
    with pair.board.axis(1).move(30.0) as motion:
        motion.wait()
    states = [pair.board.axis(axis).sample() for axis in (1, 2)]
    assert all(sample.output == 0.0 and sample.ganged for sample in states)
    assert not any(sample.faults & FaultBits.MOVE_SILENCE for sample in states)


class Fingers(Keys):
    """Keys at set times of the board's clock, in s."""

    def __init__(self, pair: Bench, keys: list[tuple[float, str]]) -> None:
        self.clock = pair.board.clock
        self.keys = [(self.clock.now() + when, key) for when, key in keys]

    def read(self, timeout_s: float) -> str:
        """The next key, once its time has come."""
        if not self.keys or self.keys[0][0] > self.clock.now():
            return ""
        return self.keys.pop(0)[1]


def test_level_by_keys_moves_one_rod_at_creep_at_most_and_shows_how_far_it_is_ahead(
    pair: Bench,
) -> None:
    one, two = shares(pair)
    held = [(0.0, "left"), *((0.4 + 0.03 * n, "left") for n in range(20)), (0.5, "up")]
    fingers = Fingers(pair, sorted([*held, (2.5, "quit")]))
    axis, gang = pair.board.axis(2), Gang.of(pair.board)
    assert gang is not None
    speeds: list[float] = []
    pair.board.listeners.append(lambda s: speeds.append(getattr(s, "speed_mm_s", None) or 0.0))
    pair.capsys.readouterr()
    LevelHold(axis, 3.0, axis.settings(), fingers, Units("mm"), gang).run()
    shown = pair.capsys.readouterr().err
    now = shares(pair)
    assert now[0] == pytest.approx(one, abs=0.0005)
    assert -4.0 < (now[1] - two) * 60 < -1.5
    assert max(map(abs, speeds)) < 4.5
    assert "mm ahead of axis 1" in shown
    assert "mm behind axis 1" in shown
    assert not pair.board.axis(2).sample().faults


def test_level_through_the_owner_goes_on_until_it_is_level(tmp_path: Path) -> None:
    """The owner renews what it knows as a motion."""
    with benched(tmp_path, PAIR + GANG, PLANT + SOUTH) as bench:
        bench.run("settings", "push")
        done = bench.json("level", "2", "--until-level", "--yes")
        assert abs(done["ahead_mm"]) < 0.3
        assert bench.json("move", "2", "45 mm")["ended"] == "reached"
