"""The latest proof of each axis for a page: required against measured, and pictures of the strokes
beside the baseline's. Rows are read by blocks and thinned on the way, so that an hour of recording
never lies in memory."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from rodbench.record.runs import Requirement, Run, Table
from rodbench.record.stream import blocks
from rodbench.science.thin import Rows, Thinner
from rodbench.settings.units import Units

if TYPE_CHECKING:
    from markupsafe import Markup

COLUMNS = ("t_s", "position_mm", "current_a")
_SIGNS = {"at most": "≤", "at least": "≥"}
_DIGITS = {"A": 2, "V": 2, "s": 1, "mm": 2, "mm/s": 2}
_STRETCHES = 300
_A_PICTURE = 2  # strokes in one picture


@dataclass(frozen=True, slots=True)
class Kept:
    """A run and the tables of its strokes."""

    run: Run
    tables: Sequence[Table]


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture with its caption."""

    svg: Markup
    caption: str


@dataclass(frozen=True, slots=True)
class Proof:
    """A proof as the page has it."""

    title: str
    passed: bool
    said: str
    conditions: Sequence[tuple[str, str]]
    rows: Sequence[Sequence[str]]
    compared: Sequence[str]
    pictures: Sequence[Picture] = field(repr=False)


def proof(
    latest: Kept, baseline: Kept | None, compared: Sequence[str], trip_a: float | None, units: Units
) -> Proof:
    """The latest run of an axis; `compared`: what a comparison with the baseline said. Raises
    RunError where a table is damaged."""
    run = latest.run
    missed = [line.what for line in run.required if not line.passed]
    said = f"All {len(run.required)} required values hold"
    if missed:
        said = f"Missed: {', '.join(missed)}"
    return Proof(
        title=f'Axis {run.axis} "{run.rod}", {run.date[:16].replace("T", " ")} UTC',
        passed=run.passed,
        said=f"{said}. Settings {run.settings}, run {run.name}.",
        conditions=[
            _condition(name, value, units) for name, value in run.conditions.items() if value != ""
        ],
        rows=[_row(line, units) for line in run.required],
        compared=_against(latest, baseline, compared),
        pictures=list(_pictures(latest, baseline, trip_a, units)),
    )


def _against(latest: Kept, baseline: Kept | None, compared: Sequence[str]) -> list[str]:
    if baseline is None:
        return ["There is no baseline to compare with."]
    if baseline.run.name == latest.run.name:
        return ["This run is itself the baseline."]
    return [f"Baseline: {baseline.run.name}, settings {baseline.run.settings}.", *compared]


def _row(line: Requirement, units: Units) -> list[str]:
    return [
        line.what,
        f"{_SIGNS.get(line.limit, line.limit)} {_amount(line.required, line.unit, units)}",
        "-" if line.measured is None else _amount(line.measured, line.unit, units),
        "-" if line.margin is None else _amount(line.margin, line.unit, units, "+"),
        "pass" if line.passed else f"FAIL {line.why}".strip(),
        line.source,
    ]


def _amount(value: float, unit: str, units: Units, sign: str = "") -> str:
    digits = _DIGITS.get(unit, 1)
    if unit.startswith("mm"):
        value, unit = units.value(value), unit.replace("mm", units.name)
        digits = 3 if units.name == "in" else digits
    return f"{value:{sign}.{digits}f} {unit}"


