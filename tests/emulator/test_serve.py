"""A served board: in real time, on a pty that restarts it as a port would, and on TCP."""

import json
import os
import select
import signal
import socket
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.eye import EyeClient
from rodbench.emulator.paced import PacedBoard
from rodbench.emulator.plant_file import default_machine
from rodbench.emulator.serve import PtyDoor, Served, TcpDoor
from rodbench.errors import PortError
from rodbench_protocol import framing, messages

BOOT_S = 0.3
HELLO = framing.encode(messages.pack("hello", 0, 0))


@pytest.fixture
def pty_board() -> Iterator[Served]:
    served = Served(EmulatedBoard(default_machine()), PtyDoor())
    yield served
    served.close()


def open_raw(path: str) -> int:
    return os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)


def listen(port: int, seconds: float, enough: int = 1 << 30) -> bytes:
    heard, end = b"", time.monotonic() + seconds
    while len(heard) < enough and (left := end - time.monotonic()) > 0:
        if select.select([port], [], [], left)[0]:
            heard += os.read(port, 65536)
    return heard


def until(so: Callable[[], bool]) -> None:
    """A busy computer may hold the board's time up: wait for the board, not for the clock."""
    end = time.monotonic() + 20.0
    while not so():
        assert time.monotonic() < end
        time.sleep(0.005)


def hello(port: int) -> dict[str, int]:
    os.write(port, HELLO)
    for _ in range(100):
        for frame in framing.Splitter().feed(listen(port, 0.2, enough=50)):
            message = messages.parse(framing.decode(frame))
            if message.name == "hello":
                return message.fields
    raise AssertionError("no hello")


def test_the_board_keeps_real_time(pty_board: Served) -> None:
    """Loosely bounded: other work may hold the machine up, but never hurry it."""
    board = pty_board.paced.board
    assert isinstance(board, EmulatedBoard)
    start, ticks = time.monotonic(), board.ticks
    time.sleep(1.0)
    passed = (board.ticks - ticks) * 0.005
    assert passed <= time.monotonic() - start + 0.01
    assert passed > 0.5


def test_speed_multiplies_real_time() -> None:
    board = EmulatedBoard(default_machine())
    paced = PacedBoard(board, lambda data: None, 10.0)
    time.sleep(0.3)
    paced.close()
    assert 200 < board.ticks <= 700


def test_opening_the_pty_restarts_the_board_and_it_answers_after_its_boot(
    pty_board: Served,
) -> None:
    board = pty_board.paced.board
    assert isinstance(board, EmulatedBoard)
    assert board.boots == 1
    port = open_raw(pty_board.door.address)
    time.sleep(0.02)
    termios.tcflush(port, termios.TCIFLUSH)  # what was under way
    assert listen(port, BOOT_S / 2) == b""
    until(lambda: board.boots > 1)
    fields = hello(port)
    assert board.boots == 2
    assert fields["boot_nonce"] == board.twin.noinit.nonce
    os.close(port)


@pytest.mark.parametrize(("clear_it", "boots"), [(True, 2), (False, 3)])
def test_the_line_stays_up_after_a_close_without_hupcl(
    pty_board: Served, clear_it: bool, boots: int
) -> None:
    board = pty_board.paced.board
    assert isinstance(board, EmulatedBoard)
    for _ in range(2):
        port = open_raw(pty_board.door.address)
        attributes = termios.tcgetattr(port)
        if clear_it:
            attributes[2] &= ~termios.HUPCL
            termios.tcsetattr(port, termios.TCSANOW, attributes)
        time.sleep(BOOT_S + 0.2)
        os.close(port)
        time.sleep(0.1)
    assert board.boots == boots


def test_the_board_lives_on_when_the_host_leaves(pty_board: Served) -> None:
    for _ in range(2):
        port = open_raw(pty_board.door.address)
        time.sleep(BOOT_S + 0.1)
        hello(port)
        os.close(port)
        time.sleep(0.05)


def test_the_pty_passes_every_byte_value(pty_board: Served) -> None:
    """Nothing in between may take 0x03, 0x04, 0x0a, 0x0d, 0x11, 0x13 or 0x7f for itself."""
    board = pty_board.paced.board
    assert isinstance(board, EmulatedBoard)
    port = open_raw(pty_board.door.address)
    until(lambda: board.boots > 1)
    taken: list[bytes] = []
    board.twin.receive = taken.append  # type: ignore[method-assign]
    every = bytes(range(256))
    os.write(port, every)
    until(lambda: len(b"".join(taken)) >= len(every))
    assert b"".join(taken) == every
    pty_board.door.send(every)
    heard = listen(port, 1.0, 256)
    assert every in heard
    os.close(port)


