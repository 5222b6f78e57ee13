"""Starting the owner of a port, once, and connecting to it."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

from rodbench.errors import NoAnswer, PortError
from rodbench.owner import lines, places
from rodbench.owner.endpoint import Endpoint, Lock

START_S = 20.0  # Python, opening the port, and a board that boots slowly
RETRY_S = 0.05
END_S = 5.0  # an owner that was told to end: its last stop, and closing the port


def connect(port: str, folder: str | None) -> tuple[socket.socket, str]:
    """A connection to the owner of `port` and the token to show; starts the owner if need be."""
    endpoint = Endpoint(places.runtime_folder(), places.key(port, folder))
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline:
        if (found := endpoint.connect()) is not None:
            return found
        if not _start(port, folder, endpoint):
            time.sleep(RETRY_S)  # another command is starting it just now
    raise NoAnswer(
        f"the process that should hold {port} did not start in {START_S:.0f} s",
        kept="nothing was sent",
        hint=f"see {endpoint.log_path}",
    )


@contextlib.contextmanager
def kept_free(port: str) -> Iterator[None]:
    """No owner holds `port` inside, and no command starts one: for another program to use it.

    Raises PortError when an owner does not end.
    """
    endpoint = Endpoint(places.runtime_folder(), places.key(port, None))
    lock = Lock(endpoint.lock_path)
    try:
        deadline = time.monotonic() + END_S
        while not lock.take():
            if time.monotonic() > deadline:
                raise PortError(
                    f"the process that holds {port} does not end",
                    kept="nothing was changed",
                    hint="it ends by itself when idle for ten seconds",
                )
            time.sleep(RETRY_S)
        yield
    finally:
        lock.close()


def _start(port: str, folder: str | None, endpoint: Endpoint) -> bool:
    """Start an owner and wait until it listens; False when another one has the lock. Raises what
    kept it from opening the port."""
    command = [sys.executable, "-m", "rodbench.owner", _absolute(port)]
    if folder:
        command += ["--folder", os.path.abspath(folder)]
    with open(endpoint.log_path, "ab") as log:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=log,
            **_apart(),
        )
    said = _first_line(process)
    if "error" in said:
        raise lines.error_from(said["error"])
    if not said:
        raise PortError(
            f"the process that should hold {port} ended at once",
            kept="nothing was sent",
            hint=f"see {endpoint.log_path}",
        )
    return bool(said.get("ready"))


def _absolute(port: str) -> str:
    if port.startswith("emulator:"):
        return "emulator:" + os.path.abspath(port.partition(":")[2])
    return port


def _apart() -> dict[str, Any]:
    """Ctrl-C and the end of the terminal must not reach it."""
    if os.name == "posix":
        return {"start_new_session": True}
    return {"creationflags": 0x00000008 | 0x00000200}  # detached, a process group of its own


def _first_line(process: subprocess.Popen[bytes]) -> dict[str, Any]:
    got: list[bytes] = []
    assert process.stdout is not None
    pipe = process.stdout
    reader = threading.Thread(target=lambda: got.append(pipe.readline()), daemon=True)
    reader.start()
    reader.join(START_S)
    if reader.is_alive():
        process.kill()
        return {}
    pipe.close()
    try:
        said = json.loads(got[0])
    except (ValueError, IndexError):
        return {}
    return said if isinstance(said, dict) else {}
