"""Photos of the logbook: whole or not there, whatever kills the writer."""

from __future__ import annotations

import hashlib
import json
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rodbench.errors import UsageError
from rodbench.record.logbook import Logbook
from rodbench.record.photos import keep

PNG = b"\x89PNG\r\n\x1a\n"


def photo(folder: Path, name: str, data: bytes = PNG + b"north") -> Path:
    (folder / name).write_bytes(data)
    return folder / name


def test_a_photo_is_copied_as_it_is_and_named_by_its_content(tmp_path: Path) -> None:
    first = photo(tmp_path, "Hinge über dem Tor!.png")
    (kept,) = keep(tmp_path / "logbook", [first])
    data = (tmp_path / "logbook/photos" / kept.name).read_bytes()
    assert data == first.read_bytes()
    assert kept.sha256 == hashlib.sha256(data).hexdigest()
    assert kept.name.startswith(kept.sha256[:12])
    assert keep(tmp_path / "logbook", [first]) == [kept]
    assert len(list((tmp_path / "logbook/photos").iterdir())) == 1


@pytest.mark.parametrize("data", [b"", b"plain text", b"MZ\x90\x00", b"%PDF-1.7"])
def test_what_is_no_picture_is_refused_and_nothing_is_copied(tmp_path: Path, data: bytes) -> None:
    good, bad = photo(tmp_path, "a.png"), photo(tmp_path, "b.png", data)
    with pytest.raises(UsageError, match="no picture"):
        keep(tmp_path / "logbook", [good, bad])
    assert not (tmp_path / "logbook").exists()


def test_a_photo_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"gone\.jpg: No such file"):
        keep(tmp_path / "logbook", [tmp_path / "gone.jpg"])


WRITER = """
import os, sys
from dataclasses import asdict
from pathlib import Path
from rodbench.record.logbook import Logbook
from rodbench.record.photos import keep
folder, source = Path(sys.argv[1]), Path(sys.argv[2])
number = 0
print("go", flush=True)
while True:
    source.write_bytes(b"\\x89PNG\\r\\n\\x1a\\n" + os.urandom(300_000))
    kept = keep(folder, [source])
    Logbook(folder).append("note", text=str(number), photos=[asdict(p) for p in kept])
    number += 1
"""


def test_a_kill_at_any_moment_leaves_every_named_photo_whole(tmp_path: Path) -> None:
    draw = random.Random(3)
    noted = 0
    for _ in range(8):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path / "logbook"), str(tmp_path / "new.png")],
            stdout=subprocess.PIPE,
        )
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(draw.uniform(0.01, 0.15))
        writer.send_signal(signal.SIGKILL)
        writer.communicate()
        entries, _ = Logbook(tmp_path / "logbook").read()
        noted = len(entries)
        for entry in entries:
            for said in json.loads(json.dumps(entry.data["photos"])):
                data = (tmp_path / "logbook/photos" / said["name"]).read_bytes()
                assert hashlib.sha256(data).hexdigest() == said["sha256"]
    assert noted > 8
