"""The job step by step, with one emulated board in this process and in virtual time."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from rodbench.board import Board
from rodbench.cli import boards
from rodbench.cli.main import cli
from rodbench.cli.options import Setup
from rodbench.clock import VirtualClock
from rodbench.emulator.plant_file import parse
from rodbench.errors import NeedsPerson, ProcedureError, Refused, SettingsError, UsageError
from rodbench.link.transport import EmulatorTransport
from rodbench.settings.machine import MachineFile
from rodbench_protocol.names import LocalSource

from tests import boards as test_boards
from tests.cli.conftest import ANSWERS, PLANT

ROD = (
    '\n[rods.north]\nstroke_mm = 40.0\n\n[axes.1]\nrod = "north"\n\n[axes.1.limits]\ntrip_a = 4.0\n'
)


class Bench:
    """One board for several commands."""

    def __init__(
        self, folder: Path, capsys: pytest.CaptureFixture[str], plant: str = PLANT
    ) -> None:
        self.folder = folder
        self.capsys = capsys
        self.emulated = test_boards.make(parse(plant, "bench.toml"))
        clock = VirtualClock()
        clock.attach(self.emulated.step)
        self.board = Board.direct(EmulatorTransport(self.emulated, clock), clock)
        self.eye = True

    def stand_in(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """From now on commands open this board, and run in its folder."""
        monkeypatch.setattr(boards, "open_board", self.open)
        monkeypatch.setenv("RODBENCH_PORT", "emulator")
        monkeypatch.chdir(self.folder)

    @contextlib.contextmanager
    def open(self, setup: Setup, who: str) -> Iterator[Board]:
        if self.eye:
            setup.look = self.emulated.eye.look
        yield self.board

    def run(self, *words: str) -> Any:
        """A command's JSON object; raises what the command raises."""
        self.capsys.readouterr()
        cli.main([*words, "--json"], standalone_mode=False)
        return json.loads(self.capsys.readouterr().out)

    def said(self, *words: str) -> str:
        """What a command says beside its result."""
        self.capsys.readouterr()
        cli.main([*words, "--json"], standalone_mode=False)
        return self.capsys.readouterr().err

    def machine(self) -> MachineFile:
        return MachineFile.load(self.folder / "machine.toml")

    def give(self, table: str, lines: str) -> None:
        """Lines that a person writes at the head of a table of the machine file."""
        path = self.folder / "machine.toml"
        text = path.read_text()
        assert f"[{table}]\n" in text
        path.write_text(text.replace(f"[{table}]\n", f"[{table}]\n{lines}"))


@pytest.fixture
def bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Bench:
    found = Bench(tmp_path, capsys)
    found.stand_in(monkeypatch)
    (tmp_path / "answers.toml").write_text(ANSWERS)
    return found


def with_rod(bench: Bench) -> None:
    bench.run("new", ".", "--name", "bench")
    path = bench.folder / "machine.toml"
    path.write_text(test_boards.file(path.read_text()) + ROD)
    bench.run("settings", "push")


def test_all_steps_one_by_one_end_like_commission(bench: Bench) -> None:
    with_rod(bench)
    for step in ("current", "polarity", "endpoints", "speed"):
        bench.run("calibrate", step, "1", "--yes")
    proposal = bench.run("propose", "1", "--save")
    assert proposal["saved"] is True
    pushed = bench.run("settings", "push")
    assert pushed["stored"] is True
    moved = bench.run("move", "1", "50 %", "--yes")
    assert moved["ended"] == "reached"
    plant = bench.emulated.rig.plants[1]
    assert plant.position_mm == pytest.approx(moved["target_mm"], abs=1.0)

    file = bench.machine()
    assert file.digest() == bench.board.digests()["live"] == bench.board.digests()["stored"]
    live = file.scope(1)
    assert live["calibrated"] == 1
    assert live["motor_reversed"] == 0
    # The plant's own pot: a tenth and nine tenths of full scale.
    within = 0.005 * test_boards.raw(0.8)
    assert live["raw_retracted"] == pytest.approx(test_boards.raw(0.1), abs=within)
    assert live["raw_extended"] == pytest.approx(test_boards.raw(0.9), abs=within)
    assert file.host("end_retracted", ("rods", "north")) == "end-switch"
    assert "# rodbench: raw" in file.text


