"""Files of the first release mean what they meant. `first_release.toml` is what its demo wrote;
all figures invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.errors import SettingsError
from rodbench.settings import transfer
from rodbench.settings.machine import MachineFile

from tests.settings.test_transfer import Scene, scene

__all__ = ["scene"]

FILE = Path(__file__).with_name("first_release.toml")
# Read off the file by hand: shares of 8184, mm and A and V times 1000, minutes times 60.
AXIS = {
    "feedback": 1, "calibrated": 1, "motor_reversed": 1, "driver": 0, "stop_by": 0,
    "raw_retracted": 7408, "raw_extended": 606, "stroke_um": 203_000,
    "soft_stop_min_um": 2700, "soft_stop_max_um": 200_400, "speed_max_um_s": 7350,
    "acceleration_um_s2": 18_300, "deceleration_um_s2": 27_200, "creep_output_permille": 460,
    "creep_speed_um_s": 2288, "current_sensor": 1, "current_uv_per_ma": 185, "current_zero": 0,
    "trip_ma": 3430, "stall_time_ms": 300, "running_ma": 1369, "stall_ma": 6004,
    "full_speed_extend_um_s": 7963, "full_speed_retract_um_s": 8508, "speed_supply_mv": 12_339,
    "dead_zone_extend_permille": 159, "dead_zone_retract_permille": 107,
    "run_on_extend_um": 336, "run_on_retract_um": 416, "duty_share_permille": 250,
    "current_sensor_ratiometric": 0, "stroke_time_extend_cs": 0, "stroke_time_retract_cs": 0,
}  # fmt: skip


def test_it_loads_unchanged_and_means_the_same() -> None:
    file = MachineFile.load(FILE)
    scope = file.scope(1)
    assert {key: scope[key] for key in AXIS} == AXIS
    assert file.scope(0)["board_id"] == 1746551433
    assert file.scope(2)["feedback"] == 0
    assert file.remarks == []
    assert file.text == FILE.read_text()


def test_a_push_adds_what_is_remembered_now_and_touches_nothing_else(
    scene: Scene, tmp_path: Path
) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(FILE.read_text())
    file = MachineFile.load(path)
    done = transfer.push(file, scene.board)
    file.save()
    assert scene.board.digests()["live"] == done.digest == MachineFile.load(path).digest()
    added = set(path.read_text().splitlines()) - set(FILE.read_text().splitlines())
    assert added == {'learned_with = "north"', "learned_on_board = 1746551433"}
    kept = [line for line in path.read_text().splitlines() if line not in added]
    assert kept == FILE.read_text().splitlines()


@pytest.mark.parametrize("version", ["2", "0", "true", '"1"', "1.5"])
def test_another_version_is_refused_by_name(version: str) -> None:
    text = FILE.read_text().replace("machine_file = 1", f"machine_file = {version}")
    with pytest.raises(SettingsError, match=f"1: machine_file = {version}: this rodbench reads"):
        MachineFile(text, Path("machine.toml"))
