"""The tables about the whole machine, [linkage] and [gang], and which axis they speak of."""

from __future__ import annotations

from rodbench.science.linkage import Linkage
from rodbench.settings.lines import Place
from rodbench.settings.parse import Parsed

LENGTHS = ("hinge_to_frame_pin_mm", "hinge_to_vent_pin_mm")


def ganged(parsed: Parsed) -> bool:
    """Whether the two axes are said to move as one."""
    return parsed.get(("gang",), "axes") is not None


def linkage_path(parsed: Parsed, axis: int) -> Place | None:
    """The table with this axis's linkage: its own, or that of the machine; None without one."""
    own = ("axes", str(axis), "linkage")
    if parsed.has(own):
        return own
    return ("linkage",) if parsed.has(("linkage",)) else None


def linkage_of(parsed: Parsed, axis: int) -> Linkage | None:
    """This axis's linkage, None without one. Raises ValueError, with a sentence, where the file
    does not say enough yet."""
    path = linkage_path(parsed, axis)
    if path is None:
        return None
    if path == ("linkage",) and len(parsed.axes) > 1 and not ganged(parsed):
        raise ValueError(
            "[linkage] does not say whose it is, with two axes that are not ganged: "
            "write [axes.1.linkage] or [axes.2.linkage]"
        )
    rod = parsed.get(("axes", str(axis)), "rod")
    retracted = rod and parsed.get(("rods", str(rod.value)), "retracted_pin_to_pin_mm")
    if not retracted:
        name = rod.value if rod else "NAME"
        raise ValueError(f"degrees need retracted_pin_to_pin_mm in [rods.{name}]")
    frame, vent = (_number(parsed, path, name) for name in LENGTHS)
    way = parsed.get(path, "opens_by")
    opens = -1 if way is not None and way.value == "retracting" else 1
    return Linkage(
        frame, vent, float(retracted.value), _number(parsed, path, "closed_at_mm"), opens
    )


def _number(parsed: Parsed, path: Place, name: str) -> float:
    found = parsed.get(path, name)
    return 0.0 if found is None else float(found.value)


def find_tables(parsed: Parsed) -> None:
    """What contradicts itself in [gang] and [linkage], whatever the rods are."""
    for axis in parsed.axes:
        _find_linkage(parsed, ("axes", str(axis), "linkage"))
        if parsed.has(("linkage",)) and parsed.has(("axes", str(axis), "linkage")):
            both = f"[linkage] stands beside [axes.{axis}.linkage]: give each axis its own."
            parsed.add(("linkage",), both)
    _find_linkage(parsed, ("linkage",))
    if parsed.has(("gang",)):
        _find_gang(parsed)


def _find_linkage(parsed: Parsed, path: Place) -> None:
    if not parsed.has(path):
        return
    table = ".".join(path)
    for name in LENGTHS:
        found = parsed.get(path, name)
        if found is None:
            parsed.add(path, f"[{table}] has no {name}: measure it from the hinge to the pin.")
        elif not float(found.value):
            parsed.add((*path, found.name), f"{found.said}: this must be above 0.")
    way = parsed.get(path, "opens_by")
    if way is not None and way.value == "retracting" and not parsed.get(path, "closed_at_mm"):
        parsed.add((*path, "opens_by"), f"{way.said}: then closed_at_mm must say where 0 deg is.")


def _find_gang(parsed: Parsed) -> None:
    if parsed.get(("gang",), "axes") is None:
        parsed.add(("gang",), "[gang] names no axes: write axes = [1, 2].")
    apart = parsed.get(("gang",), "apart_trip_mm")
    if apart is None:
        text = "[gang] has no apart_trip_mm: how far apart may the two come before both stop?"
        parsed.add(("gang",), text)
    elif not float(apart.value):
        parsed.add(("gang", apart.name), f"{apart.said}: this must be above 0.")
    for axis in parsed.axes:
        rod = parsed.get(("axes", str(axis)), "rod")
        feedback = rod and parsed.get(("rods", str(rod.value)), "feedback")
        if rod and feedback and feedback.value == "none":
            text = f'[gang]: rod "{rod.value}" (line {rod.line}) has no pot ({feedback.said}, line '
            parsed.add(("gang",), f"{text}{feedback.line}): its position is not known, so no gang.")
