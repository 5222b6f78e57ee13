"""Rows as the lines of FAULTS.md."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rodbench.show.words import fault_names, fault_sentence
from rodbench_protocol.names import Fault

from tests.faults.bench import AXIS, BOARD, GANG, SPEED_MM_S, START_MM, Row
from tests.faults.causes import CAUSES, DOINGS, Cause, Excuse

Rows = Mapping[tuple[str, str], Row]
HEAD = f"""# What a fault leads to

Made by `python -m tests.faults.table`; the same on the AVR binary: `python -m tests.faults.table --binary`.

Measured on the twin of this firmware with two emulated rods of {AXIS["stroke_um"] // 1000} mm, all figures invented. A cause is
brought about in the plant, the wiring, the board or the computer while axis 1 jogs or moves at {SPEED_MM_S:g} mm/s,
holds still near {START_MM:g} mm, or moves as one of a gang. *Outputs off after*: from the cause to the last tick with output on
either axis. *Travel after*: the furthest that a rod got from where it was, by the plant, not by its pot. Settings that matter:
trip_a {AXIS["trip_ma"] / 1000:g} A, stall_time_ms 400 (longer where creep has to stand out of the noise), following_mm {AXIS["following_um"] / 1000:g}, supply {BOARD["supply_low_mv"] / 1000:g} to {BOARD["supply_high_mv"] / 1000:g} V, apart_trip_mm {GANG["apart_trip_um"] / 1000:g},
braking at rest.

**None of this is a safety function.** Fuse, a switch that cuts motor power, guarding, and a brake where the load can push
the rod are hardware, and yours. The alarm output (D13) is on while a fault is latched, in every row that is detected, and off
in those that are not. Wired to a relay in the motor supply it also stops a driver that no longer listens; it flashes while the
bootloader runs.
"""  # noqa: E501
COLUMNS = (
    "| while | detected as | outputs off after | travel after | cleared while the cause stands |"
)
LINE = "|---|---|---|---|---|"


def document(rows: Rows, binary: str) -> str:
    """FAULTS.md; `binary` says how the AVR binary compares."""
    parts = [
        HEAD,
        binary,
        *(_cause(cause, rows) for cause in CAUSES),
        _undetected(rows),
        _sentences(),
    ]
    return "\n".join(parts)


def row_line(cause: Cause, row: Row) -> str:
    """One line of a table."""
    if row.doing in cause.excuses:
        reason = cause.excuses[row.doing].reason
        later = f"; the next motion: {_names(row.later.split(', '))}" if row.later else ""
        return f"| {row.doing} | not detected: {reason}{later} | {_off(row)} | {_way(row)} | |"
    return (
        f"| {row.doing} | {_names(row.detected)}{'' if row.latched else ' (no fault)'} "
        f"| {_off(row)} | {_way(row)} | {_cleared(row)} |"
    )


def _cause(cause: Cause, rows: Rows) -> str:
    lines = [f"## {cause.title}", "", f"{cause.how[0].upper()}{cause.how[1:]}.", "", COLUMNS, LINE]
    for doing in DOINGS:
        if doing in cause.skips:
            lines.append(f"| {doing} | {cause.skips[doing]} | | | |")
        else:
            lines.append(row_line(cause, rows[cause.title, doing]))
    said = rows[cause.title, "moving"].said if "moving" not in cause.skips else ""
    if said:
        lines += ["", f'The `move` that runs ends with: "{said}".']
    return "\n".join([*lines, ""])


def _names(names: tuple[str, ...] | list[str]) -> str:
    return ", then ".join(name.replace("_", " ") for name in names)


def _off(row: Row) -> str:
    if row.off_ms is not None:
        return f"{row.off_ms} ms"
    return "were off" if row.doing == "holding" else "go on"


def _way(row: Row) -> str:
    return f"{row.travel_mm:.1f} mm{', runs on' if row.runs_on else ''}"


def _cleared(row: Row) -> str:
    if not row.latched:
        return ""
    return "back at once" if row.back_at_once else "until it shows again"


def _undetected(rows: Rows) -> str:
    lines = [
        "## Not detected, and what covers it",
        "",
        "The alarm output stays off in these.",
        "",
        "| cause | while | why | covered by |",
        "|---|---|---|---|",
    ]
    for cause in CAUSES:
        while_of: dict[Excuse, list[str]] = {}
        for doing, excuse in cause.excuses.items():
            if (cause.title, doing) in rows:
                while_of.setdefault(excuse, []).append(doing)
        for excuse, doings in while_of.items():
            covered = f"{excuse.reason} | {excuse.covered_by}"
            lines.append(f"| {cause.title} | {', '.join(doings)} | {covered} |")
    return "\n".join([*lines, ""])


def _sentences() -> str:
    lines = ["## What the person sees", ""]
    lines += ["On `rodbench watch`, `info`, `move` and `jog`, for axis 1 or the board:", ""]
    lines += [f"- {sentence}" for sentence in sentences()]
    cleared = (
        "Every fault is latched, and cleared at rest only: mend the cause, then `rodbench clear`."
    )
    return "\n".join([*lines, "", cleared, ""])


def sentences() -> Iterator[str]:
    """Of all faults, in the order of their numbers."""
    of_board = ("watchdog", "settings", "assertion", "supply_low", "supply_high", "stop_input")
    for fault in Fault:
        (name,) = fault_names(1 << (fault - 1))
        yield fault_sentence(name, 0 if name in (*of_board, "late_tick") else 1)
