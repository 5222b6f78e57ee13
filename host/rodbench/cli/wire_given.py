"""What `rodbench wire` is given: amounts on the command line, and the machine file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.cli.options import Setup
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.bench.wire_known import Given, Known
    from rodbench.settings.machine import MachineFile

KEPT = "nothing was written"
# Option: field, unit, an example.
AMOUNTS = {
    "supply": ("supply_v", "V", "12 V"),
    "running": ("running_a", "A", "1.5 A"),
    "stall": ("stall_a", "A", "6 A"),
    "length": ("length_m", "m", "3 m"),
    "pot": ("pot_ohm", "ohm", "10 kohm"),
    "drop": ("drop_max", "", "3 %"),
    "ambient": ("ambient_c", "degC", "45 degC"),
}
PINS_OF = "atmega328p-5v"
OF_ONE_AXIS = ("running_a", "stall_a", "pot_ohm")
MOST_DROP = 0.5


def read(amounts: Mapping[str, str | None]) -> Given:
    """The amounts. Raises UsageError for what is none."""
    from rodbench.bench.wire_known import Given

    fields = {
        AMOUNTS[option][0]: _amount(option, text)
        for option, text in amounts.items()
        if text is not None
    }
    given = Given(**fields)
    if given.drop_max is not None and given.drop_max > MOST_DROP:
        raise _no_amount("drop", amounts["drop"], f"at most {100 * MOST_DROP:.0f} %")
    return given


def _amount(option: str, text: str) -> float:
    from rodbench.settings.quantity import QuantityError, convert

    _, unit, _ = AMOUNTS[option]
    try:
        value = float(text) if _is_number(text) else convert(text, unit)
    except QuantityError as error:
        raise _no_amount(option, text, str(error)) from None
    if not 0 < value < float("inf") and option != "ambient":
        raise _no_amount(option, text, "it must be above 0")
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _no_amount(option: str, text: str | None, why: str) -> UsageError:
    hint = f'for example --{option} "{AMOUNTS[option][2]}"'
    return UsageError(f"--{option} '{text}': {why}", kept=KEPT, hint=hint)


def machine(setup: Setup, axis: int | None) -> MachineFile:
    """The machine file, which has the axis. Raises UsageError where it has not."""
    if not setup.has_machine:
        raise UsageError(
            f"there is no {setup.machine_path} here",
            kept=KEPT,
            hint="`rodbench wire --driver KIND`, or go into the machine's folder.",
        )
    found = setup.machine()
    if not found.axes or (axis is not None and axis not in found.axes):
        raise UsageError(
            f"{setup.machine_path} describes no axis{'' if axis is None else f' {axis}'}",
            kept=KEPT,
            hint="`rodbench wire --driver KIND` needs no machine file.",
        )
    if found.board_kind != PINS_OF:
        talk.say(f"note: pins, filters and resistors here are those of a board {PINS_OF}")
    return found


def known(setup: Setup, axis: int | None, given: Given) -> Known:
    """What the machine file says, and what was given beside. Raises UsageError."""
    from rodbench.bench.wire_known import of_machine, with_given

    found = machine(setup, axis)
    of_one = any(getattr(given, name) is not None for name in OF_ONE_AXIS)
    if of_one and axis is None and len(found.axes) > 1:
        raise UsageError(
            "--running, --stall and --pot are of one axis: which?",
            kept=KEPT,
            hint='for example `rodbench wire 1 --running "1.5 A"`',
        )
    return with_given(of_machine(found), axis or found.axes[0], given)


def write(path: Path, text: str) -> None:
    """Write a picture. Raises UsageError."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageError(f"cannot write {path}: {error.strerror}", kept=KEPT) from None
