"""Entries of the logbook as a person reads them: when, what, under which settings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from rodbench.record.logbook import Entry
from rodbench.settings.units import Units, minutes

Data = Mapping[str, Any]


def line(entry: Entry, units: Units) -> str:
    """`2026-03-01 14:05  note  new bushing   [4C19A7E2]`, in local time."""
    when, told = words(entry, units)
    digest = f"   [{entry.digest}]" if entry.digest else ""
    return f"{when}  {entry.kind:<20}  {told}{digest}".rstrip()


def words(entry: Entry, units: Units) -> tuple[str, str]:
    """When, in local time, and what."""
    return _when(entry.date), _TOLD.get(entry.kind, _other)(entry.data, units)


def _when(date: str) -> str:
    """Local time to the minute; as written where it is no date."""
    try:
        return datetime.fromisoformat(date).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return date


def _other(data: Data, _: Units) -> str:
    return f"axis {data['axis']}" if "axis" in data else ""


def _new(data: Data, _: Units) -> str:
    return f'"{data.get("machine", "")}" begun'


def _note(data: Data, _: Units) -> str:
    photos = [str(photo.get("name")) for photo in data.get("photos", ())]
    return f"{data.get('text', '')}{' photo ' if photos else ''}{' '.join(photos)}".strip()


def _was_off(data: Data, _: Units) -> str:
    return f"for {minutes(data.get('off_s', 0))}, as told to the board"


def _moved(data: Data, units: Units) -> str:
    rest = data.get("position_mm", data.get("rest_mm"))
    told = f"axis {data['axis']}, " if "axis" in data else ""
    if data.get("target_mm") is not None:
        told += f"to {units.length(data['target_mm'])}: "
    told += f"rests at {units.length(rest)}" if rest is not None else ""
    return f"{told} {_how(data)}".strip()


def _how(data: Data) -> str:
    ended = str(data.get("ended", ""))
    return "" if ended in ("", "reached") else f"({ended})"


def _jogged(data: Data, units: Units) -> str:
    return "by keys, axis " + str(data.get("axis")) if "by" in data else _moved(data, units)


def _levelled(data: Data, units: Units) -> str:
    ahead = float(data.get("ahead_mm", 0.0))
    word = "ahead of" if ahead >= 0 else "behind"
    return f"axis {data.get('axis')}: {units.length(abs(ahead))} {word} the other rod"


def _cleared(data: Data, _: Units) -> str:
    faults = data.get("faults", ())
    who = f"axis {data['axis']}" if data.get("axis") else "all"
    return f"{who}: {', '.join(map(str, faults)) or 'nothing stood'}"


def _tripped(data: Data, units: Units) -> str:
    axis, place = data.get("axis"), data.get("position_mm")
    who = f"axis {axis}" if axis else "board"
    where = f" at {units.length(place)}" if isinstance(place, int | float) else ""
    amps = f", {data['current_a']:.2f} A" if axis and "current_a" in data else ""
    what = str(data.get("fault", "")).replace("_", " ")
    return f"number {data.get('number')}, {who}: {what}{where}{amps}"


def _pushed(data: Data, _: Units) -> str:
    stored = "" if data.get("stored", True) else ", until reset"
    return _changes(data) + stored


def _pulled(data: Data, _: Units) -> str:
    return _changes(data)


def _changes(data: Data) -> str:
    keys = [str(change.get("key")) for change in data.get("changed", ())]
    if not keys:
        return "nothing differed"
    shown = ", ".join(keys[:3])
    return shown if len(keys) <= 3 else f"{shown} and {len(keys) - 3} more"


def _commissioned(data: Data, _: Units) -> str:
    found = data.get("found")
    label = found.get("label") if isinstance(found, Mapping) else None
    rod = label.get("rod") if isinstance(label, Mapping) else None
    return f'axis {data.get("axis")}: rod "{rod}"' if rod else f"axis {data.get('axis')}"


def _learned(data: Data, _: Units) -> str:
    axis = f"axis {data['axis']}: " if "axis" in data else ""
    return f"{axis}{data.get('step')}"


def _accepted(data: Data, _: Units) -> str:
    return f"accepted, {data.get('by', 'typed')}"


def _reported(data: Data, _: Units) -> str:
    return f"{'card ' if data.get('card') else ''}{' and '.join(map(str, data.get('files', ())))}"


def _restored(data: Data, _: Units) -> str:
    return f"from {data.get('photo')}, the card of {data.get('made')}"


def _proven(data: Data, _: Units) -> str:
    missed = [str(line.get("what")) for line in data.get("required", ()) if not line.get("passed")]
    found = f"missed {'; '.join(missed)}" if missed else "passed"
    return f"axis {data.get('axis')}: {found}, runs/{data.get('run')}"


def _chosen(data: Data, _: Units) -> str:
    return f"axis {data.get('axis')}: runs/{data.get('run')}"


def _recorded(data: Data, _: Units) -> str:
    gaps = data.get("gaps")
    told = f"{data.get('file')}, {minutes(data.get('seconds', 0))}, {data.get('frames')} frames"
    return told + (f", gaps: {gaps}" if gaps else "")


_TOLD: dict[str, Callable[[Data, Units], str]] = {
    "new": _new,
    "note": _note,
    "move": _moved,
    "jog": _jogged,
    "level": _levelled,
    "clear": _cleared,
    "power off": _was_off,
    "trip": _tripped,
    "push": _pushed,
    "pull": _pulled,
    "commission": _commissioned,
    "learned": _learned,
    "caution": _accepted,
    "proof": _proven,
    "baseline": _chosen,
    "recording": _recorded,
    "report": _reported,
    "restored": _restored,
}
