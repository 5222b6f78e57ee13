"""Local inputs of the emulated board: what is done to them is what the firmware reads."""

from __future__ import annotations

import pytest
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import Machine, dump, parse
from rodbench.emulator.rig import Rig
from rodbench.errors import SettingsError, UsageError
from rodbench_protocol.names import AxisState, Inputs, LocalSource

from tests.core.axis_probe import ROD
from tests.twin import memory
from tests.twin.memory import settings

HEAD = "plant_file = 1\n[axes.1]\n"
STILL = ([0, 0], [0, 0])


def machine(steps: str = "") -> Machine:
    return parse(HEAD + steps, "x")


def test_nothing_is_wired_unless_somebody_says_so() -> None:
    readings = Rig(machine()).step(*STILL)
    assert (readings.inputs, readings.local) == (Inputs.STOP, [0, 0])


@pytest.mark.parametrize(
    ("kind", "axis", "bit"),
    [
        ("extend", 1, Inputs.EXTEND_1),
        ("retract", 1, Inputs.RETRACT_1),
        ("extend", 2, Inputs.EXTEND_2),
        ("retract", 2, Inputs.RETRACT_2),
    ],
)
def test_each_button_has_its_bit(kind: str, axis: int, bit: Inputs) -> None:
    rig = Rig(machine())
    rig.set_input(kind, axis, 1.0)
    assert rig.step(*STILL).inputs == bit | Inputs.STOP
    rig.set_input(kind, axis, 0.0)
    assert rig.step(*STILL).inputs == Inputs.STOP


def test_a_stick_reads_its_share_with_noise_and_so_does_the_converter() -> None:
    rig = Rig(machine())
    rig.set_input("stick", 2, 0.25)
    seen = set()
    for _ in range(200):
        code = rig.step(*STILL).local[1]
        seen.add(code)
        assert rig.conversions_by_channel()[6] == [code] * 2
    assert 256 in seen
    assert 1 < len(seen) < 6
    assert rig.conversions_by_channel()[5] == [0, 0]


def test_steps_of_a_plant_file_come_at_their_times_and_are_kept_by_dump() -> None:
    text = "[[inputs]]\nkind = 'extend'\nvalue = 1\nat_s = 0.1\n"
    text += "[[inputs]]\nkind = 'extend'\nat_s = 0.2\n"
    made = machine(text)
    assert parse(dump(made), "x") == made
    rig = Rig(made)
    pressed = [rig.step(*STILL).inputs & ~Inputs.STOP for _ in range(60)]
    assert pressed == [0] * 20 + [Inputs.EXTEND_1] * 20 + [0] * 20


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ("value = 1\n", "this input has no kind"),
        ("kind = 'stick'\nvalue = 2\n", "stick goes from 0 to 1"),
        ("kind = 'lever'\n", "is not one of extend, retract, stick, pulse"),
        ("kind = 'pulse'\nuntil_s = 2\n", "has no key 'until_s'"),
    ],
)
def test_a_step_that_cannot_be_meant_is_refused(step: str, said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        machine("[[inputs]]\n" + step)


@pytest.mark.parametrize(
    ("kind", "axis", "value"), [("lever", 1, 0.0), ("stick", 3, 0.5), ("stick", 1, 1.5)]
)
def test_a_hand_that_cannot_be_meant_is_refused(kind: str, axis: int, value: float) -> None:
    with pytest.raises(UsageError):
        Rig(machine()).set_input(kind, axis, value)


def board_with(source: LocalSource, **more: int) -> EmulatedBoard:
    axis = ROD | {"local_source": int(source)} | more
    spare = settings.defaults("axis")
    image = memory.image(0, settings.defaults("board"), axis, spare)
    return EmulatedBoard(machine(), eeprom=bytes(image))


def test_a_pulse_moves_a_rod_once_it_was_seen_at_rest() -> None:
    with_pulse = board_with(LocalSource.PULSE, calibrated=0)
    with_pulse.rig.set_input("pulse", 1, 1900.0)
    with_pulse.step(60)
    assert with_pulse.twin.axis[0].local.value == pytest.approx(1900, abs=8)
    assert with_pulse.outputs.drive == [0, 0]
    with_pulse.rig.set_input("pulse", 1, 1500.0)
    with_pulse.step(30)
    with_pulse.rig.set_input("pulse", 1, 1900.0)
    with_pulse.step(20)
    assert with_pulse.twin.axis[0].state == AxisState.JOG
    with_pulse.rig.set_input("pulse", 1, 0.0)
    with_pulse.step(40)
    assert with_pulse.outputs.drive == [0, 0]


def test_a_stick_is_read_where_the_axis_wants_no_pulse() -> None:
    board = board_with(LocalSource.STICK)
    board.rig.set_input("pulse", 1, 1500.0)
    board.rig.set_input("stick", 1, 0.5)
    board.step(5)
    assert board.twin.axis[0].local.value == pytest.approx(512, abs=3)
