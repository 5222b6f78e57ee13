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


_FAR = 1 << 40  # behind the end of every file: where it stands, Windows keeps others from reading


def alone(handle: int) -> bool:
    """Whether an open file is this program's alone from now on, until it is closed or the program
    ends, however it ends. True where the file system knows no locks. May move the place in it."""
    try:
        import fcntl
    except ImportError:
        return _alone_on_windows(handle)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def _alone_on_windows(handle: int) -> bool:
    import msvcrt

    try:
        os.lseek(handle, _FAR, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    except OSError:
        return False
    return True


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
