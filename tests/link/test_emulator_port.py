"""The port `emulator`: a board in the owner process, in real time, with its state in the folder."""

from __future__ import annotations

import time

import pytest
from rodbench.board import Board
from rodbench.errors import NeedsPerson, SettingsError
from rodbench_protocol.names import ResetCause

from tests.link.conftest import owners, wait_for
from tests.link.fake_board import FakeOnPty
from tests.link.rig import PLANT, SETTINGS


@pytest.fixture
def plant(tmp_path):
    file = tmp_path / "plant.toml"
    file.write_text(PLANT)
    return f"emulator:{file}"


def test_settings_and_place_are_kept_between_owners(runtime, tmp_path, plant):
    with Board.open(plant, folder=str(tmp_path)) as board:
        assert board.hello.reset_cause == ResetCause.POWER_ON
        board.write_scope(1, SETTINGS, store=True)
        rest = board.axis(1).move(45.0).finish(20.0)
        digest = board.digests()["live"]
    wait_for(lambda: not owners(runtime), 5, "end of the idle owner")
    with Board.open(plant, folder=str(tmp_path)) as board:
        assert board.hello.reset_cause == ResetCause.EXTERNAL
        assert board.hello.digest_live == board.hello.digest_stored == digest
        assert board.axis(1).sample().position_mm == pytest.approx(rest.position_mm, abs=0.3)
        board.watch(0.3)
        assert board.last_board.on_ticks[0] == rest.on_ticks


def test_two_commands_share_it_and_another_folder_has_its_own(runtime, tmp_path, plant):
    other_folder = tmp_path / "other"
    other_folder.mkdir()
    with (
        Board.open(plant, folder=str(tmp_path)) as one,
        Board.open(plant, folder=str(tmp_path)) as two,
        Board.open(plant, folder=str(other_folder)) as other,
    ):
        one.write_scope(1, SETTINGS)
        assert two.digests() == one.digests()
        assert other.digests() != one.digests()
        assert len(owners(runtime)) == 2


def test_it_lives_in_real_time(runtime, tmp_path, plant):
    with Board.open(plant, folder=str(tmp_path)) as board:
        start, tick = time.monotonic(), board.request("digests").tick
        time.sleep(1.0)
        ticks = board.request("digests").tick - tick
        assert ticks == pytest.approx(200 * (time.monotonic() - start), rel=0.1)


def test_its_eye_answers_through_the_owner(runtime, tmp_path, plant):
    with Board.open(plant, folder=str(tmp_path)) as board:
        board.write_scope(1, {"feedback": 1})
        for output, seen in ((0.3, "out"), (-0.3, "in")):
            with board.axis(1).jog_output(output) as motion:
                motion.wait(0.8)
            assert board.link.eye(id="run_a", axis=1) == {"answer": seen}


def test_a_real_port_has_no_eye(runtime):
    port = FakeOnPty()
    with Board.open(port.path) as board, pytest.raises(NeedsPerson):
        board.link.eye(id="run_a", axis=1)
    port.close()


def test_a_bad_plant_file_is_told_with_its_line(runtime, tmp_path):
    (tmp_path / "bad.toml").write_text("plant_file = 1\nnam = 3\n")
    with pytest.raises(SettingsError, match=r"bad\.toml:2"):
        Board.open(f"emulator:{tmp_path}/bad.toml", folder=str(tmp_path))
    wait_for(lambda: not owners(runtime), 3, "end of the owner")
