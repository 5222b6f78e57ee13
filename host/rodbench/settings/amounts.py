"""Positions, speeds and times as a person types them."""

from __future__ import annotations

from dataclasses import replace

from rodbench.errors import UsageError
from rodbench.settings.positions import Place, read_place
from rodbench.settings.quantity import QuantityError, convert

NOTHING = "Nothing was sent."


def place(text: str, units: str) -> Place:
    """`101.5 mm`, `4 in`, `30 deg`, `50 %`, or a bare number in `units`. Raises UsageError."""
    try:
        return replace(read_place(_with_unit(text, units)), text=text)
    except QuantityError as error:
        raise _no_amount(text, "a position", str(error)) from None


def speed_mm_s(text: str, units: str) -> float:
    """`3 mm/s`, `-0.1 in/s`, or a bare number in `units` per second. Raises UsageError."""
    return _amount(_with_unit(text, f"{units}/s"), "mm/s", "a speed")


def output(text: str) -> float:
    """`20 %` as 0.2. Raises UsageError."""
    return _amount(text, "", "an output")


def is_output(text: str) -> bool:
    """Whether a jog's value is a share of full output."""
    return text.strip().endswith("%")


def seconds(text: str) -> float:
    """`2`, `2 s`, `500 ms`, `1 min`. Raises UsageError."""
    found = _amount(_with_unit(text, "s"), "s", "a time")
    if found <= 0:
        raise UsageError(f"'{text}' is no time: it must be above 0")
    return found


def _with_unit(text: str, unit: str) -> str:
    try:
        float(text)
    except ValueError:
        return text
    return f"{text} {unit}"


def _amount(text: str, unit: str, what: str) -> float:
    try:
        return convert(text, unit)
    except QuantityError as error:
        raise _no_amount(text, what, str(error)) from None


def _no_amount(text: str, what: str, why: str) -> UsageError:
    return UsageError(f"'{text}' is not {what}: {why}", kept=NOTHING, hint=_examples(what))


def _examples(what: str) -> str:
    return {
        "a position": 'for example "101.5 mm", "4 in", "30 deg" or "50 %"',
        "a speed": 'for example "3 mm/s" or "-0.1 in/s" (minus retracts)',
        "an output": 'for example "20 %" or "-20 %" (minus retracts)',
    }.get(what, 'for example "2 s" or "500 ms"')
