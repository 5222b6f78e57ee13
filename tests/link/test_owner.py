"""The owner process: starts by itself, ends when idle, serves several commands, stops for all."""

from __future__ import annotations

import os
import signal
import socket
import stat
import subprocess
import sys
import textwrap
import threading
import time

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.errors import HeldError, Interrupted, LinkLost, NoAnswer, PortError, ProtocolMismatch
from rodbench.link.client import Client
from rodbench.owner import lines, places
from rodbench.owner.connection import Connection
from rodbench.owner.endpoint import Endpoint
from rodbench.owner.server import Server
from rodbench_protocol.names import MessageId

from tests.link.conftest import owners, wait_for
from tests.link.fake_board import FakeBoard, FakeOnPty, FakeTransport


@pytest.fixture
def fake(runtime):
    port = FakeOnPty()
    yield port
    if not port._ending:
        port.close()


def names(fake):
    return [name for name, _ in fake.board.carried_out]


def axis_sample(fake, **fields):
    fake.board.tick += 2
    fake.send(fake.board.unasked("telemetry_axis", axis=1, **fields))


def test_it_starts_by_itself_once_and_ends_when_idle(fake, runtime):
    with Board.open(fake.path) as board, Board.open(fake.path) as other:
        assert board.hello.name == other.hello.name == "fake"
        assert len(owners(runtime)) == 1
        assert names(fake).count("open") == 1
    wait_for(lambda: not owners(runtime), 4, "end of the idle owner")
    assert not list(runtime.glob("*.sock"))


def test_two_commands_at_once_start_one_owner(fake, runtime):
    boards, errors = [], []

    def open_one():
        try:
            boards.append(Board.open(fake.path))
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=open_one) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(15)
    assert not errors
    assert len(boards) == 4
    assert len(owners(runtime)) == 1
    assert names(fake).count("open") == 1
    for board in boards:
        board.close()


def test_an_owner_that_has_decided_to_end_lets_nobody_in():
    clock = VirtualClock()
    client = Client(FakeTransport(FakeBoard(), clock), clock)
    server = Server("fake", lambda warn, opened: client, idle_s=0.0)
    ours, theirs = socket.socketpair()
    with ours, theirs:
        connection = Connection(ours, lambda c, m: {}, lambda c, m: {})
        server._greet(connection, {"who": "early", "pid": 1})
        assert not connection.closed.is_set()
        assert server._idle()
        server._greet(connection, {"who": "late", "pid": 1})
        assert connection.closed.is_set()


def test_the_runtime_folder_is_private(fake, runtime):
    with Board.open(fake.path):
        assert stat.S_IMODE(runtime.stat().st_mode) == 0o700


def test_a_runtime_folder_of_somebody_else_is_not_used(fake, runtime):
    runtime.mkdir()
    os.chown(runtime, 65534, 65534)
    with pytest.raises(PortError, match="not a folder of yours"):
        Board.open(fake.path)


def test_the_other_way_loopback_with_a_token(fake, runtime, monkeypatch):
    monkeypatch.setenv("RODBENCH_OWNER_TCP", "1")
    with Board.open(fake.path) as board:
        assert board.counters()["requests_done"] == 0
        (token,) = runtime.glob("*.token")
        assert stat.S_IMODE(token.stat().st_mode) == 0o600
        line, _ = Endpoint(runtime, token.stem).connect()
        line.sendall(lines.encode({"id": 1, "do": "greet", "token": "guess", "who": "x"}))
        assert "wrong token" in line.recv(4096).decode()
        line.sendall(lines.encode({"id": 2, "do": "request", "name": "counters", "fields": {}}))
        assert "who you are" in line.recv(4096).decode()
        line.close()


def test_one_commands_and_the_other_is_told_who(fake):
    with Board.open(fake.path, who="jog 1") as board, Board.open(fake.path) as other:
        motion = board.axis(1).jog(5.0)
        with pytest.raises(HeldError) as caught:
            other.axis(2).jog(5.0)
        assert "'jog 1'" in str(caught.value)
        assert f"process {os.getpid()}" in str(caught.value)
        assert names(fake).count("jog") == 1
        assert "stop" not in names(fake)
        motion.stop_now()
        other.axis(2).jog(5.0).stop_now()  # given back
        assert names(fake).count("jog") == 2


