"""Tables for a terminal of 80 columns."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rodbench.settings import pot_table
from rodbench.settings.units import Units, share

if TYPE_CHECKING:
    from rodbench.settings.transfer import Difference

WIDTH = 80
OTHER_POINTS = ("as written", "other points")


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()) -> str:
    """Columns under heads; those numbered in `right` are set to the right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, expand=False)
    for number, head in enumerate(heads):
        drawn.add_column(head, justify="right" if number in right else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*row)
    out = io.StringIO()
    Console(file=out, width=WIDTH, highlight=False, markup=False).print(drawn)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines() if line.strip())


def differences(found: Sequence[Difference]) -> str:
    """File against board, a setting a line; a linearity table is one."""
    rows = {d.name: (d.shown(d.in_file), d.shown(d.on_board)) for d in found if not _in_table(d)}
    for d in filter(_in_table, found):
        name = f"{pot_table.NAME} of axis {d.scope}"
        counts = d.wire == pot_table.WIRES[0]
        rows.setdefault(name, (_points(d.in_file), _points(d.on_board)) if counts else OTHER_POINTS)
    return table(("setting", "file", "board"), [(k, *v) for k, v in rows.items()], right=(1, 2))


def _in_table(difference: Difference) -> bool:
    return difference.wire in pot_table.WIRES


def _points(count: int) -> str:
    return f"{count} points" if count else "none"


def facts(found: Mapping[str, Any], units: Units) -> str:
    """The result of one step, a fact a line; what was not found is left out."""
    return table(("found", "value"), fact_words(found, units))


def fact_words(found: Mapping[str, Any], units: Units) -> list[tuple[str, str]]:
    """Each fact's name, and its value with its unit."""
    return [_named(name, value, units) for name, value in found.items() if value is not None]


def _named(name: str, value: Any, units: Units) -> tuple[str, str]:
    """A fact's name without its unit, and its value with it: `spread_mm` -> `spread`, `0.3 mm`."""
    shown: Mapping[str, Callable[[Any], str]] = {
        "_raw_s": "{:.3g} raw/s".format,
        "_mm_per_raw": "{:.4g} mm/raw".format,
        "_raw4": lambda quarters: f"{quarters / 4:.4g} raw",
        "_raw": "{:.4g} raw".format,
        "_percent": "{:.3g} %".format,
        "_n": "{:.3g} N".format,
        "_mm_s": units.speed,
        "_mm": units.length,
        "_a": "{:.3g} A".format,
        "_v": "{:.4g} V".format,
        "_s": "{:.3g} s".format,
    }
    suffix = next((end for end in shown if name.endswith(end) and not _is_words(value)), "")
    text = _fact(value, shown.get(suffix, _plain))
    return name.removesuffix(suffix).replace("_", " "), text


def _is_words(value: Any) -> bool:
    return isinstance(value, str | bool) or (isinstance(value, list) and any(map(_is_words, value)))


def _fact(value: Any, shown: Callable[[Any], str]) -> str:
    if isinstance(value, list):
        return ", ".join(_fact(part, shown) for part in value)
    return "-" if value is None else shown(value)


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def learned(done: Mapping[str, Any], units: Units) -> str:
    """What commissioning learned of a rod and settled for it."""
    if "strokes" in done:
        return _without_pot(done, units)
    ends, speeds, stall = done["ends"], done["speeds"], done["proposed"]["stall"]
    proposal = done["proposed"]["proposal"]
    stops = (proposal["soft_stop_max_mm"], proposal["soft_stop_min_mm"])
    motor = "reversed" if done["polarity"]["motor_reversed"] else "as wired"
    pot = "falls" if done["polarity"]["pot_falls"] else "rises"
    rows = [
        ("end at", units.length(ends["stroke_mm"]), units.length(0.0)),
        ("raw there", str(ends["raw"][1]), str(ends["raw"][0])),
        ("travel ends by", ends["kinds"][1], ends["kinds"][0]),
        ("ends repeat within", *_both(ends["spread_mm"][::-1], units.length)),
        ("creep", *_both(ends["creep_mm_s"], units.speed)),
        ("full speed", *_both(speeds["speed_mm_s"], units.speed)),
        ("running current", *_both(speeds["running_a"], "{:.2f} A".format)),
        ("peak current", *_both(speeds["peak_a"], "{:.2f} A".format)),
        ("dead zone", *_both(speeds["dead_zone"], share)),
        ("runs on", *_both(speeds["run_on_mm"], units.length)),
        ("soft stop", *_both(stops, units.length)),
    ]
    trip = "none" if proposal["trip_a"] is None else f"{proposal['trip_a']:.2f} A"
    stalls = "unknown" if stall is None else f"about {stall['current_a']:.1f} A"
    title = f'axis {done["axis"]} "{done["label"]["rod"]}"'
    head = table((title, "extend", "retract"), rows, (1, 2))
    tail = [
        f"motor {motor}, pot {pot} as the rod extends",
        f"trip {trip}, stall {stalls}",
        f"speed {units.speed(proposal['speed_max_mm_s'])}, ramps "
        f"{units.acceleration(proposal['acceleration_mm_s2'])} up, "
        f"{units.acceleration(proposal['deceleration_mm_s2'])} down",
        f"duty {share(proposal['duty_share'])} in {proposal['duty_window_min']:g} min",
    ]
    return "\n".join([head, *tail])


def _without_pot(done: Mapping[str, Any], units: Units) -> str:
    """The same of a rod with two wires: no position anywhere."""
    strokes, limits = done["strokes"], done["limits"]
    title = f'axis {done["axis"]} "{done["label"]["rod"]}"'
    motor = "reversed" if done["direction"]["motor_reversed"] else "as wired"
    lines = [f"motor {motor}; no pot: no positions, no soft stops"]
    if strokes is None:
        lines.insert(0, f"{title}: hold-to-run only")
    else:
        speeds = [strokes["stroke_mm"] / seconds for seconds in strokes["time_s"]]
        rows = [
            ("travel ends by", strokes["kinds"][1], strokes["kinds"][0]),
            ("end to end", *_both(strokes["time_s"], "{:.1f} s".format)),
            ("speed by the label", *_both(speeds, units.speed)),
            ("running current", *_both(strokes["running_a"], "{:.2f} A".format)),
            ("peak current", *_both(strokes["peak_a"], "{:.2f} A".format)),
        ]
        lines.insert(0, table((title, "extend", "retract"), rows, (1, 2)))
    trip = "none" if limits["trip_a"] is None else f"{limits['trip_a']:.2f} A"
    stall = limits["stall"]
    known = "unknown" if stall is None else f"about {stall['current_a']:.1f} A"
    duty = f"duty {share(limits['duty_share'])} in {limits['duty_window_min']:g} min"
    return "\n".join([*lines, f"trip {trip}, stall {known}", duty])


def _both(pair: Sequence[float], shown: Any) -> tuple[str, str]:
    return shown(pair[0]), shown(pair[1])
