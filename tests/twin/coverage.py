"""Branch coverage of the C core by the runs that compare it with the twin.

    python -m tests.twin.coverage 2000        # prints each file's share, and what was never taken

Branches of lines with CORE_ASSERT are left out: an assertion that cannot fire has one. So are those
of generated code for rules that the ranges of keys never break.
"""

from __future__ import annotations

import gzip
import json
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.core import native
from tests.twin.runs import Seen, compare


@dataclass
class File:
    """Branches of one source file; `missed` holds line numbers."""

    name: str
    branches: int
    taken: int
    missed: list[int]


def build(folder: Path) -> Path:
    """Each file on its own, so that its notes carry its name."""
    sources = folder / "src"
    shutil.copytree(native.SOURCES, sources)  # what is measured cannot change meanwhile
    flags = ["-std=gnu11", "-O0", "-g", "-fPIC", "--coverage", f"-I{sources}"]
    objects = []
    helpers = [native.HARNESS / "harness.c", Path(__file__).parent / "dump.c"]
    for source in [*native.c_files(sources), *helpers]:
        target = folder / f"{source.stem}.o"
        subprocess.run(["gcc", *flags, "-c", str(source), "-o", str(target)], check=True)
        objects.append(str(target))
    library = folder / "core.so"
    subprocess.run(["gcc", "-shared", "--coverage", *objects, "-o", str(library)], check=True)
    return library


def measure(folder: Path) -> list[File]:
    """Reads what the runs have left."""
    names = [s.stem for s in native.c_files(folder / "src")]
    command = ["gcov", "-b", "-c", "-j", *(f"{name}.gcda" for name in names)]
    subprocess.run(command, cwd=folder, check=True, stdout=subprocess.DEVNULL)
    found = []
    for path in sorted(folder.glob("*.gcov.json.gz")):
        for entry in json.loads(gzip.decompress(path.read_bytes()))["files"]:
            source = Path(entry["file"])
            if source.suffix in (".c", ".h") and source.parent.name == "core":
                found.append(_file(source, entry["lines"]))
    return found


def _file(source: Path, lines: list[dict[str, object]]) -> File:
    text = source.read_text().splitlines()
    result = File(source.name, 0, 0, [])
    for line in lines:
        number, branches = int(str(line["line_number"])), line["branches"]
        assert isinstance(branches, list)
        if "CORE_ASSERT" in text[number - 1] or not branches:
            continue
        taken = sum(b["count"] > 0 for b in branches)
        result.branches += len(branches)
        result.taken += taken
        if taken < len(branches):
            result.missed.append(number)
    return result


def run(count: int, seed: int = 0) -> tuple[Seen, list[File]]:
    """Build, run and compare, measure. Once per process: coverage is counted in the library."""
    folder = native.own_folder("coverage")
    library = native.load(build(folder))
    seen = compare(library, count, seed)
    for more in range(1, 4):  # rare faults may need some runs more
        if not seen.complete():
            compare(library, count // 2, seed + 1000 * more, seen)
    library.coverage_dump()
    return seen, measure(folder)


def share(files: list[File]) -> float:
    """Branches taken, in percent."""
    return 100 * sum(f.taken for f in files) / sum(f.branches for f in files)


def main() -> None:
    """Prints the table."""
    seen, files = run(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
    print(seen.report())
    for file in files:
        print(f"{file.name:22} {file.taken:4} of {file.branches:4}   missed in {file.missed}")
    print(f"branch coverage of the core: {share(files):.1f} %")


if __name__ == "__main__":
    main()
