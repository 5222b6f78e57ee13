"""A writer of runs and logbook killed at any moment: what was whole stays whole and readable."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rodbench.record import runs
from rodbench.record.logbook import Logbook

# Writes runs and entries as a proof does, without end; tells each that is on the disk.
WRITER = """
import sys
from pathlib import Path
import numpy as np
from rodbench.record.logbook import Logbook
from rodbench.record.runs import Stroke, Writer, set_baseline
folder = Path(sys.argv[1])
book = Logbook(folder / "logbook")
t = np.arange(400) * 0.01
print("ready", flush=True)
while True:
    writer = Writer(folder)
    for name in ("extend-1", "retract-1", "extend-run-1"):
        writer.stroke(Stroke(name, {"kind": "move", "way": 1}, t, t, t, t, t))
    run = writer.finish(axis=1, rod="north", settings=1, conditions={}, required=())
    book.append("proof", run=run.name)
    set_baseline(folder, 1, run.name)
    print(run.name, flush=True)
"""
KILLS = 12


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_a_kill_at_any_moment_leaves_earlier_runs_and_the_logbook_whole(tmp_path: Path) -> None:
    draw, told = random.Random("kill"), []
    for _ in range(KILLS):
        told += killed(tmp_path, draw.uniform(0.0, 0.15))
        found, broken = runs.read_all(tmp_path)
        names = {run.name for run in found}
        assert set(told) <= names  # whatever was said to be on the disk is there, and whole
        assert all(len(run.strokes) == 3 and len(run.strokes[2].t_s) == 400 for run in found)
        assert all("broken off" in text for text in broken), broken
        assert len(broken) + len(found) == len(runs.names(tmp_path))
        entries, torn = Logbook(tmp_path / "logbook").read()
        assert torn == []
        assert set(told) <= {entry.data["run"] for entry in entries} <= names
        assert runs.baseline_name(tmp_path, 1) in {None, *names}
    assert told
    assert runs.read_all(tmp_path)[1], "no kill fell into a run: the test shows nothing"


def killed(folder: Path, after_s: float) -> list[str]:
    """Write for a moment, then SIGKILL; returns the runs that the writer told."""
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        time.sleep(after_s)
        writer.send_signal(signal.SIGKILL)
        return [line.strip() for line in writer.stdout if line.endswith("\n")]
