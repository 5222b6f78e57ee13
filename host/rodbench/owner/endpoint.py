"""How owner and client find each other: a Unix socket, or loopback TCP with a token."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import socket
from pathlib import Path

from rodbench import durable


def has_unix_sockets() -> bool:
    """Whether this system has them; RODBENCH_OWNER_TCP=1 says no, to try the other way."""
    return hasattr(socket, "AF_UNIX") and not os.environ.get("RODBENCH_OWNER_TCP")


class Endpoint:
    """The place in the runtime folder that belongs to one port."""

    def __init__(self, folder: Path, key: str) -> None:
        self.socket_path = folder / f"{key}.sock"
        self.token_path = folder / f"{key}.token"
        self.lock_path = folder / f"{key}.lock"
        self.log_path = folder / f"{key}.log"

    def listen(self) -> tuple[socket.socket, str]:
        """A listening socket and its token ("" for Unix sockets). Only for who holds the lock:
        what is left of a crashed owner is removed."""
        self.remove()
        if has_unix_sockets():
            listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            listener.bind(str(self.socket_path))
            listener.listen()
            return listener, ""
        listener = socket.create_server(("127.0.0.1", 0))
        token = secrets.token_hex(16)
        place = {"port": listener.getsockname()[1], "token": token}
        _write_private(self.token_path, json.dumps(place))
        return listener, token

    def connect(self) -> tuple[socket.socket, str] | None:
        """A connection and the token to show; None when nobody listens."""
        try:
            if has_unix_sockets():
                line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
                try:
                    line.connect(str(self.socket_path))
                except OSError:
                    line.close()
                    raise
                return line, ""
            place = json.loads(self.token_path.read_text())
            line = socket.create_connection(("127.0.0.1", place["port"]), 2.0)
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return line, place["token"]
        except (OSError, ValueError, KeyError):
            return None

    def remove(self) -> None:
        """Remove socket and token."""
        for path in (self.socket_path, self.token_path):
            with contextlib.suppress(OSError):
                path.unlink()

    def tidy(self) -> None:
        """Remove them, and a log that says nothing."""
        self.remove()
        with contextlib.suppress(OSError):
            if not self.log_path.stat().st_size:
                self.log_path.unlink()


def _write_private(path: Path, text: str) -> None:
    fresh = path.with_suffix(".new")
    with contextlib.suppress(OSError):
        fresh.unlink()
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
    fresh.replace(path)


class Lock:
    """An exclusive lock on a file, held until closed or until the process ends, however it ends."""

    def __init__(self, path: Path) -> None:
        self._file = open(path, "a+b")  # noqa: SIM115 (held until close)

    def take(self) -> bool:
        """Whether it is ours now."""
        return durable.alone(self._file.fileno())

    def close(self) -> None:
        """Give it up."""
        self._file.close()
