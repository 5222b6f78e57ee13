"""Ways to a board: bytes out, bytes in. A transport knows no frame."""

from __future__ import annotations

import contextlib
import errno
import os
import select
import socket
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from rodbench.errors import LinkLost, PortError
from rodbench.link import holders

if TYPE_CHECKING:
    from rodbench.clock import VirtualClock

BAUD = 250_000
WRITE_TIMEOUT_S = 0.5  # nobody waits longer than this to send, a stop least of all
CONNECT_TIMEOUT_S = 3.0


class Transport(Protocol):
    """A way to a board. `threaded`: read may be called from a reader thread of its own; else
    whoever waits reads, and reading lets time pass."""

    name: str
    threaded: bool

    def write(self, data: bytes) -> None:
        """Send; raises LinkLost when the port is gone."""
        ...

    def read(self, timeout_s: float) -> bytes:
        """What has come, waiting up to `timeout_s` for the first byte; raises LinkLost."""
        ...

    def close(self) -> None:
        """Give the port up; safe to repeat."""
        ...


class EmulatedPort(Protocol):
    """What EmulatorTransport needs of an emulated board."""

    def write(self, data: bytes) -> object:
        """Bytes to the board's line."""
        ...

    def read(self) -> bytes:
        """Bytes that have come over the line."""
        ...


class EmulatorTransport:
    """An emulated board in this process and in virtual time: waiting steps it, tick by tick."""

    threaded = False

    def __init__(self, board: EmulatedPort, clock: VirtualClock, name: str = "emulator") -> None:
        self.board = board
        self.clock = clock
        self.name = name

    def write(self, data: bytes) -> None:
        """To the board's line, from the present tick on."""
        self.board.write(data)

    def read(self, timeout_s: float) -> bytes:
        """Steps ticks until something comes or `timeout_s` has passed."""
        deadline = self.clock.now() + timeout_s
        while not (data := self.board.read()):
            if self.clock.now() >= deadline - 1e-9:
                return b""
            self.clock.advance(1)
        return data

    def close(self) -> None:
        """Nothing to give up."""


class SerialTransport:
    """A serial port: exclusive, 8N1, and told not to drop DTR when it is closed."""

    threaded = True

    def __init__(self, port: str, baud: int = BAUD) -> None:
        self.name = port
        self._serial = _open_serial(port, baud)

    def write(self, data: bytes) -> None:
        """Send; raises LinkLost when the port is gone. What a full port does not take in time is
        lost as on a bad line: the missing reply tells."""
        from serial import SerialTimeoutException

        try:
            self._serial.write(data)
        except SerialTimeoutException:
            return
        except (OSError, ValueError, TypeError) as error:
            raise LinkLost(f"{self.name} went away: {error}") from error

    def read(self, timeout_s: float) -> bytes:
        """One blocking wait for the first byte, then what is there."""
        try:
            if self._serial.timeout != timeout_s:
                self._serial.timeout = timeout_s
            data: bytes = self._serial.read(1)
            if data:
                data += self._serial.read(self._serial.in_waiting)
        except (OSError, ValueError, TypeError) as error:  # TypeError: closed meanwhile
            raise LinkLost(f"{self.name} went away: {error}") from error
        return data

    def close(self) -> None:
        """Close the port; HUPCL is off, so most boards stay up."""
        with contextlib.suppress(OSError):
            self._serial.close()


def _open_serial(port: str, baud: int) -> Any:
    import serial

    _look_before(port)
    try:
        # 115 200 first: HUPCL is changed through calls that know only the classic rates
        line = serial.Serial(
            port, 115_200, exclusive=True, timeout=0.1, write_timeout=WRITE_TIMEOUT_S
        )
    except (OSError, ValueError) as error:
        raise _translate(port, error) from error
    try:
        keep_dtr(line)
        line.baudrate = baud
    except (OSError, ValueError) as error:
        line.close()
        raise PortError(
            f"{port} does not take {baud} baud: {error}", hint="is it a serial port?"
        ) from error
    return line


def keep_dtr(line: Any) -> bool:
    """Clear HUPCL, so that closing does not drop DTR and the next open restarts no board.

    Returns whether the system could do it. It needs POSIX terminal calls.
    """
    try:
        import termios
    except ImportError:
        return False
    try:
        attributes = termios.tcgetattr(line.fileno())
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(line.fileno(), termios.TCSANOW, attributes)
    except (termios.error, OSError):
        return False
    return True


