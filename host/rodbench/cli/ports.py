"""rodbench ports"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, plain_json
from rodbench.errors import PortError

if TYPE_CHECKING:
    from rodbench.link.usb import Portless


@click.command("ports")
@plain_json
def command(setup: Setup) -> None:
    """List ports, and say why one cannot be used.

    Opens no port: opening restarts most boards. On Linux it names the group that has the port and
    the line for udev, the program that holds it, and bridges that wait for a driver.

    \b
    Example:  rodbench ports
    """
    found = list_ports()
    waiting = list_portless()
    if not found and not waiting and not setup.as_json:
        raise PortError(
            "there is no serial port on this computer",
            hint="Plug the board in, by a cable that has data lines; `dmesg` shows "
            "whether the system sees it. Without a board: --port emulator",
        )
    text = "\n".join([*map(_text, found), *map(_text, waiting)])
    talk.result({"ports": found, "without_port": waiting}, text, setup.as_json)


def list_ports() -> list[dict[str, Any]]:
    """Every port with what can be known without opening it."""
    from serial.tools import list_ports as system

    return [_look(port) for port in sorted(system.comports())]


def list_portless() -> list[dict[str, Any]]:
    """Bridges that are plugged in and have no port."""
    from rodbench.link import usb

    return [_portless(bridge) for bridge in usb.portless()]


def _portless(bridge: Portless) -> dict[str, Any]:
    number = f"USB {bridge.vendor:04x}:{bridge.product:04x}"
    return {
        "port": number,
        "what": bridge.name,
        "usable": False,
        "why": bridge.why,
        "try": bridge.hint,
    }


def _look(info: Any) -> dict[str, Any]:
    from rodbench.link import holders

    port: dict[str, Any] = {
        "port": info.device,
        "what": info.description,
        "hardware": info.hwid,
        "usable": True,
    }
    path = Path(info.device)
    if os.name != "posix" or not path.exists():
        return port
    usb = _usb(info)
    if not os.access(path, os.R_OK | os.W_OK):
        return _cannot(port, "no permission", holders.permission_hint(path, usb))
    held = [str(holder) for holder in holders.find(path) if not holder.serves]
    if held:
        return _cannot(port, f"held by {', '.join(held)}", "end that program first")
    if usb and holders.modem_manager():
        port["note"] = (
            "the modem manager runs and writes to each new port for some seconds: wait 15 s after "
            f"plugging in, or keep it away by a udev line: {holders.modem_line(usb)}"
        )
    return port


def _usb(info: Any) -> tuple[int, int] | None:
    """Vendor and product number, where the port is a USB bridge."""
    vendor, product = getattr(info, "vid", None), getattr(info, "pid", None)
    return None if vendor is None or product is None else (vendor, product)


def _cannot(port: dict[str, Any], why: str, attempt: str) -> dict[str, Any]:
    return {**port, "usable": False, "why": why, "try": attempt}


def _text(port: dict[str, Any]) -> str:
    known = "" if port["what"] in ("n/a", "", None) else f"   {port['what']}"
    text = f"{port['port']}{known}"
    if not port["usable"]:
        text += f"\n  not usable: {port['why']}\n  try: {port['try']}"
    if "note" in port:
        text += f"\n  note: {port['note']}"
    return text
