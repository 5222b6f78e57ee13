"""What a person should know of a machine file that holds: it is kept, but does not do all it says.

Nothing here stops a push: positions and degrees are refused by `move`, the rest is advice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rodbench.settings.faults import Finding
from rodbench.settings.limits import Ends
from rodbench.settings.linked import ganged, linkage_of, linkage_path
from rodbench.settings.parse import Named, Parsed
from rodbench.settings.positions import Way
from rodbench.settings.units import Units
from rodbench.settings.wires import dangers

Scopes = Mapping[int, Mapping[str, int]]
EVEN_PERCENT = 1.0  # of the stroke: soft stops that differ by less need no word
RATED_ABOVE = 1.2  # a 12 V rod takes a charging battery's 14.4 V (common practice, no source)


def remarks(parsed: Parsed, scopes: Scopes) -> list[Finding]:
    """All of them, in the order of the lines; `scopes` are the wire integers by axis number."""
    found = [
        *_gang(parsed, scopes),
        *(each for axis in parsed.axes for each in _axis(parsed, axis, scopes[axis])),
        *_linkages(parsed, scopes),
        *_positions(parsed, scopes),
        *dangers(parsed),
    ]
    return sorted(found, key=lambda finding: finding.line)


def way_of(parsed: Parsed, axis: int, values: Mapping[str, int]) -> Way:
    """The way of an axis with a linkage where one can be reckoned with. Raises ValueError."""
    low, high = values["soft_stop_min_um"] / 1000, values["soft_stop_max_um"] / 1000
    return Way(low, high, linkage_of(parsed, axis))


def _gang(parsed: Parsed, scopes: Scopes) -> Iterator[Finding]:
    if not ganged(parsed):
        return
    line = parsed.lines.get(("gang",), 1)
    apart = parsed.get(("gang",), "apart_trip_mm")
    strokes = [scopes[axis]["stroke_um"] / 1000 for axis in parsed.axes]
    if apart is not None and strokes and float(apart.value) >= min(strokes):
        text = f"{apart.said} is no less than a whole stroke: it would never trip."
        yield Finding(parsed.file, apart.line, text)
    learning = [axis for axis in parsed.axes if not scopes[axis]["calibrated"]]
    if learning or len(parsed.axes) < 2:
        which = f"axis {learning[0]} is not calibrated" if learning else "one of them is not there"
        text = f"[gang]: {which}, and a gang moves with two that are: commission each first."
        yield Finding(parsed.file, line, text)
    elif _uneven(scopes):
        yield Finding(parsed.file, line, _uneven(scopes))


def _uneven(scopes: Scopes) -> str:
    """Soft stops at different shares of the strokes; empty where they agree."""
    rods = [scopes[axis] for axis in (1, 2)]
    low, high = (
        [100 * rod[f"soft_stop_{end}_um"] / rod["stroke_um"] for rod in rods]
        for end in ("min", "max")
    )
    if max(abs(low[0] - low[1]), abs(high[0] - high[1])) <= EVEN_PERCENT:
        return ""
    said = [f"{low[n]:.1f} .. {high[n]:.1f} %" for n in (0, 1)]
    return (
        f"[gang]: the soft stops are at {said[0]} of axis 1's stroke and {said[1]} of axis 2's: "
        f"both go only where both may, {max(low):.1f} .. {min(high):.1f} %."
    )


def _axis(parsed: Parsed, axis: int, values: Mapping[str, int]) -> Iterator[Finding]:
    path = ("axes", str(axis), "limits")
    if not values["current_sensor"]:
        for name in ("trip_a", "trip_ms"):
            trip = parsed.get(path, name)
            if trip is not None:
                text = f"{trip.said}: axis {axis} has no current sensor, so this never trips."
                yield Finding(parsed.file, trip.line, text)
                break
    yield from _rated(parsed, axis, values)


def _rated(parsed: Parsed, axis: int, values: Mapping[str, int]) -> Iterator[Finding]:
    rod = parsed.get(("axes", str(axis)), "rod")
    rated = rod and parsed.get(("rods", str(rod.value)), "rated_supply_v")
    supply = parsed.get(("board",), "supply_nominal_v")
    if not rod or not rated or supply is None:
        return
    at_most = float(supply.value) * values["output_max_permille"] / 1000
    if at_most > RATED_ABOVE * float(rated.value):
        share = float(rated.value) / float(supply.value)
        text = (
            f'{rated.said}: rod "{rod.value}" can get {at_most:g} V on axis {axis}. '
            f"output_max = {share:.2f} holds it to its rating."
        )
        yield Finding(parsed.file, rated.line, text)


def _linkages(parsed: Parsed, scopes: Scopes) -> Iterator[Finding]:
    said = set()
    for axis in parsed.axes:
        path = linkage_path(parsed, axis)
        if path is None:
            continue
        try:
            _has_triangle(parsed, axis, scopes[axis])
        except ValueError as error:
            text = f"[{'.'.join(path)}]: {error}."
            if text not in said:
                said.add(text)
                yield Finding(parsed.file, parsed.lines.get(path, 1), text)


def _has_triangle(parsed: Parsed, axis: int, values: Mapping[str, int]) -> None:
    """Raise ValueError where the pins make no triangle somewhere on the rod's way."""
    linkage, units = linkage_of(parsed, axis), _units(parsed)
    assert linkage is not None
    for mm in (linkage.closed_at_mm, *_ends_of_way(parsed, axis, values)):
        if not linkage.holds(mm):
            low, high = linkage.room_mm()
            raise ValueError(
                f"at {units.length(mm)} the pins make no triangle, only within "
                f"{units.span(low, high)}: measure hinge and pins again"
            )