def test_commission_writes_file_logbook_and_table(bench: Bench) -> None:
    bench.run("new", ".")
    done = bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    digests = bench.board.digests()
    assert done["digest"] == digests["live"] == digests["stored"] == bench.machine().digest()
    assert done["trial"]["past_soft_stop_mm"] < 0.2
    assert bench.machine().host("fuse_a", ("board",)) == 5.0
    lines = (bench.folder / "logbook" / "log.jsonl").read_text().splitlines()
    kinds = [json.loads(line)["kind"] for line in lines]
    for kind in ("new", "calibrate current", "calibrate polarity", "calibrate endpoints",
                 "calibrate speed", "trial", "commission"):  # fmt: skip
        assert kind in kinds
    assert bench.run("settings", "diff")["differences"] == []


def test_a_step_after_commissioning_takes_the_axis_out_of_use(bench: Bench) -> None:
    bench.run("new", ".")
    bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    path = bench.folder / "machine.toml"
    path.write_text(path.read_text().replace("[axes.1]\n", "# my own remark\n[axes.1]\n"))
    bench.run("calibrate", "current", "1", "--yes")
    text = path.read_text()
    assert text.count("# my own remark") == 1
    assert text.count("soft_stop_min_mm") == 1
    assert "calibrated = false" in text
    assert bench.board.read_scope(1)["calibrated"] == 0
    with pytest.raises(Refused, match="calibrated"):
        bench.run("move", "1", "20 mm", "--yes")


@pytest.mark.parametrize("name", ['a "b', "a.b", "", "north"])
def test_a_name_that_the_file_could_not_keep_is_refused_before_anything_moves(
    bench: Bench, name: str
) -> None:
    bench.run("new", ".")
    with (bench.folder / "machine.toml").open("a") as out:
        out.write(ROD.replace("axes.1", "axes.2"))
    (bench.folder / "answers.toml").write_text(ANSWERS.replace('rod = "north"', f"rod = '{name}'"))
    position = bench.emulated.rig.plants[1].position_mm
    with pytest.raises((SettingsError, UsageError)):
        bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    assert bench.emulated.rig.plants[1].position_mm == position


def test_a_name_with_letters_of_other_languages_is_kept(bench: Bench) -> None:
    bench.run("new", ".")
    text = ANSWERS.replace('rod = "north"', 'rod = "Lüfter 2"')
    (bench.folder / "answers.toml").write_text(text)
    bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    assert bench.machine().rod_of(1) == "Lüfter 2"
    assert '[rods."Lüfter 2"]' in bench.machine().text


def test_facts_are_never_invented(bench: Bench) -> None:
    """Without eyes and without a terminal `--yes` does not say which way the rod went."""
    bench.eye = False
    with_rod(bench)
    before = bench.board.digests()["stored"]
    with pytest.raises(NeedsPerson, match="did the rod come out or go in"):
        bench.run("calibrate", "polarity", "1", "--yes")
    assert bench.board.digests()["stored"] == before
    assert bench.emulated.outputs.drive[0] == 0


SAME_WAY = 'run_a = "out"\nrun_b = "out"'
NOT_SEEN = 'run_a = "not seen"\nrun_b = "not seen"'


@pytest.mark.parametrize("answers", [SAME_WAY, NOT_SEEN])
def test_answers_that_contradict_or_miss_settle_nothing(bench: Bench, answers: str) -> None:
    bench.eye = False
    with_rod(bench)
    (bench.folder / "answers.toml").write_text(answers)
    before = bench.machine().text
    with pytest.raises(ProcedureError):
        bench.run("calibrate", "polarity", "1", "--yes", "--answers", "answers.toml")
    assert bench.machine().text == before
    assert bench.board.digests()["stored"] == bench.machine().digest()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["calibrate", "endpoints", "1", "--yes"], "nothing is known yet from"),
        (["propose", "1"], "nothing is known yet from"),
    ],
)
def test_steps_in_the_wrong_order_say_which_comes_first(
    bench: Bench, words: list[str], said: str
) -> None:
    with_rod(bench)
    with pytest.raises(ProcedureError, match=said) as caught:
        bench.run(*words)
    assert str(caught.value.hint).startswith("rodbench calibrate")


