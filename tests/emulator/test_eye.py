"""The eye says what a person beside the machine would say."""

import contextlib
import json
import socket
from pathlib import Path

import pytest
from rodbench.emulator.eye import Eye, EyeClient, EyeServer
from rodbench.emulator.plant import Motor, Rod
from rodbench.emulator.plant_file import BoardFigures, Machine
from rodbench.emulator.rig import Rig
from rodbench.emulator.signals import BRAKE, DRIVE
from rodbench.errors import NeedsPerson, PortError


def rig(reversed_motor: bool = False) -> Rig:
    rods = {
        axis: Rod(name=str(axis), start_mm=100.0, motor=Motor(reversed=reversed_motor))
        for axis in (1, 2)
    }
    return Rig(Machine(rods=rods, board=BoardFigures(reference_v=4.93)))


def run(machine: Rig, axis: int, permille: int, ticks: int = 100) -> None:
    outputs, bridges = [0, 0], [BRAKE, BRAKE]
    outputs[axis - 1], bridges[axis - 1] = permille, DRIVE
    for _ in range(ticks):
        machine.step(outputs, bridges)
    for _ in range(60):
        machine.step([0, 0], [BRAKE, BRAKE])


@pytest.mark.parametrize(
    ("reverse", "first", "second"), [(False, "out", "in"), (True, "in", "out")]
)
def test_it_sees_each_run_by_itself(reverse: bool, first: str, second: str) -> None:
    machine = rig(reverse)
    eye = Eye(machine)
    run(machine, 1, 600)
    assert eye.look("run_a") == first
    run(machine, 1, -300)  # comes not all the way back
    assert eye.look("run_b") == second


def test_it_sees_a_rod_that_stands() -> None:
    machine = rig()
    eye = Eye(machine)
    run(machine, 1, 600)
    assert eye.look("run_a") == "out"
    run(machine, 1, 40)  # far below the dead zone
    assert eye.look("run_b") == "still"


def test_a_hair_is_not_seen() -> None:
    machine = rig()
    eye = Eye(machine)
    run(machine, 1, 300, ticks=8)
    assert 0.0 < machine.plants[1].position_mm - 100.0 < 0.2
    assert eye.look("run_a") == "still"


def test_what_happened_before_the_last_turn_does_not_count() -> None:
    machine = rig()
    eye = Eye(machine)
    run(machine, 1, 1000, ticks=400)
    run(machine, 1, -400, ticks=100)  # still far out of where it began
    assert eye.look("run_a") == "in"


def test_it_looks_at_the_rod_that_moved_last_unless_told() -> None:
    machine = rig()
    eye = Eye(machine)
    run(machine, 1, 600)
    run(machine, 2, -600)
    assert eye.look("run_a") == "in"
    assert eye.look("run_a", axis=1) == "out"


def test_meter_readings_and_what_it_cannot_see() -> None:
    eye = Eye(rig())
    assert eye.look("supply_v") == "12.40"
    assert eye.look("board_5v") == "4.93"
    assert eye.look("caution_crush") is None
    assert eye.look("rod_name") is None


@pytest.mark.parametrize("tcp", [False, True])
def test_an_eye_is_served_and_asked(tmp_path: Path, tcp: bool) -> None:
    machine = rig()
    eye = Eye(machine)
    server = EyeServer(eye.look, "127.0.0.1:0" if tcp else str(tmp_path / "eye"))
    client = EyeClient(server.address)
    run(machine, 2, 600)
    assert client.look("run_a") == "out"
    assert client.look("rod_name") is None
    assert client.look("run_b", axis=1) == "still"
    server.close()
    with pytest.raises(NeedsPerson) as caught:
        client.look("run_a")
    assert caught.value.hint
    assert not (tmp_path / "eye").exists()


def test_an_eye_outlives_nonsense(tmp_path: Path) -> None:
    server = EyeServer(Eye(rig()).look, str(tmp_path / "eye"))
    for nonsense in (b"hello\n", b'{"no": "id"}\n', b"[]\n", b"\xff\xfe\n"):
        with socket.socket(socket.AF_UNIX) as line:
            line.connect(server.address)
            line.sendall(nonsense)
    with socket.socket(socket.AF_UNIX) as line:
        line.settimeout(5.0)
        line.connect(server.address)
        line.sendall(b'{"id": "run_a"}\n')
        assert json.loads(line.makefile().readline()) == {"answer": "still"}
    server.close()


def test_callers_wait_their_turn_at_the_eye(tmp_path: Path) -> None:
    """A backlog of two refused the third at once."""
    server = EyeServer(Eye(rig()).look, str(tmp_path / "eye"))
    with contextlib.ExitStack() as stack:
        lines = [stack.enter_context(socket.socket(socket.AF_UNIX)) for _ in range(8)]
        for line in lines:
            line.settimeout(5.0)
            line.connect(server.address)
        for line in lines:
            line.sendall(b'{"id": "run_a"}\n')
            assert json.loads(line.makefile().readline()) == {"answer": "still"}
            line.shutdown(socket.SHUT_RDWR)
    server.close()


def test_an_address_that_cannot_be_had(tmp_path: Path) -> None:
    with pytest.raises(PortError, match="cannot listen"):
        EyeServer(Eye(rig()).look, str(tmp_path / "no" / "folder"))
    (tmp_path / "file").write_text("mine")
    with pytest.raises(PortError):
        EyeServer(Eye(rig()).look, str(tmp_path / "file"))
    assert (tmp_path / "file").read_text() == "mine"


def test_a_socket_left_by_one_that_was_killed_is_replaced(tmp_path: Path) -> None:
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(tmp_path / "eye"))
    left.close()
    server = EyeServer(Eye(rig()).look, str(tmp_path / "eye"))
    assert EyeClient(server.address).look("run_a") == "still"
    server.close()
