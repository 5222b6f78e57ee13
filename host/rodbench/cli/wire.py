"""rodbench wire"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_wiring
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.bench.ask import Asker
    from rodbench.show.wiring import Wired


@click.command("wire")
@click.argument("axis", type=click.IntRange(1, 2), metavar="[AXIS]", required=False)
@click.option("--driver", metavar="KIND", help="Without a machine file: the kind of H-bridge.")
@click.option(
    "--sensor", metavar="KIND", help="Without a machine file: none, one-sided or centred."
)
@click.option("--svg", metavar="FILE", type=click.Path(path_type=Path), help="Draw it, too.")
@click.option("--identify", is_flag=True, help="Find out which of a rod's wires is which.")
@click.option(
    "--wires", metavar="NAMES", help='With --identify: names of the wires, "red, black, white".'
)
@for_wiring
def command(
    setup: Setup,
    axis: int | None,
    driver: str | None,
    sensor: str | None,
    svg: Path | None,
    identify: bool,
    wires: str | None,
) -> None:
    """What goes where between board, H-bridge, sensors and rod.

    For the AXIS of the machine file (all of them without AXIS), or for a --driver: pwm-and-two-
    direction-lines, pwm-and-one-direction-line, two-pwm-inputs, pwm-input-and-line.

    --identify asks for ohm readings pair by pair, no more than needed, and names the wires of an
    unknown rod, or says that it cannot tell. In --answers FILE a reading is ohm_red_black.

    \b
    Example:  rodbench wire 1
              rodbench wire --driver two-pwm-inputs --svg wiring.svg
              rodbench wire --identify --wires "red, black, blue, white, green"
    """
    if identify:
        _identify(setup, axis or 1, wires)
        return
    if wires is not None:
        raise UsageError("--wires belongs to --identify", kept="nothing was written")
    plans = _plans(setup, axis, driver, sensor)
    if svg is not None:
        _draw(plans, svg)
    _show(setup, plans, svg)


def _show(setup: Setup, plans: list[tuple[Wired, str]], svg: Path | None) -> None:
    from rodbench.show import wiring

    data: dict[str, Any] = {"axes": [wiring.as_data(made, rod) for made, rod in plans]}
    if svg is not None:
        data["svg"] = str(svg)
    talk.result(data, "\n\n".join(wiring.text(made, rod) for made, rod in plans), setup.as_json)


def _plans(
    setup: Setup, axis: int | None, driver: str | None, sensor: str | None
) -> list[tuple[Wired, str]]:
    """The connections and the rod's name of each axis that is meant."""
    from rodbench.show.wiring import plan

    if driver is not None:
        return [(plan(axis or 1, driver, sensor or "one-sided", False, True), "")]
    if sensor is not None:
        raise UsageError("--sensor goes with --driver", kept="nothing was written")
    if not setup.has_machine:
        raise UsageError(
            f"there is no {setup.machine_path} here",
            kept="nothing was written",
            hint="`rodbench wire --driver KIND`, or go into the machine's folder.",
        )
    return _of_machine(setup, axis)


def _of_machine(setup: Setup, axis: int | None) -> list[tuple[Wired, str]]:
    from rodbench_protocol.names import Feedback

    from rodbench.settings.keys import by_wire
    from rodbench.show.wiring import plan

    machine = setup.machine()
    axes = machine.axes if axis is None else [axis]
    if not axes or axes[0] not in machine.axes:
        raise UsageError(
            f"{setup.machine_path} describes no axis{'' if axis is None else f' {axis}'}",
            kept="nothing was written",
            hint="`rodbench wire --driver KIND` needs no machine file.",
        )
    plans = []
    for number in axes:
        live = machine.scope(number)
        words = [
            str(by_wire()["axis", key].to_file(live[key])) for key in ("driver", "current_sensor")
        ]
        ratiometric = bool(live["current_sensor_ratiometric"])
        made = plan(number, words[0], words[1], ratiometric, live["feedback"] == Feedback.POT)
        plans.append((made, machine.rod_of(number) or ""))
    return plans


def _draw(plans: list[tuple[Wired, str]], path: Path) -> None:
    if len(plans) > 1:
        raise UsageError(
            "one picture shows one axis", kept="nothing was written", hint="rodbench wire 1 --svg F"
        )
    from rodbench.show.schematic import picture

    try:
        path.write_text(picture(*plans[0]), encoding="utf-8")
    except OSError as error:
        raise UsageError(
            f"cannot write {path}: {error.strerror}", kept="nothing was written"
        ) from None


def _identify(setup: Setup, axis: int, wires: str | None) -> None:
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