def test_an_axis_without_a_rod_says_what_to_do(bench: Bench) -> None:
    bench.run("new", ".")
    with pytest.raises(SettingsError, match="axis 1 has no rod"):
        bench.run("calibrate", "current", "1")


def test_uncalibrated_axis_refuses_a_move(bench: Bench) -> None:
    with_rod(bench)
    with pytest.raises(Refused, match="calibrated"):
        bench.run("move", "1", "20 mm", "--yes")


def test_pull_after_commission_leaves_the_file_as_it_is(bench: Bench) -> None:
    bench.run("new", ".")
    bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    text = bench.machine().text
    assert bench.run("settings", "pull")["changed"] == []
    assert bench.machine().text == text


def test_push_until_reset_is_gone_after_it(bench: Bench) -> None:
    with_rod(bench)
    stored = bench.board.digests()["stored"]
    bench.give("axes.1.limits", "move_hold_ms = 400\n")
    done = bench.run("settings", "push", "--until-reset")
    assert [c["key"] for c in done["changed"]] == ["axes.1.limits.move_hold_ms"]
    assert bench.board.digests()["stored"] == stored != bench.board.digests()["live"]
    bench.board.restart()
    assert bench.board.digests()["live"] == stored
    difference = bench.run("settings", "diff")["differences"]
    assert difference == [
        {"scope": 1, "key": "axes.1.limits.move_hold_ms", "file": "400", "board": "500"}
    ]


