"""Where owner processes of this user meet their clients: a private folder, a name per port."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path

from rodbench.errors import PortError


def version() -> str:
    """Version of the installed rodbench."""
    from importlib import metadata

    return metadata.version("rodbench")


def identity(port: str, folder: str | None) -> str:
    """One name for one port, however it is spelled; an emulator belongs to a machine folder."""
    if port == "emulator" or port.startswith("emulator:"):
        file = port.partition(":")[2]
        plant = os.path.realpath(file) if file else ""
        return f"emulator:{plant}:{os.path.realpath(folder or os.curdir)}"
    if port.startswith("tcp:"):
        return port
    return os.path.realpath(port) if os.name == "posix" else port.upper()


def key(port: str, folder: str | None) -> str:
    """File name stem for a port (socket paths are limited to about 100 bytes)."""
    return hashlib.sha256(identity(port, folder).encode()).hexdigest()[:16]


def runtime_folder() -> Path:
    """The folder of this user's owners, mode 0700; made when missing.

    Raises PortError when somebody else could write there.
    """
    folder = _choose()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if os.name == "posix":
        _check_private(folder)
    return folder


def _choose() -> Path:
    if given := os.environ.get("RODBENCH_RUNTIME"):
        return Path(given)
    if os.name != "posix":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "rodbench"
    base = os.environ.get("XDG_RUNTIME_DIR")
    if base and os.access(base, os.W_OK):
        return Path(base) / "rodbench"
    return Path(f"/tmp/rodbench-{os.getuid()}")


def _check_private(folder: Path) -> None:
    status = folder.lstat()
    if not stat.S_ISDIR(status.st_mode) or status.st_uid != os.getuid():
        raise PortError(
            f"{folder} is not a folder of yours",
            kept="nothing was started",
            hint="name another with RODBENCH_RUNTIME",
        )
    if status.st_mode & 0o077:
        folder.chmod(0o700)