def _units(parsed: Parsed) -> Units:
    said = parsed.get((), "show_units")
    return Units("mm" if said is None else str(said.value))


def working_ends_mm(parsed: Parsed, axis: int) -> Ends:
    """Where the machine ends the rod's way, in mm; None where the file does not say."""
    path = ("axes", str(axis), "limits")
    low, high = (parsed.get(path, f"working_end_{side}_mm") for side in ("min", "max"))
    return (
        None if low is None else float(low.value),
        None if high is None else float(high.value),
    )


def _ends_of_way(parsed: Parsed, axis: int, values: Mapping[str, int]) -> tuple[float, float]:
    """The way that the machine lets the rod go, by what is known of it."""
    stroke = values["stroke_um"] / 1000
    low, high = 0.0, stroke
    if values["calibrated"]:
        low, high = values["soft_stop_min_um"] / 1000, values["soft_stop_max_um"] / 1000
    ends = working_ends_mm(parsed, axis)
    return ends[0] if ends[0] is not None else low, ends[1] if ends[1] is not None else high


def _positions(parsed: Parsed, scopes: Scopes) -> Iterator[Finding]:
    """Positions that no calibrated axis can go to; of a gang, that one of the two cannot."""
    axes = [axis for axis in parsed.axes if scopes[axis]["calibrated"]]
    for name, named in parsed.positions.items():
        reasons = [why for axis in axes if (why := _why_not(parsed, axis, scopes[axis], named))]
        if reasons and (len(reasons) == len(axes) or ganged(parsed)):
            text = f'{name} = "{named.place.text}": {reasons[0]}.'
            yield Finding(parsed.file, named.line, text)


def _why_not(parsed: Parsed, axis: int, values: Mapping[str, int], named: Named) -> str:
    try:
        way = way_of(parsed, axis, values)
        if way.holds(way.mm(named.place)):
            return ""
    except ValueError as error:
        return f"axis {axis}: {error}"
    span = _units(parsed).span(way.low_mm, way.high_mm)
    return f"outside the soft stops of axis {axis}, {span}"
