"""Which wire is which, and where it goes: words for a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rodbench.science.identify import Verdict
from rodbench.science.wiring import PINS, SERIES_OHM
from rodbench.show.tables import table

_MAY_BE = {
    "motor": "the motor",
    "pot": "the pot",
    "switch": "a switch contact",
    "sensor": "a powered sensor",
    "spare": "nothing",
    "broken pot": "a pot with a broken wire",
}
LEAVE = "nowhere: leave it open, insulate it"
DO_NOT_GUESS = "nowhere yet: powered sensor, do not guess"


@dataclass(frozen=True, slots=True)
class WireWords:
    """One wire: what it is, and where it goes."""

    wire: str
    what: str
    to: str


def wire_words(names: Sequence[str], verdict: Verdict, axis: int) -> list[WireWords]:
    """A line for each wire, in the order of the names."""
    places: dict[int, tuple[str, str]] = {}
    _motor(places, verdict, axis)
    _pot(places, verdict, axis)
    for one, two in verdict.switches:
        for wire, other in ((one, two), (two, one)):
            places[wire] = (f"switch contact, with {names[other]}", LEAVE)
    places |= dict.fromkeys(verdict.sensor, ("powered sensor", DO_NOT_GUESS))
    spare = "open contact or nothing" if verdict.open_pairs else "nothing found on it"
    places |= dict.fromkeys(verdict.spare, (spare, LEAVE))
    for wire, roles in verdict.unsure.items():
        what = " or ".join(_MAY_BE[role] for role in roles)
        places[wire] = (f"cannot tell: {what}", "nowhere yet")
    return [WireWords(name, *places[wire]) for wire, name in enumerate(names)]


def _motor(places: dict[int, tuple[str, str]], verdict: Verdict, axis: int) -> None:
    what = "left over for the motor, reads open" if verdict.motor_by_elimination else "motor"
    to = f"H-bridge {axis}, motor outputs: either way, polarity settles it later"
    places |= dict.fromkeys(verdict.motor or (), (what, to))


def _pot(places: dict[int, tuple[str, str]], verdict: Verdict, axis: int) -> None:
    if verdict.wiper is not None and verdict.pot_ends is not None:
        ends = f"5V through {SERIES_OHM:.0f} ohm, or GND: either way, polarity settles it later"
        places |= dict.fromkeys(verdict.pot_ends, ("pot, an end", ends))
        wiper = f"{PINS[f'POT{axis}']} through 1 kohm; 470 kohm from it to ground"
        places[verdict.wiper] = ("pot, wiper", wiper)
    track = ("pot: end or wiper, cannot tell", "nowhere yet")
    places |= dict.fromkeys(verdict.track, track)


def sentences(names: Sequence[str], verdict: Verdict) -> list[str]:
    """What is still open, and what to do about it."""
    if not verdict.fits:
        return [
            "Cannot tell: no wiring known here has all these readings.",
            "Read again on clean copper with the rod unplugged. If they stand, a wire is broken, "
            "two parts share a wire, or the rod has electronics in it: find its sheet.",
        ]
    lines = []
    if verdict.motor_by_elimination and verdict.motor:
        pair = " and ".join(names[w] for w in verdict.motor)
        lines.append(f"{pair}: at an end switch, or a broken lead. See that it moves the rod.")
    if verdict.track:
        trio = ", ".join(names[w] for w in verdict.track)
        lines.append(
            f"{trio}: the wiper stands too near an end. Move the rod to mid stroke and read these "
            "three pairs again: the two smaller readings then meet at the wiper."
        )
    if verdict.sensor:
        lines.append(
            "Powered sensor: its maker's sheet tells supply, ground and output. The wrong wire on "
            "5V destroys it. Without the sheet run the rod as one without a pot."
        )
    if verdict.open_pairs:
        loose = ", ".join(names[w] for w in verdict.spare)
        lines.append(f"{loose}: a contact open at every place read, or nothing. Not needed.")
    if verdict.unsure:
        rest = ", ".join(names[w] for w in verdict.unsure)
        lines.append(f"{rest}: move the rod to another place and start again. Connect none yet.")
    return lines


def text(names: Sequence[str], verdict: Verdict, axis: int) -> str:
    """The table of wires, and what is left to do."""
    if not verdict.fits:
        return "\n".join(sentences(names, verdict))
    rows = [(w.wire, w.what, w.to) for w in wire_words(names, verdict, axis)]
    return "\n".join([table(("wire", "is", "goes to"), rows), *sentences(names, verdict)])


def as_data(names: Sequence[str], verdict: Verdict, axis: int) -> Mapping[str, object]:
    """The same for programs."""
    words = wire_words(names, verdict, axis) if verdict.fits else []
    return {
        "fits": verdict.fits,
        "decided": verdict.decided,
        "wires": {w.wire: {"is": w.what, "goes_to": w.to} for w in words},
        "motor": [names[w] for w in verdict.motor or ()],
        "pot_ends": [names[w] for w in verdict.pot_ends or ()],
        "wiper": None if verdict.wiper is None else names[verdict.wiper],
        "switches": [[names[w] for w in pair] for pair in verdict.switches],
        "powered_sensor": [names[w] for w in verdict.sensor],
        "to_do": sentences(names, verdict),
    }
