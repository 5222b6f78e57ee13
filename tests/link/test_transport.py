"""Serial and TCP transports: exclusive, and clear about why a port cannot be had.

A pseudo-terminal has no modem lines: the HUPCL code runs against a fake; no real USB bridge was
tried. Who holds a port is looked up in trees of fake files, and once for real.
"""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import termios
import threading
import time
from pathlib import Path

import pytest
from rodbench.errors import LinkLost, PortError, UsageError
from rodbench.link import holders, transport
from rodbench.link.open import open_port
from rodbench.link.transport import SerialTransport, TcpTransport, keep_dtr


@pytest.fixture
def pty():
    master, slave = os.openpty()
    yield master, os.ttyname(slave)
    for handle in (master, slave):
        with contextlib.suppress(OSError):
            os.close(handle)


def test_bytes_go_both_ways_unchanged(pty):
    master, path = pty
    line = SerialTransport(path)
    every = bytes(range(256))
    line.write(every)
    assert os.read(master, 4096) == every
    os.write(master, every)
    got = b""
    while len(got) < 256:
        got += line.read(1.0)
    assert got == every
    line.close()


def test_read_waits_no_longer_than_asked(pty):
    line = SerialTransport(pty[1])
    assert line.read(0.02) == b""
    line.close()


def test_the_rate_is_250_000_baud(pty):
    import fcntl
    import struct

    line = SerialTransport(pty[1])
    kernel = fcntl.ioctl(line._serial.fileno(), 0x802C542A, bytes(44))  # TCGETS2
    assert struct.unpack("4I20B2I", kernel)[-2:] == (250_000, 250_000)
    line.close()


def test_closing_will_not_drop_dtr(pty):
    line = SerialTransport(pty[1])
    assert not termios.tcgetattr(line._serial.fileno())[2] & termios.HUPCL
    line.close()


class FakeLine:
    def fileno(self):
        return 77


def test_hupcl_alone_is_changed(monkeypatch):
    before = [1, 2, 4 | termios.HUPCL, 8, 13, 13, [b"x"]]
    written = []
    monkeypatch.setattr(termios, "tcgetattr", lambda handle: [*before] if handle == 77 else None)
    monkeypatch.setattr(termios, "tcsetattr", lambda *given: written.append(given))
    assert keep_dtr(FakeLine())
    assert written == [(77, termios.TCSANOW, [1, 2, 4 & ~termios.HUPCL, 8, 13, 13, [b"x"]])]


def test_a_system_that_cannot_keep_dtr_is_no_error(monkeypatch):
    def no(handle):
        raise termios.error(25, "Inappropriate ioctl for device")

    monkeypatch.setattr(termios, "tcgetattr", no)
    assert not keep_dtr(FakeLine())
    monkeypatch.setitem(sys.modules, "termios", None)
    assert not keep_dtr(FakeLine())


def test_no_such_port():
    with pytest.raises(PortError, match="there is no port /dev/ttyNONE") as caught:
        open_port("/dev/ttyNONE")
    assert caught.value.exit_code == 3
    assert "rodbench ports" in caught.value.hint


def test_a_port_held_by_this_program_twice_is_refused(pty):
    line = SerialTransport(pty[1])
    with pytest.raises(PortError, match="is held by"):
        SerialTransport(pty[1])
    line.close()
    SerialTransport(pty[1]).close()


