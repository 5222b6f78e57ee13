"""Serves an emulated board on a pty or a TCP port, for any program that speaks to a serial port.

The pty behaves like a board whose opening restarts it: as on a real port the restart comes with the
rising modem line, which stays up after a close when HUPCL was cleared. A pty has no modem lines, so
this is a model of them; no real USB bridge was tried.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
import time
from typing import Any, Protocol

from rodbench.emulator.paced import PacedBoard, SteppedBoard
from rodbench.errors import PortError

LOOK_EVERY_S = 0.002  # how soon an opening or closing of the pty is seen
BACKLOG = 4096  # bytes that wait for a host that does not read; more is dropped, as a bridge does


class Door(Protocol):
    """Where hosts come in."""

    address: str

    def send(self, data: bytes) -> None:
        """Bytes to the host, if there is one."""
        ...

    def serve(self, board: PacedBoard, ending: threading.Event) -> None:
        """Carry bytes from the host until `ending` is set."""
        ...

    def close(self) -> None:
        """Give the port up."""
        ...


class PtyDoor:
    """A pseudo terminal; `address` is the name that a host opens. POSIX only."""

    def __init__(self) -> None:
        try:
            import pty
            import tty
        except ImportError as problem:
            raise PortError(
                "this system has no pty", kept="no emulator was started", hint="--tcp PORT"
            ) from problem
        self._master, slave = pty.openpty()
        self.address = os.ttyname(slave)
        tty.setraw(slave)
        self._set_hupcl(slave)
        os.close(slave)
        os.set_blocking(self._master, False)
        self._poll = select.poll()
        self._poll.register(self._master, select.POLLIN)
        self._open = False
        self._restarts = True
        self._waiting = bytearray()

    def _set_hupcl(self, slave: int) -> None:
        import termios

        attributes = termios.tcgetattr(slave)
        attributes[2] |= termios.HUPCL
        termios.tcsetattr(slave, termios.TCSANOW, attributes)

    def _has_hupcl(self) -> bool:
        import termios

        return bool(termios.tcgetattr(self._master)[2] & termios.HUPCL)

    def send(self, data: bytes) -> None:
        """Bytes to the host; dropped while nobody has the pty open."""
        if not self._open:
            return
        self._waiting += data
        with contextlib.suppress(OSError):
            del self._waiting[: os.write(self._master, self._waiting)]
        del self._waiting[BACKLOG:]

    def serve(self, board: PacedBoard, ending: threading.Event) -> None:
        """Carry bytes; restart the board when a host opens the pty."""
        while not ending.is_set():
            events = self._poll.poll(50 if self._open else 0)
            hung_up = bool(events and events[0][1] & select.POLLHUP)
            if hung_up == self._open:
                self._turn(not hung_up, board)
            if self._open:
                with contextlib.suppress(OSError):
                    board.write(os.read(self._master, 4096))
            else:
                ending.wait(LOOK_EVERY_S)

    def _turn(self, now_open: bool, board: PacedBoard) -> None:
        if now_open:
            self._waiting.clear()
            if self._restarts:
                board.reset("external")
        else:
            self._restarts = self._has_hupcl()
        self._open = now_open

    def close(self) -> None:
        """Take the pty away: a host sees its port vanish."""
        with contextlib.suppress(OSError):
            os.close(self._master)


class TcpDoor:
    """A TCP port on this computer, for one host at a time; connecting restarts nothing."""

    def __init__(self, port: int, host: str = "127.0.0.1") -> None:
        try:
            self._listener = socket.create_server((host, port))
        except (OSError, OverflowError) as problem:
            raise PortError(
                f"cannot listen on {host}:{port}: {problem}",
                kept="no emulator was started",
                hint="another port, or 0 for any that is free",
            ) from problem
        self.address = f"tcp:{host}:{self._listener.getsockname()[1]}"
        self._host: socket.socket | None = None

    def send(self, data: bytes) -> None:
        """Bytes to the host, if one is connected and takes them."""
        host = self._host
        if host is not None:
            with contextlib.suppress(OSError):
                host.send(data)

    def serve(self, board: PacedBoard, ending: threading.Event) -> None:
        """Carry bytes; a second host is turned away while one is there."""
        while not ending.is_set():
            watched = [self._listener] + ([self._host] if self._host else [])
            for ready in select.select(watched, [], [], 0.05)[0]:
                if ready is self._listener:
                    self._welcome()
                else:
                    self._receive(board)

    def _welcome(self) -> None:
        host, _ = self._listener.accept()
        if self._host is not None:
            host.close()
            return
        host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        host.setblocking(False)
        self._host = host

    def _receive(self, board: PacedBoard) -> None:
        host = self._host
        assert host is not None
        try:
            data = host.recv(4096)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if data:
            board.write(data)
        else:
            self._host = None
            host.close()

    def close(self) -> None:
        """Give the port up."""
        self._listener.close()
        if self._host is not None:
            self._host.close()


class Served:
    """An emulated board behind a door, until `close`."""

    def __init__(self, board: SteppedBoard, door: Door, speed: float = 1.0) -> None:
        self.door = door
        self.paced = PacedBoard(board, door.send, speed)
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._serve, name="emulator door", daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        self.door.serve(self.paced, self._ending)

    def wait(self) -> None:
        """Until somebody interrupts. Raises what broke the board, if anything did."""
        while self._thread.is_alive():
            if self.paced.broken is not None:
                raise self.paced.broken
            time.sleep(0.2)

    def look(self, question_id: str, axis: int = 0) -> str | None:
        """What the machine's eye answers."""
        answer: Any = self.paced.look(id=question_id, axis=axis)["answer"]
        return None if answer is None else str(answer)

    def close(self) -> None:
        """End, and keep the state."""
        self._ending.set()
        self._thread.join(1.0)
        self.door.close()
        self.paced.close()