def _look_before(port: str) -> None:
    """Opening raises DTR before it can be refused, so see first whether the port is usable."""
    if os.name != "posix":
        return
    path = Path(port)
    if not os.path.exists(path):  # False, too, in a folder that we may not enter
        raise PortError(
            f"there is no port {port}",
            kept="nothing was sent",
            hint="`rodbench ports` lists what is there; is the cable in?",
        )
    if not os.access(path, os.R_OK | os.W_OK):
        raise PortError(
            f"no permission for {port}",
            kept="nothing was sent",
            hint=holders.permission_hint(path),
        )
    held = holders.find(path)
    if held:  # with a lock or without: two programs on one port get half of the bytes each
        raise _held(port, held)


def _held(port: str, held: list[holders.Holder]) -> PortError:
    who = ", ".join(str(h) for h in held) or "another program"
    return PortError(
        f"{port} is held by {who}",
        kept="nothing was sent",
        hint="end that program, or wait until it gives the port up",
    )


def _translate(port: str, error: Exception) -> PortError:
    number = getattr(error, "errno", None)
    text = str(error)
    if number in (errno.EAGAIN, errno.EBUSY) or "exclusively lock" in text:
        return _held(port, holders.find(Path(port)))
    if number == errno.EACCES:
        return PortError(
            f"no permission for {port}",
            kept="nothing was sent",
            hint=holders.permission_hint(Path(port)),
        )
    return PortError(
        f"{port} cannot be opened: {text}", kept="nothing was sent", hint="`rodbench ports`"
    )


class TcpTransport:
    """A board behind a TCP port (an emulator, or a serial server)."""

    threaded = True

    def __init__(self, host: str, port: int) -> None:
        self.name = f"tcp:{host}:{port}"
        try:
            self._socket = socket.create_connection((host, port), CONNECT_TIMEOUT_S)
        except OSError as error:
            raise PortError(
                f"nothing listens on {self.name}: {error}",
                kept="nothing was sent",
                hint="is the emulator or the serial server running?",
            ) from error
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.settimeout(WRITE_TIMEOUT_S)

    def write(self, data: bytes) -> None:
        """Send; raises LinkLost when the other side is gone."""
        try:
            self._socket.sendall(data)
        except OSError as error:
            raise LinkLost(f"{self.name} went away: {error}") from error

    def read(self, timeout_s: float) -> bytes:
        """What has come, waiting for the first byte."""
        try:
            if not select.select([self._socket], [], [], timeout_s)[0]:
                return b""
            data = self._socket.recv(4096)
        except (OSError, ValueError) as error:  # ValueError: closed meanwhile
            raise LinkLost(f"{self.name} went away: {error}") from error
        if not data:
            raise LinkLost(f"{self.name} was closed by the other side")
        return data

    def close(self) -> None:
        """Close the connection."""
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()


class ReaderThread:
    """Reads a transport until it ends, and hands over bytes, or the error that ended it."""

    POLL_S = 0.1  # how soon it notices that it should end

    def __init__(self, transport: Transport, take: Any, fail: Any) -> None:
        self._transport = transport
        self._take = take
        self._fail = fail
        self._ending = False
        self._thread = threading.Thread(
            target=self._run, name=f"read {transport.name}", daemon=True
        )
        self._thread.start()

    def end(self) -> None:
        """Ask it to end and wait for that."""
        self._ending = True
        if self._thread is not threading.current_thread():
            self._thread.join(1.0)

    def _run(self) -> None:
        try:
            while not self._ending:
                data = self._transport.read(self.POLL_S)
                if data:
                    self._take(data)
        except LinkLost as error:
            if not self._ending:
                self._fail(error)
        except Exception as error:  # a bug of ours or of a driver: whoever waits must hear of it
            self._fail(LinkLost(f"{self._transport.name} cannot be read: {error!r}"))
            raise


__all__ = [
    "BAUD",
    "EmulatorTransport",
    "ReaderThread",
    "SerialTransport",
    "TcpTransport",
    "Transport",
    "keep_dtr",
]
