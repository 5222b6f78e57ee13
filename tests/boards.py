"""Which board the host's tests run on: the emulator's, or another port of the core in its place.

    RODBENCH_TEST_BOARD=posix pytest tests/link tests/cli tests/procedures tests/settings

What a test says in raw or in the machine file's words goes through here, since it depends on the
kind of board.
"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import Any

from rodbench.emulator.plant_file import Machine
from rodbench.emulator.random_benches import RandomBench
from rodbench.emulator.twin.store import Settings, Store, store_load
from rodbench_protocol.schema import BoardKindData, load_schema

VARIABLE = "RODBENCH_TEST_BOARD"
NAMES = {"emulator": "atmega328p_5v", "posix": "posix_3v3"}


def name() -> str:
    """emulator or posix."""
    return os.environ.get(VARIABLE, "emulator")


def kind() -> BoardKindData:
    """The figures of the board's kind."""
    return load_schema().board_kinds[NAMES[name()]]


def fit(machine: Machine) -> Machine:
    """The machine wired to this kind of board, changed in place: rods on the axes that it has, and
    current sensors that suit its inputs."""
    if machine.board.kind == kind().word:
        return machine
    share = reference_v() / machine.board.reference_v
    machine.board.kind, machine.board.reference_v = kind().word, reference_v()
    for axis in [axis for axis in machine.rods if axis > kind().axes]:
        del machine.rods[axis]
    for rod in machine.rods.values():
        stall_v = machine.supply.volts / rod.motor.resistance_ohm * rod.sensor.v_per_a
        if stall_v > 0.8 * reference_v() or rod.sensor.zero_v > 0.1:
            rod.sensor.v_per_a = round(rod.sensor.v_per_a * share, 3)
            rod.sensor.zero_v *= share
    return machine


def on_its_axis(bench: RandomBench) -> RandomBench:
    """A drawn bench with its rod on an axis that this kind of board has."""
    if bench.axis <= kind().axes:
        return bench
    machine = replace(bench.machine, rods={1: bench.rod})
    return replace(bench, machine=machine, axis=1)


def make(machine: Machine, **options: Any) -> Any:
    """A board on the machine, with the surface of the emulator's."""
    if name() == "posix":
        from tests.posix.board import PosixBoard

        return PosixBoard(fit(machine), **options)
    from rodbench.emulator.board import EmulatedBoard

    return EmulatedBoard(machine, **options)


def file(text: str) -> str:
    """A machine file of this kind of board, with as many lines where a blank one can be used up."""
    if name() == "emulator":
        return text
    said = f'kind = "{kind().word}"'
    if "\nkind = " in text:
        return text.replace('kind = "atmega328p-5v"', said)
    if "\n\n[board]\n" in text:
        return text.replace("\n\n[board]\n", f"\n[board]\n{said}\n")
    return text.replace("[board]\n", f"[board]\n{said}\n")


def raw(share: float) -> int:
    """Reading of a pot at a share of the reference."""
    return round(share * kind().adc_full_scale)


def reference_v() -> float:
    """The nominal supply of converter and pots, in V."""
    return kind().adc_reference_mv / 1000


def step_v() -> float:
    """One step of the converter, in V."""
    return reference_v() / kind().supply_full_scale


def half_step_raw() -> float:
    """A converter cuts off: its conversions, summed, read half a step low on average."""
    return kind().adc_full_scale / kind().supply_full_scale / 2


def stored(board: Any, axis: int) -> Any:
    """Settings of an axis that the next start will load, from the memory itself."""
    settings = Settings()
    store_load(Store(), settings, bytearray(board.eeprom))
    return settings.scope[axis]


def axis_state(board: Any) -> int:
    """Enum axis_state of axis 1."""
    return int(board.axis_state if name() == "posix" else board.twin.axis[0].state)
