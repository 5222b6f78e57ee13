"""The logbook: appended only, readable by hand, and no torn line is ever lost or believed."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

from rodbench.record.logbook import Logbook


def book(tmp_path: Path) -> Logbook:
    return Logbook(tmp_path / "logbook")


def test_entries_come_back_and_each_is_a_line_of_json(tmp_path: Path) -> None:
    log = book(tmp_path)
    log.append("push", digest=0x4C19A7E2, changed=["trip_a"])
    log.append("move", target_mm=101.5, note="ein Wort")
    entries, skipped = log.read()
    assert [e.kind for e in entries] == ["push", "move"]
    assert entries[0].digest == "4C19A7E2"
    assert entries[1].data == {"target_mm": 101.5, "note": "ein Wort"}
    assert skipped == []
    lines = log.path.read_text().splitlines()
    assert [json.loads(line)["kind"] for line in lines] == ["push", "move"]
    assert log.has("push")
    assert not log.has("caution")


def test_a_file_torn_at_any_byte_keeps_the_whole_lines_and_takes_new_ones(tmp_path: Path) -> None:
    log = book(tmp_path)
    for number in range(3):
        log.append("move", number=number)
    whole = log.path.read_bytes()
    ends = [i for i, byte in enumerate(whole) if byte == ord("\n")]
    for cut in range(len(whole)):
        log.path.write_bytes(whole[:cut])
        log.append("after")
        data = log.path.read_bytes()
        assert data.startswith(whole[:cut]), "what was there is never rewritten"
        entries, skipped = log.read()
        complete = sum(end <= cut for end in ends)  # a line is whole without its line end, too
        assert [e.kind for e in entries] == ["move"] * complete + ["after"]
        torn = cut not in ends and cut != 0 and cut - 1 not in ends
        assert len(skipped) == torn
        if torn:
            assert f"line {complete + 1} " in str(skipped[0])


def test_bytes_that_are_no_text_are_skipped_and_said(tmp_path: Path) -> None:
    log = book(tmp_path)
    log.append("a")
    with log.path.open("ab") as out:
        out.write(b"\xff\xfe\x00garbage\n[1, 2]\n{}\n")
    log.append("b")
    entries, skipped = log.read()
    assert [e.kind for e in entries] == ["a", "b"]
    assert [s.line for s in skipped] == [2, 3, 4]


WRITER = """
import sys
from pathlib import Path
from rodbench.record.logbook import Logbook
log = Logbook(Path(sys.argv[1]))
number = 0
while True:
    log.append("n", who=sys.argv[2], number=number)
    print(number, flush=True)
    number += 1
"""


def test_two_killed_writers_lose_nothing_that_was_acknowledged(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "logbook"
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder), who], stdout=subprocess.PIPE, text=True
        )
        for who in "ab"
    ]
    time.sleep(1.0)
    for writer in writers:
        writer.send_signal(signal.SIGKILL)
    told = {who: w.communicate()[0].split() for who, w in zip("ab", writers, strict=True)}
    entries, skipped = Logbook(folder).read()
    assert skipped == []
    for who, numbers in told.items():
        kept = [e.data["number"] for e in entries if e.data["who"] == who]
        assert kept == list(range(len(kept)))
        assert len(numbers) > 3
        assert len(kept) >= len(numbers) - 1  # the last line told may be cut off