@pytest.mark.parametrize("lock", ["fcntl.flock(f, fcntl.LOCK_EX)", "pass"])
def test_a_port_held_by_another_program_is_refused_with_its_name(pty, lock):
    code = f"import fcntl, sys; f = open(sys.argv[1], 'rb+', 0); {lock}; print('held'); input()"
    other = subprocess.Popen(
        [sys.executable, "-u", "-c", code, pty[1]],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout.readline() == "held\n"
    with pytest.raises(PortError, match=rf"is held by .*process {other.pid}"):
        SerialTransport(pty[1])
    other.communicate("\n")
    SerialTransport(pty[1]).close()


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root to become somebody else")
def test_no_permission_as_an_unprivileged_user(pty):
    os.chmod(pty[1], 0o600)
    code = (
        "import sys, serial, grp  # while the interpreter's own files may be read\n"
        "from rodbench.errors import PortError\n"
        "from rodbench.link.open import open_port\n"
        "import os; os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "try: open_port(sys.argv[1])\n"
        "except PortError as e: print(e, '|', e.hint, '|', e.exit_code)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, pty[1]], capture_output=True, text=True, timeout=20
    )
    assert done.stdout.startswith(f"no permission for {pty[1]} | "), done.stderr
    assert done.stdout.rstrip().endswith("| 3")


def test_a_port_that_goes_away(pty):
    master, path = pty
    line = SerialTransport(path)
    threading.Timer(0.05, os.close, [master]).start()
    with pytest.raises(LinkLost, match="went away"):
        line.read(2.0)
    with pytest.raises(LinkLost):
        line.write(b"x")
    line.close()


def test_a_port_that_takes_nothing_holds_nobody_up_for_long(pty):
    line = SerialTransport(pty[1])
    start = time.monotonic()
    for _ in range(4):
        line.write(bytes(10_000))  # nobody reads the other end
    assert time.monotonic() - start < 4.0
    line.close()


def test_what_is_no_serial_port(tmp_path):
    plain = tmp_path / "file"
    plain.write_text("")
    with pytest.raises(PortError, match="cannot be opened"):
        open_port(str(plain))


@pytest.mark.parametrize("port", ["tcp:", "tcp:localhost", "tcp:localhost:x", "tcp::1"])
def test_tcp_ports_are_spelled_out(port):
    with pytest.raises(UsageError, match="tcp:HOST:PORT"):
        open_port(port)


def test_tcp_nobody_listens():
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
    with pytest.raises(PortError, match="nothing listens"):
        open_port(f"tcp:127.0.0.1:{number}")


def test_tcp_bytes_both_ways_and_the_end():
    with socket.create_server(("127.0.0.1", 0)) as server:
        line = TcpTransport("127.0.0.1", server.getsockname()[1])
        other, _ = server.accept()
        line.write(b"out\0")
        assert other.recv(10) == b"out\0"
        other.sendall(b"in\0")
        assert line.read(1.0) == b"in\0"
        assert line.read(0.01) == b""
        other.close()
        with pytest.raises(LinkLost, match="closed by the other side"):
            line.read(1.0)
        line.close()


def fake_proc(tmp_path: Path, port: Path) -> Path:
    proc = tmp_path / "proc"
    for pid, command, target in ((7, b"logger\0-f\0", port), (8, b"shell\0", tmp_path / "x")):
        folder = proc / str(pid) / "fd"
        folder.mkdir(parents=True)
        (folder / "3").symlink_to(target)
        (proc / str(pid) / "cmdline").write_bytes(command)
    (proc / "9").mkdir()  # of another user: no fd to be read
    return proc


def test_holders_are_found_in_a_tree_of_fake_files(tmp_path):
    port = tmp_path / "ttyX"
    port.write_text("")
    proc = fake_proc(tmp_path, port)
    assert [str(h) for h in holders.find(port, proc)] == ["logger -f (process 7)"]
    assert not holders.find(port, proc)[0].serves
    (proc / "7" / "cmdline").write_bytes(b"python\0-m\0rodbench.owner\0/dev/ttyX\0")
    assert holders.find(port, proc)[0].serves


def test_nobody_is_found_where_there_is_no_proc(tmp_path):
    assert holders.find(tmp_path, tmp_path / "none") == []


@pytest.mark.parametrize(
    ("mode", "words"), [(0o660, "usermod -aG root"), (0o600, 'MODE="0660", GROUP="dialout"')]
)
def test_what_to_do_about_a_missing_permission(tmp_path, mode, words):
    port = tmp_path / "ttyX"
    port.write_text("")
    os.chown(port, 0, 0)
    port.chmod(mode)
    assert words in holders.permission_hint(port)


def test_reader_thread_hands_over_bytes_and_then_the_error(pty):
    master, path = pty
    got, errors = [], []
    reader = transport.ReaderThread(SerialTransport(path), got.append, errors.append)
    os.write(master, b"abc")
    for _ in range(200):
        if got:
            break
        threading.Event().wait(0.005)
    os.close(master)
    reader._thread.join(2.0)
    assert b"".join(got) == b"abc"
    assert len(errors) == 1
