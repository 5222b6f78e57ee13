"""Quantities with a unit as a person writes them: "7.9 in", "30 s", "25 %"."""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Any

_QUANTITY = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s.,].*?)\s*$")
_COMMA = re.compile(r"^\s*[+-]?\d+,\d+")
# What key names end in, longest first, and the unit that it stands for.
SUFFIXES = {
    "_mm_s2": "mm/s2",
    "_in_s2": "in/s2",
    "_v_per_a": "V/A",
    "_mv_per_a": "mV/A",
    "_percent": "%",
    "_mm_s": "mm/s",
    "_cm_s": "cm/s",
    "_in_s": "in/s",
    "_mm_min": "mm/min",
    "_in_min": "in/min",
    "_inch": "in",
    "_ohm": "ohm",
    "_deg": "deg",
    "_lbf": "lbf",
    "_kgf": "kgf",
    "_gpa": "GPa",
    "_mpa": "MPa",
    "_ft2": "ft2",
    "_psf": "psf",
    "_kg": "kg",
    "_lb": "lb",
    "_kn": "kN",
    "_nm": "N m",
    "_pa": "Pa",
    "_m2": "m2",
    "_wh": "Wh",
    "_kohm": "kohm",
    "_mm2": "mm2",
    "_min": "min",
    "_mm": "mm",
    "_cm": "cm",
    "_um": "um",
    "_in": "in",
    "_ft": "ft",
    "_ma": "mA",
    "_mv": "mV",
    "_ms": "ms",
    "_m": "m",
    "_a": "A",
    "_c": "degC",
    "_v": "V",
    "_s": "s",
    "_h": "h",
    "_n": "N",
}
_FORCE_OF = {"kg": "kgf", "lb": "lbf", "lbs": "lbf"}  # what many data sheets mean by a mass


class QuantityError(ValueError):
    """The text is no quantity of the wanted kind; the message is the clause for the person."""


def convert(text: str, unit: str) -> float:
    """`text` ("7.9 in") in `unit` ("mm"; "" for a plain share, where "25 %" is meant).

    Raises QuantityError with what is wrong.
    """
    number, given = split(text)
    wanted = _units(unit)
    try:
        return float(_registry().Quantity(number, _units(given)).to(wanted).magnitude)
    except QuantityError:
        raise
    except Exception:  # pint: wrong dimension
        if unit == "N" and given in _FORCE_OF:
            force = f"{text.strip().removesuffix(given).strip()} {_FORCE_OF[given]}"
            raise QuantityError(f"'{given}' is a mass: of a force, write {force}") from None
        raise QuantityError(f"'{given}' cannot be turned into {unit or 'a share'}") from None


def split(text: str) -> tuple[float, str]:
    """Number and unit of a text. Raises QuantityError."""
    if _COMMA.match(text):
        raise QuantityError("a decimal comma: write a point")
    found = _QUANTITY.match(text)
    if not found:
        raise QuantityError("no number with a unit after it")
    number = float(found[1])
    if math.isinf(number):
        raise QuantityError("a number beyond all bounds")
    return number, found[2]


def split_suffix(key: str) -> tuple[str, str] | None:
    """Stem and unit of a key name: `soft_stop_max_in` -> (`soft_stop_max`, `in`)."""
    for suffix, unit in SUFFIXES.items():
        if key.endswith(suffix) and len(key) > len(suffix):
            return key.removesuffix(suffix), unit
    return None


@cache
def _registry() -> Any:
    import pint  # slow to import: only when somebody wrote a unit

    registry: Any = pint.UnitRegistry(cache_folder=None)
    registry.define("pound_force_per_square_foot = force_pound / foot ** 2 = psf")  # snow, wind
    return registry


@cache
def _units(text: str) -> Any:
    """A unit of pint; accepts `s2`, `m^2` and `s²` beside `s**2`."""
    registry = _registry()
    if text == "":
        return registry.dimensionless
    plain = text.replace("²", "2").replace("%", "percent")
    try:
        return registry.parse_units(re.sub(r"\b(s|m|mm|cm|ft|in)\^?2\b", r"\1**2", plain))
    except Exception:  # pint raises several kinds, tokenizer errors among them
        raise QuantityError(f"'{text}' is no unit that is known here") from None
