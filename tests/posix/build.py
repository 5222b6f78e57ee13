"""Build the port, by the firmware's own Makefile, with the sanitizers in it."""

from __future__ import annotations

import functools
import shutil
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = ROOT / "firmware_reference"
OUT = ROOT / "tests" / "build"
CHECKS = "-O1 -fsanitize=address,undefined -fno-sanitize-recover=all"


@functools.cache
def program() -> Path:
    """The program; its inputs can ask it to hang or to fail (src/posix/board.c)."""
    import fcntl

    out = OUT / "posix"
    out.mkdir(parents=True, exist_ok=True)
    words = ["make", "-s", "-C", str(FIRMWARE), "posix", f"BUILD={out}", "TEST_HANG=1"]
    with (out / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # several test processes, one build
        done = subprocess.run(
            [*words, f"POSIX_CHECKS={CHECKS}"], capture_output=True, text=True, check=False
        )
    if done.returncode:
        raise RuntimeError(done.stderr)
    return out / "rodbench-posix"


def tools_missing() -> list[str]:
    """Programs that building needs and that are not here."""
    return [name for name in ("gcc", "make") if shutil.which(name) is None]
