"""rodbench ports"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, plain_json
from rodbench.errors import PortError


@click.command("ports")
@plain_json
def command(setup: Setup) -> None:
    """List ports, and say why one cannot be used.

    Opens no port: opening restarts most boards. On Linux it names the group that has the port,
    or the program that holds it.

    \b
    Example:  rodbench ports
    """
    found = list_ports()
    if not found and not setup.as_json:
        raise PortError(
            "there is no serial port on this computer",
            hint="Plug the board in, by a cable that has data lines; `dmesg` shows "
            "whether the system sees it. Without a board: --port emulator",
        )
    talk.result({"ports": found}, "\n".join(_text(port) for port in found), setup.as_json)


def list_ports() -> list[dict[str, Any]]:
    """Every port with what can be known without opening it."""
    from serial.tools import list_ports as system

    return [_look(port.device, port.description, port.hwid) for port in sorted(system.comports())]


def _look(device: str, what: str, hardware: str) -> dict[str, Any]:
    from rodbench.link import holders

    port: dict[str, Any] = {"port": device, "what": what, "hardware": hardware, "usable": True}
    path = Path(device)
    if os.name != "posix" or not path.exists():
        return port
    if not os.access(path, os.R_OK | os.W_OK):
        return {
            **port,
            "usable": False,
            "why": "no permission",
            "try": holders.permission_hint(path),
        }
    held = [str(holder) for holder in holders.find(path) if not holder.serves]
    if held:
        why = f"held by {', '.join(held)}"
        return {**port, "usable": False, "why": why, "try": "end that program first"}
    return port


def _text(port: dict[str, Any]) -> str:
    known = "" if port["what"] in ("n/a", "", None) else f"   {port['what']}"
    if port["usable"]:
        return f"{port['port']}{known}"
    return f"{port['port']}{known}\n  not usable: {port['why']}\n  try: {port['try']}"
