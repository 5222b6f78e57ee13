"""Units of data sheets against scipy.constants (CODATA and exact definitions)."""

from __future__ import annotations

import pytest
from rodbench.science.loads import GRAVITY
from rodbench.settings.quantity import QuantityError, convert
from rodbench.show.sizing_words import N_PER_LBF
from scipy import constants


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("12 in", "mm", 12 * constants.inch * 1000),
        ("1.5 ft", "mm", 1.5 * constants.foot * 1000),
        ("40 lb", "kg", 40 * constants.lb),
        ("150 lbf", "N", 150 * constants.lbf),
        ("20 kgf", "N", 20 * constants.kgf),
        ("1.2 kN", "N", 1200.0),
        ("0.4 in/s", "mm/s", 0.4 * constants.inch * 1000),
        ("1 in/h", "mm/s", constants.inch * 1000 / constants.hour),
        ("30 lbf/ft2", "Pa", 30 * constants.lbf / constants.foot**2),
        ("30 psf", "Pa", 30 * constants.lbf / constants.foot**2),
        ("2 psi", "Pa", 2 * constants.psi),
        ("0.6 kPa", "Pa", 600.0),
        ("20 kgf/m2", "Pa", 20 * constants.kgf),
        ("10 ft2", "m2", 10 * constants.foot**2),
        ("10 ft^2", "m2", 10 * constants.foot**2),
        ("35 lbf in", "N m", 35 * constants.lbf * constants.inch),
        ("0.5 rad", "deg", 0.5 / constants.degree),
        ("29e6 psi", "GPa", 29e6 * constants.psi / 1e9),
        ("10 kohm", "ohm", 10_000.0),
        ("1 h", "s", constants.hour),
    ],
)
def test_what_data_sheets_write(text: str, unit: str, value: float) -> None:
    assert convert(text, unit) == pytest.approx(value, rel=1e-9)


def test_our_own_constants() -> None:
    assert constants.g == GRAVITY
    assert constants.lbf == pytest.approx(N_PER_LBF, rel=1e-15)


@pytest.mark.parametrize(("text", "meant"), [("40 lb", "40 lbf"), ("20 kg", "20 kgf")])
def test_a_mass_for_a_force_is_told(text: str, meant: str) -> None:
    with pytest.raises(QuantityError, match=f"is a mass: of a force, write {meant}"):
        convert(text, "N")
