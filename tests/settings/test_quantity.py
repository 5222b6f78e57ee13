"""Quantities with a unit, against definitions: 1 in = 25.4 mm, 1 lbf = 4.4482216152605 N exactly.

Source: the International System of Units' exact definitions (international yard and pound
agreement, 1959; standard gravity 9.80665 m/s2), from memory.
"""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rodbench.settings.quantity import QuantityError, convert, split_suffix


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("0.12 in", "mm", 3.048),
        ("7.9in", "mm", 200.66),
        ("40 lbf", "N", 40 * 0.45359237 * 9.80665),
        ("30 s", "min", 0.5),
        ("25 %", "", 0.25),
        ("3 in/s2", "mm/s2", 76.2),
        ("3 mm/s^2", "mm/s2", 3.0),
        ("3 mm/s²", "mm/s2", 3.0),
        ("185 mV/A", "V/A", 0.185),
        ("-2 mm/s", "mm/s", -2.0),
        ("1e3 um", "mm", 1.0),
    ],
)
def test_known_values(text: str, unit: str, value: float) -> None:
    assert convert(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("2,9 A", "A"),
        ("5 kg", "mm"),
        ("five mm", "mm"),
        ("5", "mm"),
        ("", "mm"),
        ("5 ma", "A"),
        ("5 in; import os", "mm"),
        ("5 ((", "mm"),
        ("20 degC", "mm"),
        ("nan mm", "mm"),
        ("1e400 mm", "mm"),
        ("5 __import__('os')", "mm"),
    ],
)
def test_refused(text: str, unit: str) -> None:
    with pytest.raises(QuantityError):
        convert(text, unit)


@given(st.text(max_size=20))
def test_any_text_gives_a_number_or_the_one_error(text: str) -> None:
    with contextlib.suppress(QuantityError):
        assert isinstance(convert(text, "mm"), float)


def test_suffixes_are_split_longest_first() -> None:
    assert split_suffix("speed_max_mm_s") == ("speed_max", "mm/s")
    assert split_suffix("acceleration_in_s2") == ("acceleration", "in/s2")
    assert split_suffix("name") is None
