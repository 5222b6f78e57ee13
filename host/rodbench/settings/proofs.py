"""[proof] of the machine file: between which places a proof's strokes go, and what it requires."""

from __future__ import annotations

from rodbench.settings.faults import place_meant
from rodbench.settings.lines import Place
from rodbench.settings.parse import Parsed
from rodbench.settings.positions import read_place
from rodbench.settings.quantity import QuantityError

MOST_RUNS = 10
ENDS = ("from", "to")


def proof_path(parsed: Parsed, axis: int) -> Place:
    """The table about this axis's proof: its own, else that of the machine."""
    own = ("axes", str(axis), "proof")
    return own if parsed.has(own) else ("proof",)


def find_proofs(parsed: Parsed) -> None:
    """Places that are none, and numbers of runs that cannot be made."""
    for path in (("proof",), *(("axes", str(axis), "proof") for axis in parsed.axes)):
        for name in ENDS:
            _find_place(parsed, path, name)
        runs = parsed.get(path, "runs")
        if runs is not None and runs.value not in range(1, MOST_RUNS + 1):
            text = f"{runs.said}: a whole number of runs, 1 to {MOST_RUNS}."
            parsed.add((*path, runs.name), text)


def _find_place(parsed: Parsed, path: Place, name: str) -> None:
    found = parsed.get(path, name)
    if found is None or str(found.value) in parsed.positions:
        return
    try:
        read_place(str(found.value))
    except QuantityError as error:
        said = f"{found.said}: no name of [positions], and {error}."
        parsed.add((*path, name), f"{said} {place_meant(name, found.raw)}")