def test_a_frame_takes_its_time_on_the_line() -> None:
    """At 1200 baud a byte takes 8.3 ms: question and answer cannot be quicker than their bytes."""
    machine = default_machine()
    machine.line.baud = 1200
    board = EmulatedBoard(machine)
    served = Served(board, TcpDoor(0))
    with connect(served) as line:
        until(lambda: board.ticks > 140)
        line.recv(200)  # what the start had to tell
        start, answer = board.ticks, b""  # its own time: it may be catching up with ours
        line.sendall(HELLO)
        while not answer.endswith(b"\0"):
            answer += line.recv(100)
        assert b"rodbench" in answer
        assert (board.ticks - start) * 0.005 >= (len(HELLO) + len(answer)) * 10 / 1200
    served.close()


def connect(served: Served) -> socket.socket:
    _, host, port = served.door.address.split(":")
    line = socket.create_connection((host, int(port)), 2.0)
    line.settimeout(2.0)
    return line


def test_tcp_serves_one_host_after_another_and_turns_a_second_away() -> None:
    served = Served(EmulatedBoard(default_machine()), TcpDoor(0))
    board = served.paced.board
    assert isinstance(board, EmulatedBoard)
    for _ in range(2):
        with connect(served) as line:
            line.sendall(HELLO)
            assert framing.Splitter().feed(line.recv(200))
            with connect(served) as second:
                assert second.recv(1) == b""
        time.sleep(0.2)
    assert board.boots == 1
    served.close()


def test_a_tcp_port_that_is_taken() -> None:
    door = TcpDoor(0)
    with pytest.raises(PortError, match="cannot listen") as caught:
        TcpDoor(int(door.address.rsplit(":", 1)[1]))
    assert caught.value.hint
    door.close()


def test_a_host_that_does_not_read_does_not_hold_the_board_up(pty_board: Served) -> None:
    port = open_raw(pty_board.door.address)
    time.sleep(BOOT_S + 0.1)
    board = pty_board.paced.board
    assert isinstance(board, EmulatedBoard)
    done = threading.Event()

    def flood() -> None:
        for _ in range(200):
            pty_board.door.send(bytes(1000))
        done.set()

    threading.Thread(target=flood, daemon=True).start()
    assert done.wait(2.0)
    ticks = board.ticks
    time.sleep(0.2)
    assert board.ticks > ticks
    os.close(port)


def test_a_board_that_breaks_ends_the_serving_with_its_fault() -> None:
    class Broken(EmulatedBoard):
        def step(self, ticks: int = 1) -> None:
            raise ZeroDivisionError("our bug")

    served = Served(Broken(default_machine()), TcpDoor(0))
    with pytest.raises(ZeroDivisionError):
        served.wait()
    served.close()


def start(*words: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "rodbench.cli.main", "emulate", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM])
def test_the_command_says_where_it_listens_and_ends_cleanly(
    tmp_path: Path, end: signal.Signals
) -> None:
    command = start(
        "--pty", "--json", "--eye", str(tmp_path / "eye"), "--state", str(tmp_path / "state.json")
    )
    assert command.stdout
    said = json.loads(command.stdout.readline())
    assert said["plant"] == "ridge vent"
    port = open_raw(said["port"])
    time.sleep(BOOT_S + 0.2)
    assert hello(port)["axis_count"] == 2
    assert EyeClient(said["eye"]).look("run_a") == "still"
    command.send_signal(end)
    rest, talk = command.communicate(timeout=10)
    assert command.returncode == 0
    assert rest == ""
    assert "Traceback" not in talk
    assert (tmp_path / "state.json").exists()
    assert not (tmp_path / "eye").exists()
    os.close(port)


def test_a_bad_plant_is_told_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("plant_file = 1\n[supply]\nvolt = 12\n")
    command = start("--tcp", "0", "--plant", str(tmp_path / "bad.toml"))
    out, talk = command.communicate(timeout=20)
    assert command.returncode == 7
    assert out == ""
    assert "bad.toml:3: supply has no key 'volt'" in talk
    assert "volts" in talk


@pytest.mark.parametrize("words", [[], ["--pty", "--tcp", "7000"]])
def test_one_door_is_needed(words: list[str]) -> None:
    from rodbench.cli.emulate import command
    from rodbench.errors import UsageError

    got = CliRunner().invoke(command, words)
    assert isinstance(got.exception, UsageError)
