"""rodbench wire"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk, wire_given, wire_switch
from rodbench.cli.options import Setup, for_wiring
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.bench.wire_known import Given
    from rodbench.settings.machine import MachineFile
    from rodbench.show.power import Plan
    from rodbench.show.wire_unknown import Unknown
    from rodbench.show.wiring import Wired

KEPT = "nothing was written"


@click.command("wire")
@click.argument("what", nargs=-1, metavar="[MACHINE.toml] [AXIS]")
@click.option("--driver", metavar="KIND", help="Without a machine file: the kind of H-bridge.")
@click.option(
    "--sensor", metavar="KIND", help="Without a machine file: none, one-sided or centred."
)
@click.option("--supply", metavar="V", help='Motor supply, "12 V", if not in the file.')
@click.option("--running", metavar="A", help="What the motor of AXIS draws while it runs.")
@click.option("--stall", metavar="A", help="What it draws when it is held still.")
@click.option("--length", metavar="M", help='Wire from supply to motor, one way: "3 m", "10 ft".')
@click.option("--pot", metavar="OHM", help='Its pot from end to end: "10 kohm".')
@click.option("--drop", metavar="SHARE", help='What wires may take of the supply; else "3 %".')
@click.option("--ambient", metavar="C", help='The warmest air around the wires: "45 degC".')
@click.option("--svg", metavar="FILE", type=click.Path(path_type=Path), help="Draw it, too.")
@click.option("--switch-only", is_flag=True, help="A first test: a reversing switch, no board.")
@click.option("--identify", is_flag=True, help="Find out which of a rod's wires is which.")
@click.option(
    "--wires", metavar="NAMES", help='With --identify: names of the wires, "red, black, white".'
)
@for_wiring
def command(
    setup: Setup,
    what: tuple[str, ...],
    driver: str | None,
    sensor: str | None,
    svg: Path | None,
    switch_only: bool,
    identify: bool,
    wires: str | None,
    **amounts: str | None,
) -> None:
    """Supply, fuse, wire and what goes where between board, H-bridge, sensors and rod.

    For the AXIS of the machine file (all of them without AXIS), or for a --driver:

    \b
      pwm-and-two-direction-lines, pwm-and-one-direction-line,
      two-pwm-inputs, pwm-input-and-line

    Inside a machine folder no path is needed; elsewhere name the file: `[MACHINE.toml] [AXIS]`.

    Supply and fuse are for all rods together, whichever AXIS is shown. What is not known is said,
    with the key or the option to give it by.

    --identify asks for ohm readings pair by pair, no more than needed, and names the wires of an
    unknown rod, or says that it cannot tell. In --answers FILE a reading is ohm_red_black.

    \b
    Example:  rodbench wire
              rodbench wire 1 --length "3 m" --svg wiring.svg
              rodbench wire --driver two-pwm-inputs --running "1.5 A"
              rodbench wire --switch-only --svg first-test.svg
              rodbench wire --identify --wires "red, black, blue, white, green"
    """
    axis = _meant(setup, what)
    if identify:
        from rodbench.cli import wire_identify

        wire_identify.run(setup, axis or 1, wires)
        return
    if wires is not None:
        raise UsageError("--wires belongs to --identify", kept=KEPT)
    given = wire_given.read(amounts)
    if switch_only:
        wire_switch.run(setup, axis, given, svg)
        return
    plans, made, unknown = _found(setup, axis, driver, sensor, given)
    if svg is not None:
        _draw(plans, made, svg)
    _show(setup, plans, made, unknown, svg)


def _meant(setup: Setup, words: Sequence[str]) -> int | None:
    """The axis; a file among the words is the machine file."""
    axis = None
    for word in words:
        if word in ("1", "2") and axis is None:
            axis = int(word)
        elif word.isdigit() or axis is not None:
            raise UsageError(f"'{word}' is no axis: 1 or 2, after the machine file", kept=KEPT)
        else:
            setup.machine_path = Path(word)
    return axis


# ---------------------------------------------------------------- what is meant


def _found(
    setup: Setup, axis: int | None, driver: str | None, sensor: str | None, given: Given
) -> tuple[list[tuple[Wired, str]], Plan, list[Unknown]]:
    """The connections of each axis that is meant with its rod's name, the plan of all rods, and
    what is not known."""
    from rodbench.bench.wire_known import without_file
    from rodbench.show.power import plan
    from rodbench.show.wire_unknown import unknown

    if driver is not None:
        from rodbench.show import wiring

        made = plan(without_file(axis or 1, True, given))
        wired = wiring.plan(axis or 1, driver, sensor or "one-sided", False, True)
        return [(wired, "")], made, unknown(made.known, False)
    if sensor is not None:
        raise UsageError("--sensor goes with --driver", kept=KEPT)
    plans = _of_machine(setup, axis)
    made = plan(wire_given.known(setup, axis, given))
    return plans, made, unknown(made.known, True)


def _of_machine(setup: Setup, axis: int | None) -> list[tuple[Wired, str]]:
    machine = wire_given.machine(setup, axis)
    axes = machine.axes if axis is None else [axis]
    return [(_wired(machine, number), machine.rod_of(number) or "") for number in axes]


def _wired(machine: MachineFile, axis: int) -> Wired:
    from rodbench_protocol.names import Feedback

    from rodbench.settings.keys import by_wire
    from rodbench.show.wiring import plan

    live = machine.scope(axis)
    driver, sensor = (
        str(by_wire()["axis", key].to_file(live[key])) for key in ("driver", "current_sensor")
    )
    ratiometric, pot = bool(live["current_sensor_ratiometric"]), live["feedback"] == Feedback.POT
    return plan(axis, driver, sensor, ratiometric, pot, bool(machine.scope(0)["stop_input"]))


# ---------------------------------------------------------------- results


def _draw(plans: list[tuple[Wired, str]], made: Plan, path: Path) -> None:
    if len(plans) > 1:
        raise UsageError("one picture shows one axis", kept=KEPT, hint="rodbench wire 1 --svg F")
    wire_given.write(path, _picture(plans, made))


def _picture(plans: list[tuple[Wired, str]], made: Plan) -> str:
    from rodbench.show.power import figures
    from rodbench.show.schematic import picture

    wired, rod = plans[0]
    return picture(wired, rod, figures(made, wired.axis))


def drawn(setup: Setup, axis: int) -> str:
    """The picture of an axis of the machine file, as SVG."""
    plans, made, _ = _found(setup, axis, None, None, wire_given.read({}))
    return _picture(plans, made)


def _show(
    setup: Setup,
    plans: list[tuple[Wired, str]],
    made: Plan,
    unknown: list[Unknown],
    svg: Path | None,
) -> None:
    from rodbench.show import power, wiring

    data: dict[str, Any] = {"axes": [wiring.as_data(wired, rod) for wired, rod in plans]}
    data["motor_current"] = power.as_data(made, unknown)
    if svg is not None:
        data["svg"] = str(svg)
    parts = [wiring.text(wired, rod) for wired, rod in plans]
    parts += [
        power.text(made, unknown, setup.units().name),
        "\n".join(wiring.STOP),
        wiring.cautions(),
    ]
    talk.result(data, "\n\n".join(parts), setup.as_json)
