"""Peak memory of a report against the size of its recordings.

python -m tests.benchmarks.report                 # an hour of two axes, 200 rows a second
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import tempfile
import time
import tracemalloc
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from rodbench.cli.main import cli
from rodbench.record.runs import COLUMNS, FILE, FOLDER

from tests.benchmarks import recording as bench

RATE_HZ = 200
BLOCK = 20_000  # rows written at a time
# All figures invented.
MACHINE = """\
machine_file = 1
[rods.north]
stroke_mm = 200.0
[rods.south]
stroke_mm = 200.0
[axes.1]
rod = "north"
[axes.2]
rod = "south"
"""


def table(path: Path, rows: int, rng: np.random.Generator) -> str:
    """A rod that goes out and in for all that time, block by block; the file's SHA-256."""
    digest = hashlib.sha256()
    with path.open("wb") as out:
        head = (",".join(COLUMNS) + "\n").encode()
        digest.update(head)
        out.write(head)
        for first in range(0, rows, BLOCK):
            t = np.arange(first, min(rows, first + BLOCK)) / RATE_HZ
            place = 100.0 + 90.0 * np.sin(t / 8.0)
            current = 1.2 + 0.3 * np.cos(t / 8.0) ** 2 + rng.normal(0.0, 0.03, len(t))
            columns = [t, place, current, 800.0 * np.cos(t / 8.0), 12.3 - 0.1 * current]
            text = io.StringIO()
            formats = [f"%.{digits}f" for digits in COLUMNS.values()]
            np.savetxt(text, np.column_stack(columns), formats, ",")
            data = text.getvalue().encode()
            digest.update(data)
            out.write(data)
    return digest.hexdigest()


def recording(folder: Path, axis: int, rows: int) -> Path:
    """A run of one long stroke."""
    now = datetime(2026, 3, 1, 10, axis, tzinfo=UTC)
    run = folder / FOLDER / f"{now:%Y-%m-%dT%H-%M-%SZ}-proof"
    run.mkdir(parents=True)
    digest = table(run / "hour.csv", rows, np.random.default_rng(axis))
    lines = [
        f'run = 1\ndate = "{now.isoformat()}"\naxis = {axis}\nrod = "rod {axis}"',
        'settings = "00000000"\npassed = true\nrequired = []\n[conditions]\n[[strokes]]',
        f'name = "hour"\nfile = "hour.csv"\nrows = {rows}\nsha256 = "{digest}"\nkind = "move"\n',
    ]
    (run / FILE).write_text("\n".join(lines))
    return run / "hour.csv"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    minutes = parser.parse_args().minutes
    rows = int(minutes * 60 * RATE_HZ)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "machine.toml").write_text(MACHINE)
        sizes = [recording(folder, axis, rows).stat().st_size for axis in (1, 2)]
        words = ["report", str(folder / "a.html"), "-m", str(folder / "machine.toml")]
        (folder / "b").mkdir()
        with contextlib.redirect_stdout(io.StringIO()):
            _warm(folder / "b")
            tracemalloc.start()
            start = time.process_time()
            cli.main(words, standalone_mode=False)
            took, peak = time.process_time() - start, tracemalloc.get_traced_memory()[1]
        page = (folder / "a.html").stat().st_size
    arrays = 2 * rows * len(COLUMNS) * 8
    print(
        f"2 recordings of {rows} rows: {sum(sizes) / 1e6:.1f} MB as text, {arrays / 1e6:.1f} MB as "
        f"numbers; report in {took:.1f} s of CPU (traced), peak {peak / 1e6:.1f} MB, page "
        f"{page / 1e6:.2f} MB"
    )
    tracemalloc.stop()
    of_recording(round(minutes))


def of_recording(minutes: int) -> None:
    """The same of a recording of both axes."""
    tile = bench.minute()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "machine.toml").write_text(MACHINE)
        words = ["report", str(folder / "a.html"), "-m", str(folder / "machine.toml")]
        paths = [bench.record(folder, bench.tiled(tile, m), f"m{m}") for m in (1, minutes)]
        peaks = []
        with contextlib.redirect_stdout(io.StringIO()):
            for path in paths:  # the first brings in what is imported
                tracemalloc.start()
                start = time.process_time()
                cli.main([*words, "--recording", str(path)], standalone_mode=False)
                took = time.process_time() - start
                peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
                tracemalloc.stop()
        page = (folder / "a.html").stat().st_size
    print(
        f"a recording of {minutes} minutes: report in {took:.1f} s of CPU (traced), peak "
        f"{peaks[1]:.1f} MB (of one minute: {peaks[0]:.1f} MB), page {page / 1e6:.2f} MB"
    )


def _warm(folder: Path) -> None:
    """What is imported is no part of the figure."""
    (folder / "machine.toml").write_text(MACHINE)
    recording(folder, 1, 100)
    words = ["report", str(folder / "b.html"), "-m", str(folder / "machine.toml")]
    cli.main(words, standalone_mode=False)


if __name__ == "__main__":
    main()