def test_a_bent_pot_gets_a_table_and_moves_land_by_the_ruler(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench(tmp_path, capsys, PLANT.replace("noise_lsb = 0.3", "noise_lsb = 0.3\nbow = 0.04"))
    bench.stand_in(monkeypatch)
    with_rod(bench)
    plant = bench.emulated.rig.plants[1]
    for step in ("current", "polarity", "endpoints", "speed"):
        bench.run("calibrate", step, "1", "--yes")
    bench.run("propose", "1", "--save")
    bench.run("settings", "push")
    (bench.folder / "answers.toml").write_text(
        'retracted_pin_to_pin = "105 mm"\naccept_table = "accept"\n'
    )
    words = ("calibrate", "linearity", "1", "--yes", "--answers", "answers.toml")
    found = bench.run(*words, "--plot", "linearity.png")["found"]
    assert found["accepted"] is True
    assert found["terminal_percent"] == pytest.approx(3.2, abs=0.25)  # 4 % of eight tenths
    assert (bench.folder / "linearity.png").stat().st_size > 10_000
    file = bench.machine()
    assert "pot_table = [[" in file.text
    assert file.scope(1) == bench.board.read_scope(1)
    assert file.digest() == bench.board.digests()["live"]
    assert bench.run("settings", "push")["stored"] is True
    for target in (10.0, 20.0, 30.0):
        moved = bench.run("move", "1", f"{target} mm", "--yes")
        assert moved["ended"] == "reached"
        assert plant.position_mm == pytest.approx(target, abs=1.0)

    again = bench.run(*words, "--plot", "straight.nothing")["found"]
    assert not (bench.folder / "straight.nothing").exists()  # what was found is told
    assert again["worst_before_mm"] < 0.3
    assert again["worth"] is False
    assert bench.machine().scope(1) == file.scope(1), "what is good is left as it is"


def test_linearity_wants_a_calibrated_axis_and_a_person(bench: Bench) -> None:
    with_rod(bench)
    (bench.folder / "answers.toml").write_text('retracted_pin_to_pin = "105 mm"\n')
    with pytest.raises(ProcedureError, match="not calibrated"):
        bench.run("calibrate", "linearity", "1", "--yes", "--answers", "answers.toml")
    bench.eye = False
    with pytest.raises(NeedsPerson, match="retracted_pin_to_pin"):
        bench.run("calibrate", "linearity", "1", "--yes")
    assert bench.emulated.rig.plants[1].position_mm == bench.emulated.rig.plants[1].rod.start_mm


def test_what_a_person_gave_in_the_file_holds_while_the_rod_is_learned_and_stays(
    bench: Bench,
) -> None:
    with_rod(bench)
    given = "rated_current_a = 2.0  # its label\n"
    duty = "duty_share = 0.2  # its label\n"
    local = '[axes.1.local]\nsource = "buttons"\n'
    bench.give("rods.north", given)
    bench.give("axes.1.limits", f"trip_ms = 60\nthermal_warn = 0.7\nmove_hold_ms = 700\n{duty}")
    path = bench.folder / "machine.toml"
    path.write_text(f"{path.read_text()}\n{local}")
    said = bench.said("commission", "1", "--yes", "--answers", "answers.toml")
    assert "by 2 A rated" in said
    assert "motor heat (rated current unknown)" not in said.split(" 6 Proposal")[1]
    live = bench.board.read_scope(1)
    assert (live["rated_ma"], live["trip_ms"], live["thermal_warn_percent"]) == (2000, 60, 70)
    assert (live["move_hold_ms"], live["duty_share_permille"]) == (700, 200)
    assert live["local_source"] == LocalSource.BUTTONS
    assert "20 % in 20 min                  as the machine file says" in said
    for kept in (given, duty, local):
        assert kept in path.read_text()


def test_what_the_file_gives_beside_the_limits_is_refused_by_name_where_it_does_not_go_with_them(
    bench: Bench,
) -> None:
    with_rod(bench)
    path = bench.folder / "machine.toml"
    path.write_text(re.sub("^trip_a = .*\n", "", path.read_text(), flags=re.M))
    bench.give("axes.1.limits", "fold_back_a = 9.0\ntrip_a = 9.5\n")
    said = bench.said("commission", "1", "--yes", "--answers", "answers.toml")
    assert "fold_back_a = 9.0 does not go with this" in " ".join(said.split())
    assert bench.board.read_scope(1)["fold_back_ma"] == 0
    assert not bench.machine().host("fold_back_a", ("axes", "1", "limits"))


def test_a_rod_that_has_buttons_is_learned_without_them_and_has_them_again(bench: Bench) -> None:
    with_rod(bench)
    bench.board.write_scope(1, {"local_source": int(LocalSource.BUTTONS)})
    said = bench.said("commission", "1", "--yes", "--answers", "answers.toml")
    assert "belongs to its buttons again 10 s after" in said
    assert bench.board.read_scope(1)["local_source"] == LocalSource.BUTTONS
    assert bench.machine().host("source", ("axes", "1", "local")) == "buttons"


def test_another_rod_does_not_get_what_the_label_of_the_first_one_says(bench: Bench) -> None:
    with_rod(bench)
    bench.give("rods.north", "rated_current_a = 2.0\n")
    (bench.folder / "answers.toml").write_text(ANSWERS.replace('rod = "north"', 'rod = "east"'))
    bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    assert bench.board.read_scope(1)["rated_ma"] == 0
    assert bench.machine().host("rated_current_a", ("rods", "north")) == 2.0


def test_a_step_leaves_in_the_file_what_was_not_pushed_yet(bench: Bench) -> None:
    with_rod(bench)
    bench.give("rods.north", "rated_current_a = 2.0\n")
    bench.run("calibrate", "current", "1", "--yes")
    assert bench.machine().host("rated_current_a", ("rods", "north")) == 2.0


def test_limits_are_proposed_anew_from_what_a_commissioning_found(bench: Bench) -> None:
    bench.run("new", ".")
    done = bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    proposal = bench.run("propose", "1")["proposal"]
    for limit in ("soft_stop_min_mm", "soft_stop_max_mm", "speed_max_mm_s", "trip_a"):
        assert proposal[limit] == pytest.approx(done["proposed"]["proposal"][limit], rel=0.02)
