"""rodbench wire --switch-only"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rodbench.cli import talk, wire_given
from rodbench.cli.options import Setup

if TYPE_CHECKING:
    from rodbench.bench.wire_known import Given, Known


def run(setup: Setup, axis: int | None, given: Given, svg: Path | None) -> None:
    """A first test of one rod on a reversing switch, as text and as a picture."""
    from rodbench.show import power, switch_picture, wiring
    from rodbench.show.power import plan
    from rodbench.show.wire_unknown import unknown_way

    known = _one_rod(setup, axis, given)
    made, unknown = plan(known), unknown_way(known, setup.has_machine)
    if svg is not None:
        figures = power.figures(made, known.rods[0].axis)
        wire_given.write(svg, switch_picture.picture(figures.fuse, figures.wire))
    data: dict[str, Any] = {"switch_only": wiring.switch_only_data()}
    data["motor_current"] = power.way_data(made, unknown)
    if svg is not None:
        data["svg"] = str(svg)
    way = power.way(made, unknown, setup.units().name)
    text = "\n\n".join([wiring.switch_only(), way, wiring.switch_cautions()])
    talk.result(data, text, setup.as_json)


def _one_rod(setup: Setup, axis: int | None, given: Given) -> Known:
    """One rod alone, the first where none is named; there is no trip without a board."""
    from rodbench.bench.wire_known import of_machine, with_given, without_file

    if not setup.has_machine:
        return without_file(axis or 1, False, given)
    if axis is None and not setup.machine().axes:  # a new file: the supply is known, no rod yet
        supply = replace(of_machine(setup.machine()), rods=without_file(1, False, given).rods)
        return with_given(supply, 1, given)
    found = wire_given.known(setup, axis or setup.machine().axes[0], given)
    rod = next(rod for rod in found.rods if axis in (None, rod.axis))
    return replace(found, rods=(replace(rod, trip_a=None),))
