"""Where procedures put what they found: the machine file and the logbook."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, is_dataclass
from enum import Enum
from typing import Any, cast

from rodbench.bench.keeper import KnownRod
from rodbench.board import Board
from rodbench.cli.options import Setup
from rodbench.settings import transfer
from rodbench.settings.keys import Value, by_place, by_wire
from rodbench.settings.machine import MachineFile

ENDS = ("retracted", "extended")
SOUGHT = {"end-switch", "stall", "unknown"}  # kinds of ends that the rod itself ran to


class FileKeeper:
    """Writes into the machine file of `setup`, loaded anew for each writing."""

    def __init__(self, setup: Setup, board: Board) -> None:
        self.setup = setup
        self.board = board

    def keep(
        self,
        axis: int,
        rod: str,
        settings: Mapping[str, int],
        file_only: Mapping[str, object],
        notes: Mapping[str, str],
    ) -> None:
        """Write the axis's wire settings and the file's own keys, saved when this returns."""
        machine = self.setup.machine()
        with machine.changing():
            if machine.rod_of(axis) != rod:
                machine.put_rod(axis, rod, settings["stroke_um"] / 1000)
            machine.put(
                axis, settings, {key: note for key, note in notes.items() if key in settings}
            )
            for place, value in file_only.items():
                _put(machine, axis, place, cast(Value, value), notes.get(place, ""))
        machine.save()

    def digest(self) -> int:
        """The digest that a board with the file's settings tells."""
        return transfer.digest_on(self.setup.machine(), self.board)

    def wrong_rod(self, axis: int, name: str) -> str | None:
        """Why a rod of this name cannot be kept on the axis; None when it can."""
        return self.setup.machine().wrong_rod(axis, name)

    def wrong_feedback(self, axis: int, word: str) -> str | None:
        """Why a rod with this feedback cannot be on the axis; None when it can."""
        return self.setup.machine().wrong_feedback(axis, word)

    def rod_on(self, axis: int) -> str | None:
        """Name of the rod that the machine file has on the axis; None when it has none."""
        return self.setup.machine().rod_of(axis)

    def given(self, axis: int, rod: str, keys: Iterable[str]) -> dict[str, int]:
        """What the machine file itself says of these keys for this rod on the axis, in wire
        integers."""
        machine, found = self.setup.machine(), {}
        for wire in keys:
            key = by_wire(machine.board_kind)["axis", wire]
            path = _path(key.table, axis, rod)
            if machine.says(key.name, path):
                found[wire] = key.to_wire(cast(Value, machine.host(key.name, path)))
        return found

    def known_rod(self, name: str) -> KnownRod | None:
        """The rod's own ends, where a calibration on the bench has found them."""
        machine, path = self.setup.machine(), ("rods", name)
        kinds = [machine.host(f"end_{end}", path) for end in ENDS]
        pots = [machine.host(f"pot_{end}", path) for end in ENDS]
        stroke = machine.host("stroke_mm", path)
        pins = machine.host("retracted_pin_to_pin_mm", path)
        if stroke is None or None in pots or not set(kinds) <= SOUGHT:
            return None
        to_wire = by_place(machine.board_kind)["rods", "pot_retracted"].to_wire
        raw = [to_wire(cast(Value, pot)) for pot in pots]
        return KnownRod(
            float(stroke),
            (raw[0], raw[1]),
            (str(kinds[0]), str(kinds[1])),
            float(machine.host("endpoint_spread_mm", path) or 0.0),
            None if pins is None else float(pins),
        )

    def record(self, kind: str, fields: Mapping[str, Any]) -> None:
        """An entry of the logbook."""
        plain_fields = {key: plain(value) for key, value in fields.items()}
        self.setup.log(self.board, kind, **plain_fields)


def _put(machine: MachineFile, axis: int, place: str, value: Value, note: str) -> None:
    table, _, name = place.rpartition(".")
    machine.put_host(_path(table, axis, machine.rod_of(axis) or ""), name, value, note)


def _path(table: str, axis: int, rod: str) -> tuple[str, ...]:
    """Where the file has a table of the schema."""
    of_axis = ("axes", str(axis))
    return {
        "": (),
        "board": ("board",),
        "rods": ("rods", rod),
        "axes": of_axis,
        "limits": (*of_axis, "limits"),
        "local": (*of_axis, "local"),
    }[table]


def plain(value: Any) -> Any:
    """A result as JSON takes it."""
    if is_dataclass(value) and not isinstance(value, type):
        return {name: plain(part) for name, part in asdict(value).items()}
    if isinstance(value, Enum):
        return value.name.lower() if isinstance(value.value, int) else value.value
    if isinstance(value, Mapping):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    return value