def test_settings_are_written_by_one_at_a_time(fake):
    with Board.open(fake.path, who="push") as board, Board.open(fake.path) as other:
        board.request("draft_begin", scope=1)
        with pytest.raises(HeldError, match="'push'"):
            other.request("draft_begin", scope=2)
        with pytest.raises(HeldError):
            other.axis(1).jog(1.0)
        board.request("draft_commit", scope=1)
        other.request("draft_begin", scope=2)


def test_a_renewal_of_another_client_does_not_pass(fake):
    with Board.open(fake.path) as board, Board.open(fake.path) as other:
        motion = board.axis(1).jog(5.0)
        other.link.alive()
        other.counters()
        assert fake.board.renewals == []
        board.link.alive()
        wait_for(lambda: fake.board.renewals, 1, "renewal")
        assert len(fake.board.renewals) == 1
        motion.stop_now()


def test_the_owner_renews_nothing_by_itself(fake):
    with Board.open(fake.path) as board:
        motion = board.axis(1).jog(5.0)
        for _ in range(20):
            axis_sample(fake, state=2, motion=motion.number)
            time.sleep(0.02)
        assert fake.board.renewals == []
        motion.stop_now()


def test_the_tick_in_a_renewal_is_the_one_that_the_client_has_seen(fake):
    with Board.open(fake.path) as board, Board.open(fake.path) as other:
        motion = board.axis(1).jog(5.0)
        seen = board.link.newest_tick
        axis_sample(fake, state=2, motion=motion.number)
        other.counters()  # the owner and the other client know newer ticks now
        board.link.alive()
        wait_for(lambda: fake.board.renewals, 1, "renewal")
        assert fake.board.renewals == [seen]
        motion.stop_now()


def test_stop_of_anybody_passes_while_a_request_is_waited_for(fake):
    with Board.open(fake.path) as board, Board.open(fake.path) as other:
        board.subscribe()
        real = fake.board._answer
        fake.board._answer = lambda p: real(p) if p[0] == MessageId.STOP else b""
        asked = threading.Thread(target=board.counters)
        asked.start()
        time.sleep(0.05)
        start = time.monotonic()
        other.stop()
        assert time.monotonic() - start < 0.1
        assert "counters" not in names(fake)
        fake.board._answer = real
        asked.join(10)


def test_a_stop_of_another_client_ends_what_a_script_goes_on_with(fake):
    with Board.open(fake.path) as board, Board.open(fake.path, who="the second") as other:
        board.axis(1).jog(5.0).stop_now()
        other.stop()  # between two motions of a procedure
        with pytest.raises(Interrupted, match="'the second'"):
            board.axis(1).jog(5.0)
        assert names(fake).count("jog") == 1
        board.axis(1).jog(5.0).stop_now()  # told once: the script has decided to go on
        board.stop()  # its own stop is no news
        board.axis(1).jog(5.0).stop_now()


def client_program(body: str) -> str:
    return textwrap.dedent(
        """
        import sys, time
        from rodbench.board import Board
        board = Board.open(sys.argv[1], who="child")
        motion = board.axis(1).jog(5.0)
        print("moving", flush=True)
        """
    ) + textwrap.dedent(body)


