"""A proof as a table: required, measured, margin, and where each required value is from."""

from __future__ import annotations

from rodbench.record.runs import Requirement, Run
from rodbench.settings.units import Units
from rodbench.show.tables import table

HEADS = ("", "required", "measured", "margin", "")
SIGNS = {"at most": "<=", "at least": ">="}


def table_of(run: Run, units: Units) -> str:
    """The table, the sources of what was required, and the verdict."""
    rows = [_row(line, units) for line in run.required]
    parts = [table(HEADS, rows, right=(1, 2, 3)), "", *_sources(run)]
    return "\n".join([*parts, "", verdict(run)])


def verdict(run: Run) -> str:
    """Pass, or what failed."""
    missed = [line.what for line in run.required if not line.passed]
    if not missed:
        return f"PASS: all {len(run.required)} required values hold."
    return f"FAIL: {len(missed)} of {len(run.required)}: {', '.join(missed)}."


def _row(line: Requirement, units: Units) -> tuple[str, str, str, str, str]:
    return (
        line.what,
        f"{SIGNS[line.limit]} {amount(line.required, line.unit, units)}",
        "-" if line.measured is None else amount(line.measured, line.unit, units),
        "-" if line.margin is None else amount(line.margin, line.unit, units, sign=True),
        "pass" if line.passed else (line.why and f"FAIL: {line.why}") or "FAIL",
    )


def amount(value: float, unit: str, units: Units, *, sign: bool = False) -> str:
    """A value of the table with its unit, lengths and speeds in the machine's units."""
    digits = {"A": 2, "V": 2, "s": 1, "%": 1, "mm": 2, "mm/s": 2}[unit]
    if unit.startswith("mm"):
        value, unit = units.value(value), unit.replace("mm", units.name)
        digits = 3 if units.name == "in" else digits
    return f"{value:{'+' if sign else ''}.{digits}f} {unit}"


def _sources(run: Run) -> list[str]:
    """Where the required values are from, those of the file in one line."""
    said = [line.what for line in run.required if not line.source.startswith("derived")]
    lines = [f"{line.what}: {line.source}" for line in run.required if line.what not in said]
    of_file = [f"from the machine file: {', '.join(said)}"] if said else []
    return [*of_file, *dict.fromkeys(lines)]
