"""`python -m rodbench.owner PORT`: started by the first command that needs the port.

Says one JSON line on stdout: {"ready": true}, {"taken": true} or {"error": ...}.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
from typing import Any

from rodbench.errors import RodbenchError
from rodbench.owner import lines, places
from rodbench.owner.endpoint import Endpoint, Lock
from rodbench.owner.server import Server

IDLE_S = 10.0


def main() -> int:
    """Hold the port until idle."""
    parser = argparse.ArgumentParser(prog="python -m rodbench.owner")
    parser.add_argument("port")
    parser.add_argument("--folder", help="machine folder, where the emulator keeps its state")
    parser.add_argument(
        "--idle", type=float, default=float(os.environ.get("RODBENCH_OWNER_IDLE", IDLE_S))
    )
    options = parser.parse_args()
    try:
        return _hold(options.port, options.folder, options.idle)
    except RodbenchError as error:
        _say({"error": lines.error_to(error)})
        return error.exit_code


def _hold(port: str, folder: str | None, idle_s: float) -> int:
    from rodbench.link.open import PortOpener

    endpoint = Endpoint(places.runtime_folder(), places.key(port, folder))
    lock = Lock(endpoint.lock_path)
    if not lock.take():
        _say({"taken": True})
        return 0
    opener = PortOpener(port, folder)
    try:
        server = Server(port, opener.open, idle_s=idle_s, eye=opener.eye)
        listener, token = endpoint.listen()
        for name in ("SIGTERM", "SIGINT"):
            signal.signal(getattr(signal, name), lambda *_: server.end())
        _say({"ready": True})
        server.run(listener, token)
    finally:
        opener.close()
        endpoint.tidy()
        lock.close()
    return 0


def _say(message: dict[str, Any]) -> None:
    """One line to who started us; then stdout is given up, for the pipe may be gone."""
    sys.stdout.write(lines.encode(message).decode())
    sys.stdout.flush()
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