def _condition(name: str, value: Any, units: Units) -> tuple[str, str]:
    """`supply_v`, 12.43 -> `supply`, `12.43 V`; what is no plain number as it is."""
    stem, _, end = name.rpartition("_")
    unit = {"a": "A", "v": "V", "s": "s", "mm": "mm", "c": "°C"}.get(end)
    if isinstance(value, Mapping):
        return name.replace("_", " "), ", ".join(f"{k} {_plain(v)}" for k, v in value.items())
    parts = value if isinstance(value, list | tuple) else [value]
    if unit and stem and all(_is_number(part) for part in parts):
        return stem.replace("_", " "), ", ".join(_amount(part, unit, units) for part in parts)
    if parts is value:
        return name.replace("_", " "), ", ".join(_plain(part) for part in parts)
    return name.replace("_", " "), _plain(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


# ---------------------------------------------------------------- pictures


def thinned(table: Table) -> Rows:
    """Few rows of a stroke with all its peaks: s, mm, A. Raises RunError."""
    thinner = Thinner(_STRETCHES)
    for block in blocks(table.path, COLUMNS, table.sha256):
        thinner.add(block)
    rows = thinner.thinned()
    return rows if len(rows) else rows.reshape(0, len(COLUMNS))


def _pictures(
    latest: Kept, baseline: Kept | None, trip_a: float | None, units: Units
) -> Iterator[Picture]:
    from rodbench.show.page import inline

    before = {} if baseline is None else {table.name: table for table in baseline.tables}
    if baseline is not None and baseline.run.name == latest.run.name:
        before = {}
    for at in range(0, len(latest.tables), _A_PICTURE):
        shown = latest.tables[at : at + _A_PICTURE]
        svg = _drawn(shown, before, trip_a, units)
        names = ", ".join(table.name for table in shown)
        caption = f"{names}: left current against position, right position against time."
        if before:
            caption += " This run solid, the baseline dashed."
        yield Picture(inline(svg, 180.0, caption), caption)


def _drawn(
    tables: Sequence[Table], before: Mapping[str, Table], trip_a: float | None, units: Units
) -> str:
    """The SVG: a row for each stroke."""
    import io

    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    figure = Figure(figsize=(180 / 25.4, len(tables) * 48 / 25.4), layout="constrained")
    FigureCanvasSVG(figure)
    panels = figure.subplots(len(tables), 2, squeeze=False)
    for (left, right), table in zip(panels, tables, strict=True):
        rows = thinned(table)
        old = thinned(before[table.name]) if table.name in before else None
        _current(left, rows, old, trip_a, units)
        _times(right, rows, old, units)
        left.set_title(table.name, fontsize=8, loc="left")
    out = io.StringIO()
    # Ids from the names: the same page twice is the same, and two pictures share none.
    salt = "/".join(str(table.path) for table in tables)
    with matplotlib.rc_context({"svg.hashsalt": salt, "svg.fonttype": "path"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = re.sub(r"<metadata>.*?</metadata>", "", out.getvalue(), flags=re.DOTALL)
    return text[text.index("<svg") :]


def _current(axes: Any, rows: Rows, old: Rows | None, trip_a: float | None, units: Units) -> None:
    """Current against position; without a pot against time."""
    pot = bool(len(rows)) and not _unknown(rows[:, 1])
    for data, style in _both(rows, old):
        place = [units.value(mm) for mm in data[:, 1]] if pot else data[:, 0]
        axes.plot(place, data[:, 2], **style)
    top = max((float(data[:, 2].max()) for data, _ in _both(rows, old) if len(data)), default=0.0)
    if trip_a is not None and top > 0.4 * trip_a:
        axes.axhline(trip_a, color="black", linestyle="-.", linewidth=0.9)
        axes.annotate(f"trip {trip_a:g} A", (0.01, trip_a), xycoords=("axes fraction", "data"),
                      ha="left", va="bottom", fontsize=6)  # fmt: skip
    axes.set_xlabel(f"position, {units.name}" if pot else "time, s", fontsize=7)
    axes.set_ylabel("current, A", fontsize=7)
    axes.set_ylim(bottom=min(0.0, float(rows[:, 2].min())) if len(rows) else 0.0)
    axes.set_ylim(top=1.15 * axes.get_ylim()[1])
    _plain_axes(axes)


def _times(axes: Any, rows: Rows, old: Rows | None, units: Units) -> None:
    """Position against time; without a pot the current stands beside it already."""
    if not len(rows) or _unknown(rows[:, 1]):
        axes.set_axis_off()
        return
    for data, style in _both(rows, old):
        axes.plot(data[:, 0], [units.value(mm) for mm in data[:, 1]], **style)
    axes.set_xlabel("time, s", fontsize=7)
    axes.set_ylabel(f"position, {units.name}", fontsize=7)
    _plain_axes(axes)
    if old is not None:
        axes.legend(fontsize=6, frameon=False)


def _both(rows: Rows, old: Rows | None) -> list[tuple[Rows, dict[str, Any]]]:
    new: dict[str, Any] = {"color": "black", "linewidth": 0.9, "label": "this run"}
    dashed: dict[str, Any] = {"color": "0.45", "linewidth": 1.1, "linestyle": "--"}
    before = [] if old is None or not len(old) else [(old, {**dashed, "label": "baseline"})]
    return [*before, (rows, new)]


def _unknown(column: Rows) -> bool:
    return bool((column != column).all())  # NaN alone differs from itself


def _plain_axes(axes: Any) -> None:
    axes.tick_params(labelsize=6)
    axes.grid(True, color="0.85", linewidth=0.4)
    axes.margins(x=0.01)