def start_client(fake, body):
    child = subprocess.Popen(
        [sys.executable, "-c", client_program(body), fake.path],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stdout.readline() == "moving\n"
    return child


RUN_ON = "while True: board.pump()"


def test_a_killed_client_renews_no_more_and_the_owner_stops_its_axis(fake):
    child = start_client(fake, RUN_ON)
    wait_for(lambda: len(fake.board.renewals) > 2, 2, "renewals")
    child.kill()
    wait_for(lambda: ("stop", {"axis": 1, "category": 1}) in fake.board.carried_out, 1, "stop")
    count = len(fake.board.renewals)
    time.sleep(0.3)
    assert len(fake.board.renewals) == count


def test_a_stopped_client_renews_no_more_and_gives_way_after_a_second(fake):
    child = start_client(fake, RUN_ON)
    wait_for(lambda: len(fake.board.renewals) > 2, 2, "renewals")
    child.send_signal(signal.SIGSTOP)
    time.sleep(0.15)
    count = len(fake.board.renewals)
    time.sleep(0.4)
    assert len(fake.board.renewals) == count
    with Board.open(fake.path) as board:
        with pytest.raises(HeldError):
            board.axis(1).jog(1.0)
        time.sleep(1.0)
        board.axis(1).jog(1.0).stop_now()
    child.kill()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_stops_the_rod_before_the_client_ends(fake, number):
    child = start_client(fake, "motion.wait()")
    wait_for(lambda: len(fake.board.renewals) > 2, 2, "renewals")
    child.send_signal(number)
    wait_for(lambda: "stop" in names(fake), 1, "stop")
    _, said = child.communicate(timeout=5)
    assert "KeyboardInterrupt" in said or "Interrupted" in said


def test_stop_category_0_follows_when_category_1_is_not_answered(fake):
    child = start_client(fake, "motion.wait()")
    wait_for(lambda: len(fake.board.renewals) > 2, 2, "renewals")
    real, heard = fake.board._answer, []

    def deaf_to_category_1(payload):
        if payload[0] == 0x10:
            heard.append(payload[4])
            if payload[4] == 1:
                return b""
        return real(payload)

    fake.board._answer = deaf_to_category_1
    child.send_signal(signal.SIGTERM)
    child.communicate(timeout=5)
    assert heard[:4] == [1, 1, 1, 0]


def test_unplugging_is_told_at_once(fake):
    with Board.open(fake.path) as board:
        motion = board.axis(1).jog(5.0)
        threading.Timer(0.3, fake.unplug).start()
        start = time.monotonic()
        with pytest.raises(LinkLost) as caught:
            motion.wait(3.0)
        assert time.monotonic() - start < 0.6
        assert "hold" in caught.value.kept
        with pytest.raises((LinkLost, PortError, NoAnswer)):
            board.counters()


def test_after_unplugging_the_same_command_goes_on_with_a_new_session(runtime):
    fake = FakeOnPty()
    fake.board.nonce = 77
    server = PtyRelay(fake)
    with Board.open(server.port) as board:
        board.subscribe()
        server.cut()
        with pytest.raises(LinkLost):
            board.poll(2.0)
        server.serve()
        wait_for(lambda: try_counters(board), 5, "reconnection")
        assert names(fake).count("open") == 2
        assert not {"jog", "move", "run", "seek"} & set(names(fake))
        assert names(fake).count("subscribe") == 2
    server.cut()
    fake.close()


def test_a_new_command_hears_the_present_state_of_a_port_that_went_away(runtime, monkeypatch):
    monkeypatch.setenv("RODBENCH_OWNER_IDLE", "20")
    fake = FakeOnPty()
    server = PtyRelay(fake)
    with Board.open(server.port) as board:
        server.cut()
        with pytest.raises(LinkLost):
            board.counters()
    (owner,) = owners(runtime)
    with pytest.raises(PortError, match="nothing listens"):
        Board.open(server.port)
    server.serve()
    with Board.open(server.port) as board:
        board.counters()
    assert owners(runtime) == [owner]
    server.cut()
    fake.close()


def try_counters(board):
    try:
        return board.counters()
    except (LinkLost, PortError, NoAnswer):
        return None


class PtyRelay:
    """The fake board on a TCP port that can be cut and served again."""

    def __init__(self, fake):
        self.fake = fake
        self.number = 0
        self.serve()

    @property
    def port(self):
        return f"tcp:127.0.0.1:{self.number}"

    def serve(self):
        self.listener = socket.create_server(("127.0.0.1", self.number))
        self.number = self.listener.getsockname()[1]
        threading.Thread(target=self._run, args=(self.listener,), daemon=True).start()

    def _run(self, listener):
        try:
            self.line, _ = listener.accept()
            while data := self.line.recv(4096):
                self.line.sendall(self.fake.board.take(data))
        except OSError:
            pass

    def cut(self):
        self.listener.close()
        self.line.shutdown(socket.SHUT_RDWR)
        self.line.close()


def test_an_owner_that_is_killed_is_told_and_the_next_command_starts_another(fake, runtime):
    with Board.open(fake.path) as board:
        (pid,) = owners(runtime)
        os.kill(pid, signal.SIGKILL)
        with pytest.raises(LinkLost, match="ended"):
            board.counters()
    assert list(runtime.glob("*.sock"))  # stale now
    with Board.open(fake.path) as board:
        board.counters()
    assert owners(runtime) != [pid]


def test_what_is_no_socket_in_its_place_is_cleared_away(fake, runtime):
    runtime.mkdir(mode=0o700)
    (runtime / f"{places.key(fake.path, None)}.sock").write_text("left over")
    with Board.open(fake.path) as board:
        board.counters()


def test_another_version_of_the_owner_is_told(fake, monkeypatch):
    with Board.open(fake.path):
        monkeypatch.setattr(places, "version", lambda: "9.9")
        with pytest.raises(ProtocolMismatch, match=r"this is 9\.9"):
            Board.open(fake.path)


def test_the_fastest_telemetry_asked_for_is_in_force(fake):
    def asked():
        return [f for name, f in fake.board.carried_out if name == "subscribe"]

    with Board.open(fake.path) as slow:
        slow.subscribe(0.1, 1.0)
        with Board.open(fake.path) as fast:
            fast.subscribe(0.02, 2.0)
            assert asked()[-1] == {"axis_period_ms": 20, "board_period_ms": 1000}
        wait_for(
            lambda: asked()[-1] == {"axis_period_ms": 100, "board_period_ms": 1000}, 2, "slower"
        )


def test_telemetry_reaches_all_who_asked(fake):
    with Board.open(fake.path) as one, Board.open(fake.path) as two:
        one.subscribe()
        two.subscribe()
        axis_sample(fake, raw=4321)
        for board in (one, two):
            samples = []
            wait_for(lambda b=board, s=samples: s.extend(b.poll(0.1)) or s, 2, "sample")
            assert samples[0].raw == 4321


def test_a_client_that_does_not_read_holds_nobody_up(fake):
    with Board.open(fake.path) as idle, Board.open(fake.path) as board:
        idle.subscribe()
        board.subscribe()
        until = time.monotonic() + 2.0
        count = 0
        while time.monotonic() < until:
            for _ in range(50):
                axis_sample(fake)
            count += len(board.poll(0.2))
        assert count > 2000
        start = time.monotonic()
        board.counters()
        assert time.monotonic() - start < 0.2
        idle.counters()  # and its own replies still come


@pytest.mark.parametrize(
    ("make", "error", "words"),
    [
        (lambda: FakeOnPty(talk=b"login:\r\n\0"), NoAnswer, "not this protocol"),
        (lambda: FakeOnPty(boot_s=60), NoAnswer, "no reply to hello"),
        (lambda: FakeOnPty(FakeBoard(major=9)), ProtocolMismatch, "protocol 9"),
    ],
)
def test_what_keeps_the_owner_from_the_port_reaches_the_command(runtime, make, error, words):
    port = make()
    with pytest.raises(error, match=words):
        Board.open(port.path)
    port.close()
    wait_for(lambda: not owners(runtime), 3, "end of the owner")


def test_a_slow_boot_is_waited_for(runtime):
    port = FakeOnPty(boot_s=2.0)
    with Board.open(port.path) as board:
        assert board.hello.name == "fake"
    port.close()


def test_another_minor_is_said_to_each_command(runtime):
    port = FakeOnPty(FakeBoard(minor=3))
    for _ in range(2):
        heard = []
        with Board.open(port.path, warn=heard.append) as board:
            board.counters()
        assert "common part" in heard[0]
    port.close()


@pytest.mark.parametrize("rubbish", [b"[" * 100_000, b"\xff\xfe", b"x" * 3_000_000])
def test_rubbish_in_a_line_ends_no_connection(fake, runtime, rubbish):
    with Board.open(fake.path) as board:
        link = board.link
        link._line.sendall(rubbish + b"\n")
        link._line.sendall(b'{"id": 0, "do": "stop", "axis": 1e400, "category": 1}\n')
        assert link.stop(0, 1)
        assert board.outcome(1)
