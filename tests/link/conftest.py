"""Owners of these tests meet their clients in a folder of the test, and end soon."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest
from rodbench.link import holders


@pytest.fixture
def runtime(tmp_path, monkeypatch):
    """A private runtime folder; owners that a test left behind are ended by their number."""
    folder = tmp_path / "run"
    monkeypatch.setenv("RODBENCH_RUNTIME", str(folder))
    monkeypatch.setenv("RODBENCH_OWNER_IDLE", "1")
    yield folder
    for pid in owners(folder):
        os.kill(pid, signal.SIGTERM)


def owners(folder: Path) -> list[int]:
    """Processes that hold a lock file of this runtime folder."""
    return [h.pid for lock in folder.glob("*.lock") for h in holders.find(lock)]


def wait_for(condition, timeout_s: float = 5.0, what: str = "condition"):
    """Its first true value; fails the test when none comes."""
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        if value := condition():
            return value
        time.sleep(0.01)
    raise AssertionError(f"{what} did not come within {timeout_s} s")
