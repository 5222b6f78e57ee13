"""A stand-in for a board whose frames a test makes up, and a two-axis bench in virtual time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from rodbench.board import Board, convert
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import parse
from rodbench.link.transport import EmulatorTransport
from rodbench.record.recorder import Recorder
from rodbench_protocol.names import AxisTelemetry, BoardTelemetry
from rodbench_protocol.names import Event as WireEvent

from tests.link.rig import PLANT, SETTINGS

BEGUN = datetime(2026, 5, 4, 10, 11, 12, tzinfo=UTC)
SECOND_AXIS = PLANT[PLANT.index("[axes.1]") :].replace("axes.1", "axes.2")
HELLO = {
    "tick": 0, "protocol_major": 1, "protocol_minor": 2, "schema_digest": 1, "boot_nonce": 77,
    "firmware_major": 1, "firmware_minor": 2, "firmware_patch": 3, "name": "made up",
    "board_kind": 1, "axis_count": 2, "features": 0, "reset_cause": 0, "adc_full_scale": 8184,
    "adc_reference_mv": 5000, "current_full_scale": 4092, "board_id": 9, "digest_live": 5,
    "digest_stored": 5,
}  # fmt: skip


class HandClock:
    """Stands still until a test moves it."""

    def __init__(self) -> None:
        self.s = 100.0

    def now(self) -> float:
        return self.s

    def sleep(self, seconds: float) -> None:
        self.s += seconds


class FakeLink:
    def __init__(self) -> None:
        self.hello_fields: dict[str, Any] = dict(HELLO)
        self.clock = HandClock()


class FakeBoard:
    """As much of a Board as a recorder asks for."""

    def __init__(self) -> None:
        self.link = FakeLink()
        self.clock = self.link.clock
        self.scopes = range(3)
        self.live = 0xABCD1234
        axis = {**SETTINGS, "current_sensor": 1}
        self.values: dict[int, dict[str, int]] = {0: {"fuse_ma": 5000}, 1: axis, 2: axis}
        self.dropped = 0

    @property
    def hello(self) -> Any:
        return convert.hello(self.link.hello_fields)

    def digests(self) -> dict[str, int]:
        return {"live": self.live}

    def read_scope(self, number: int) -> dict[str, int]:
        return self.values[number]


def recorder(folder: Path, board: Any, name: str = "") -> Recorder:
    """A recorder whose date goes with the board's clock."""
    begun_s = board.clock.now()
    return Recorder.begin(
        folder, board, machine="test", rods={1: "north", 2: None}, name=name,
        now=lambda: BEGUN + timedelta(seconds=board.clock.now() - begun_s),
    )  # fmt: skip


def telemetry(counter: int, tick: int, axis: int = 1, **fields: int) -> AxisTelemetry:
    zeros = dict.fromkeys(AxisTelemetry._fields, 0)
    said = {"counter": counter & 0xFF, "tick": tick, "axis": axis, "flags": 1}
    return AxisTelemetry(**{**zeros, **said, **fields})


def supply(counter: int, tick: int, **fields: int) -> BoardTelemetry:
    zeros = dict.fromkeys(BoardTelemetry._fields, 0)
    return BoardTelemetry(**{**zeros, "counter": counter & 0xFF, "tick": tick, **fields})


def event(counter: int, tick: int, **fields: int) -> WireEvent:
    zeros = dict.fromkeys(WireEvent._fields, 0)
    return WireEvent(**{**zeros, "counter": counter & 0xFF, "tick": tick, "kind": 3, **fields})


def sample(wire: Any) -> Any:
    """What Board.poll makes of it."""
    return convert.sample(wire, HELLO["protocol_minor"])


def two_axes() -> tuple[Board, VirtualClock, EmulatedBoard]:
    """Two calibrated rods, faster than real time."""
    emulated = EmulatedBoard(parse(PLANT + SECOND_AXIS, "two axes"))
    clock = VirtualClock()
    clock.attach(emulated.step)
    board = Board.direct(EmulatorTransport(emulated, clock), clock)
    for axis in (1, 2):
        board.write_scope(axis, SETTINGS)
    return board, clock, emulated
