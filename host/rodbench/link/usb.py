"""USB bridges that the system has seen but made no port of: read from sysfs where there is one.

Checked against trees of fake files. Product numbers and Linux driver names are from memory of the
kernel's own tables; a bridge of another number that speaks the communications class needs
`cdc_acm`.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path

SYS = Path("/sys")
DRIVERS = {
    (0x1A86, 0x7523): "ch341",
    (0x1A86, 0x5523): "ch341",
    (0x10C4, 0xEA60): "cp210x",
    (0x0403, 0x6001): "ftdi_sio",
    (0x0403, 0x6010): "ftdi_sio",
    (0x0403, 0x6015): "ftdi_sio",
    (0x067B, 0x2303): "pl2303",
}
CDC_ACM = "cdc_acm"
_CLASS, _SUBCLASS = 0x02, 0x02  # communications class, abstract control model


@dataclass(frozen=True, slots=True)
class Portless:
    """A bridge without a port; `driver` is the kernel's that should serve it, `served_by` the one
    that has it now, if any."""

    name: str
    vendor: int
    product: int
    driver: str
    served_by: str | None = None

    @property
    def why(self) -> str:
        """What stands in the way."""
        if self.served_by is None:
            return f"no driver has taken it: {self.driver} is not loaded, or not installed"
        if self.served_by == self.driver:
            return f"{self.driver} has it and made no port: unplugged meanwhile?"
        return f"{self.served_by} has it in place of {self.driver}"

    @property
    def hint(self) -> str:
        """What to do about it."""
        if self.served_by is None:
            return (
                f"`sudo modprobe {self.driver}`, then plug it in again; if there is no such "
                "module, install the system's package of extra kernel modules"
            )
        if self.served_by == "usbfs":
            return (
                "a program took the whole device: a virtual machine, or a service for braille "
                "displays that takes every bridge of this kind. End it, then plug in again"
            )
        return "plug it in again; `dmesg` shows what the system does with it"


def portless(sys: Path = SYS) -> list[Portless]:
    """Bridges that should be a port and are none. Empty where there is no sysfs."""
    found = []
    for device in sorted((sys / "bus/usb/devices").glob("*")):
        if ":" not in device.name:
            found += _look(device)
    return found


def _look(device: Path) -> list[Portless]:
    vendor, product = (_number(device / name) for name in ("idVendor", "idProduct"))
    if vendor is None or product is None:
        return []
    interfaces = sorted(device.parent.glob(f"{device.name}:*"))
    if any(_has_port(interface) for interface in interfaces):
        return []
    known = DRIVERS.get((vendor, product))
    mine = interfaces[0] if interfaces and known else None
    for interface in interfaces:
        if _is_cdc(interface):
            known, mine = known or CDC_ACM, mine or interface
    if known is None:
        return []
    name = _text(device / "product") or "a USB bridge"
    return [Portless(name, vendor, product, known, _driver(mine) if mine else None)]


def _has_port(interface: Path) -> bool:
    return any(interface.glob("ttyUSB*")) or any(interface.glob("tty/tty*"))


def _is_cdc(interface: Path) -> bool:
    kinds = (_number(interface / f"bInterface{part}") for part in ("Class", "SubClass"))
    return tuple(kinds) == (_CLASS, _SUBCLASS)


def _driver(interface: Path) -> str | None:
    link = interface / "driver"
    return link.resolve().name if link.exists() else None


def _number(path: Path) -> int | None:
    with contextlib.suppress(ValueError):
        return int(_text(path), 16)
    return None


def _text(path: Path) -> str:
    with contextlib.suppress(OSError):
        return path.read_text(encoding="utf-8", errors="replace").strip()
    return ""
