"""Writing that outlives a power cut."""

from __future__ import annotations

import os
from pathlib import Path


def replace(path: Path, data: bytes) -> None:
    """Write beside `path`, flush, and put it in place in one step: a power cut leaves what was
    there before, or all of `data`. What a kill leaves over begins with a dot. Raises OSError."""
    fresh = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        with fresh.open("wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise


def sync_folder(folder: Path) -> None:
    """Make a new name itself durable where the system allows it (not on Windows)."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)
