"""Makes firmware_reference/FAULTS.md.

python -m tests.faults.table            measures all of it on the twin and writes it
python -m tests.faults.table --check    says whether it is as measured (exit code 1: no)
python -m tests.faults.table --binary   measures on the AVR binary and compares with the twin
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from rodbench.emulator.board import EmulatedBoard

from tests.faults.bench import Make, Row, measure
from tests.faults.causes import CAUSES, DOINGS, DRIVER, NO_SENSOR, NOTHING, Cause
from tests.faults.text import Rows, document

FILE = Path(__file__).parents[2] / "firmware_reference" / "FAULTS.md"
BINARY = Path(__file__).with_name("binary.txt")  # what the last --binary of all found
TICK_MS, NEAR_MM = 5, 0.05


def measured(causes: Sequence[Cause] = CAUSES, make: Make = EmulatedBoard) -> Rows:
    """All rows. Raises AssertionError for one that is not detected without a reason."""
    rows: dict[tuple[str, str], Row] = {}
    for cause in causes:
        for doing in DOINGS:
            if doing not in cause.skips:
                rows[cause.title, doing] = judged(cause, measure(cause, doing, make))
    return rows


def judged(cause: Cause, row: Row) -> Row:
    """The same row; what it says must hold."""
    where = f"{cause.title}, {row.doing}: {row}"
    excuse = cause.excuses.get(row.doing)
    if excuse and excuse.reason == DRIVER:
        assert not row.latched, where
    else:
        assert bool(row.detected) != bool(excuse), where
    assert excuse is None or excuse.reason in (NOTHING, DRIVER, NO_SENSOR), where
    assert row.alarm in (None, row.latched), where
    assert not row.latched or row.clears, where
    return row


def differences(rows: Rows, others: Rows) -> list[str]:
    """Where two boards detect otherwise, or leave the rod otherwise after a clear."""
    found = []
    for key, other in others.items():
        row = rows[key]
        same = (row.detected, row.latched, row.back_at_once, row.clears) == (
            other.detected, other.latched, other.back_at_once, other.clears,
        )  # fmt: skip
        if not same or (row.off_ms is None) != (other.off_ms is None):
            found.append(f"{key}\n  {row}\n  {other}")
    return found


def figures(rows: Rows, others: Rows) -> tuple[int, int, float]:
    """How many rows differ in time or way at all, by how many ms and mm at most."""
    gaps = [
        (abs((rows[key].off_ms or 0) - (other.off_ms or 0)),
         abs(rows[key].travel_mm - other.travel_mm))
        for key, other in others.items()
    ]  # fmt: skip
    other_ms, other_mm = zip(*gaps, strict=True)
    differ = sum(ms > TICK_MS or mm > NEAR_MM for ms, mm in gaps)
    return differ, max(other_ms), max(other_mm)


def binary(causes: Sequence[Cause]) -> int:
    """Measure both, print where they differ; all causes: what FAULTS.md says of it."""
    from tests.board.simboard import SimBoard

    both = [cause for cause in causes if not cause.twin_alone]
    on_twin, rows = measured(both), measured(both, SimBoard)
    found = differences(on_twin, rows)
    print("\n".join(found))
    differ, ms, mm = figures(on_twin, rows)
    text = (
        f"On the binary {len(rows)} of the rows were measured: {len(rows) - len(found)} detect "
        f"the same, {differ} differ by\nmore than a tick or {NEAR_MM} mm, by {ms} ms and "
        f"{mm:.1f} mm at most: its PWM has steps of 0.25 %, so the rod\nis not quite "
        "in the same place. Not brought about there: "
        + ", ".join(cause.title.lower() for cause in causes if cause.twin_alone)
        + ".\n"
    )
    print(text)
    if len(causes) == len(CAUSES):
        BINARY.write_text(text, "utf-8")
    return int(bool(found))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--binary", action="store_true")
    parser.add_argument(
        "--only", metavar="WORD", default="", help="causes with this in their title"
    )
    asked = parser.parse_args()
    if asked.binary:
        return binary([cause for cause in CAUSES if asked.only in cause.title])
    text = document(measured(), BINARY.read_text("utf-8"))
    if asked.check:
        fresh = FILE.exists() and FILE.read_text("utf-8") == text
        print(f"{FILE.name} is {'fresh' if fresh else 'stale: python -m tests.faults.table'}")
        return int(not fresh)
    FILE.write_text(text, "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
