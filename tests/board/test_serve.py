"""The binary behind a port, in real time, as a person would use it."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest
from rodbench_protocol import framing
from rodbench_protocol.messages import pack, parse
from rodbench_protocol.names import SCHEMA_DIGEST

from tests.board.build import ROOT, firmware

DEADLINE_S = 20.0


@pytest.fixture
def served() -> Iterator[str]:
    """Where `python -m tests.board.serve --tcp 0` listens."""
    firmware()  # built before the clock runs
    command = [sys.executable, "-m", "tests.board.serve", "--tcp", "0"]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    yield json.loads(process.stdout.readline())["listens"]
    process.terminate()
    process.wait(10)
    process.stdout.close()


def test_hello_over_tcp_in_real_time(served: str) -> None:
    host, port = served.removeprefix("tcp:").rsplit(":", 1)
    splitter, deadline = framing.Splitter(), time.monotonic() + DEADLINE_S
    with socket.create_connection((host, int(port)), 5) as line:
        line.settimeout(0.5)
        while time.monotonic() < deadline:
            line.sendall(framing.encode(pack("hello", 0, 0)))
            try:
                frames = splitter.feed(line.recv(4096))
            except TimeoutError:
                continue
            for message in (parse(framing.decode(frame)) for frame in frames):
                if message.name == "hello":
                    assert message.fields["schema_digest"] == SCHEMA_DIGEST
                    return
    raise AssertionError("no hello from the served binary")


def test_a_wrong_plant_file_is_named() -> None:
    command = [sys.executable, "-m", "tests.board.serve", "--plant", "no-such.toml"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "no-such.toml" in done.stderr
    assert "Traceback" not in done.stderr


def test_missing_tools_are_named_with_the_line_to_type(monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.board import build

    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(build.ToolsMissing, match=r"gcc-avr.*apt install gcc-avr"):
        build.require_tools()
