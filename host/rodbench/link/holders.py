"""Who holds a port, and why we may not: read from /proc and the file system where there is one.

Checked against trees of fake files; on systems without /proc nobody is found.
"""

from __future__ import annotations

import contextlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path

PROC = Path("/proc")
OWNER = "-m rodbench.owner"


@dataclass(frozen=True, slots=True)
class Holder:
    """A process that has a file open."""

    pid: int
    command: str
    serves: bool = False  # an owner process of this user: every command gets the port through it

    def __str__(self) -> str:
        return f"{self.command} (process {self.pid})"


def find(port: Path, proc: Path = PROC) -> list[Holder]:
    """Processes other than this one that have `port` open, as far as we may look."""
    target = os.path.realpath(port)
    found = []
    for folder in sorted(proc.glob("[0-9]*"), key=lambda p: int(p.name)):
        pid = int(folder.name)
        if pid != os.getpid() and _has_open(folder, target):
            command = _command(folder)
            found.append(Holder(pid, command, OWNER in command and _is_mine(folder)))
    return found


def _has_open(folder: Path, target: str) -> bool:
    with contextlib.suppress(OSError):
        for link in (folder / "fd").iterdir():
            with contextlib.suppress(OSError):
                if os.readlink(link) == target:
                    return True
    return False


def _command(folder: Path) -> str:
    with contextlib.suppress(OSError):
        words = (folder / "cmdline").read_bytes().split(b"\0")
        text = " ".join(w.decode(errors="replace") for w in words if w)
        if text:
            return " ".join(text.split())[:80]
    return "a program"


def _is_mine(folder: Path) -> bool:
    return folder.stat().st_uid == os.getuid()


MODEM_MANAGER = "ModemManager"  # the name of its process


def modem_manager(proc: Path = PROC) -> bool:
    """Whether the system's modem manager runs: it writes to each new port for some seconds."""
    for name in proc.glob("[0-9]*/comm"):
        with contextlib.suppress(OSError):
            if name.read_text(encoding="utf-8", errors="replace").strip() == MODEM_MANAGER:
                return True
    return False


def permission_hint(port: Path, usb: tuple[int, int] | None = None) -> str:
    """What to do about a missing permission; `usb` is vendor and product number, if known."""
    try:
        status = port.stat()
    except OSError:
        return "log in as a user who may use serial ports"
    group = _group(status.st_gid)
    if not (stat.S_IMODE(status.st_mode) & 0o060 and group):
        where = "/etc/udev/rules.d/70-rodbench.rules"
        return f"a udev rule, a line in {where}: {udev_line(usb)}; then plug in again"
    if _listed(status.st_gid):
        return f"you are in group {group} by now, but this login began before: log in again"
    return f"the port belongs to group {group}: `sudo usermod -aG {group} $USER`, then log in again"


def udev_line(usb: tuple[int, int] | None) -> str:
    """A rule that gives the port to whoever sits at the computer and to group dialout."""
    which = 'KERNEL=="ttyUSB*|ttyACM*"'
    if usb is not None:
        which = f'ATTRS{{idVendor}}=="{usb[0]:04x}", ATTRS{{idProduct}}=="{usb[1]:04x}"'
    return f'SUBSYSTEM=="tty", {which}, MODE="0660", GROUP="dialout", TAG+="uaccess"'


def modem_line(usb: tuple[int, int]) -> str:
    """A rule that keeps the modem manager away from a bridge."""
    which = f'ATTRS{{idVendor}}=="{usb[0]:04x}", ATTRS{{idProduct}}=="{usb[1]:04x}"'
    return f'{which}, ENV{{ID_MM_DEVICE_IGNORE}}="1"'


def _group(number: int) -> str:
    try:
        import grp

        return grp.getgrgid(number).gr_name
    except (ImportError, KeyError):
        return ""


def _listed(number: int) -> bool:
    """Whether the user is in the group by the system's list, whatever this login has."""
    try:
        import grp
        import pwd

        return pwd.getpwuid(os.getuid()).pw_name in grp.getgrgid(number).gr_mem
    except (ImportError, KeyError):
        return False
