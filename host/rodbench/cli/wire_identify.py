"""rodbench wire --identify"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.cli.options import Setup

if TYPE_CHECKING:
    from rodbench.bench.ask import Asker


def run(setup: Setup, axis: int, wires: str | None) -> None:
    """Ask, and say which wire is which. Raises ProcedureError where the readings fit nothing."""
    from rodbench.bench.ask import Question
    from rodbench.bench.identify import identify, wire_names
    from rodbench.errors import ProcedureError
    from rodbench.show import identified

    asker = _asker(setup)
    if wires is None:
        wires = asker.ask(Question("wires", "The rod's wires, by colour or tag, with commas?"))
    names, motor = wire_names(wires), True
    if len(names) > 2:
        text = "Are the motor's two wires among them?"
        motor = asker.ask(Question("motor_among", text, choices=("yes", "no"))) == "yes"
    found = identify(names, asker, talk.say, motor)
    if not found.verdict.fits:
        why, what = identified.sentences(names, found.verdict)
        raise ProcedureError(why, kept="Nothing was connected.", hint=what)
    data = {
        **identified.as_data(names, found.verdict, axis),
        "readings": dict(found.readings),
    }
    talk.result(data, identified.text(names, found.verdict, axis), setup.as_json)


def _asker(setup: Setup) -> Asker:
    """Answers from --answers, --yes and the terminal, in this order."""
    from rodbench.bench.ask import AnswersFile, Asker, Source, Typed, Yes

    sources: list[Source] = []
    if setup.answers is not None:
        sources.append(AnswersFile(setup.answers))
    if setup.yes:
        sources.append(Yes())
    return Asker(*sources, Typed())
