"""Port strings: what each opens."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from rodbench.clock import WallClock
from rodbench.errors import UsageError
from rodbench.link.client import Client
from rodbench.link.transport import BAUD, SerialTransport, TcpTransport, Transport

if TYPE_CHECKING:
    from rodbench.link.emulated import LiveEmulator


def open_port(port: str, baud: int | None = None) -> Transport:
    """A transport to a serial port or `tcp:HOST:PORT`. Raises PortError, UsageError."""
    if port.startswith("tcp:"):
        host, _, number = port[4:].rpartition(":")
        if not host or not number.isdigit():
            raise UsageError(f"{port}: write tcp:HOST:PORT, for example tcp:localhost:7700")
        return TcpTransport(host, int(number))
    return SerialTransport(port, baud or int(os.environ.get("RODBENCH_BAUD", BAUD)))


class PortOpener:
    """Opens a port, again after it went away. An emulator lives as long as its opener."""

    def __init__(self, port: str, folder: str | None = None) -> None:
        self.port = port
        self._emulator: LiveEmulator | None = None
        if port == "emulator" or port.startswith("emulator:"):
            from rodbench.link.emulated import LiveEmulator

            self._emulator = LiveEmulator(port, folder)

    def open(self, warn: Callable[[str], None], opened: Callable[[Client], None]) -> Client:
        """A client with a session."""
        transport: Transport = self._emulator or open_port(self.port)
        return Client(transport, WallClock(), warn=warn, opened=opened)

    @property
    def eye(self) -> Callable[[dict[str, Any]], dict[str, Any]] | None:
        """The eye of the emulated plant; None for a real port."""
        return self._emulator.look if self._emulator else None

    def close(self) -> None:
        """End the emulator and keep its state."""
        if self._emulator is not None:
            self._emulator.end()
