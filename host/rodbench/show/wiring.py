"""The connections of an axis as tables and sentences."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rodbench.errors import UsageError
from rodbench.science.switch_only import STEPS, WIRES
from rodbench.science.wiring import (
    CAUTIONS,
    RELAYS,
    SENSORS,
    STOP,
    SWITCH_CAUTIONS,
    Wired,
    wired,
)
from rodbench.show.tables import table

__all__ = ["STOP", "Wired", "as_data", "cautions", "plan", "text"]
KEPT = "nothing was written"


def plan(
    axis: int, driver: str, sensor: str, ratiometric: bool, pot: bool, stop_input: bool = False
) -> Wired:
    """The connections of an axis. Raises UsageError with the reason where it cannot be."""
    if "relay" in driver.lower():
        raise UsageError(RELAYS, kept=KEPT, hint="An H-bridge that takes PWM: `rodbench wire -h`.")
    if sensor not in SENSORS:
        known = ", ".join(SENSORS)
        raise UsageError(f"'{sensor}' is no current sensor known here: {known}", kept=KEPT)
    try:
        return wired(axis, driver, sensor, ratiometric, pot, stop_input)
    except ValueError as error:
        raise UsageError(str(error), kept=KEPT) from None


def text(made: Wired, rod: str) -> str:
    """Everything about the wiring of one axis, for a terminal."""
    of = f' "{rod}"' if rod else ""
    lines = [table(_heads(made, of), _rows(made)), "", f"Driver: {made.driver.kind}"]
    return "\n".join([*lines, _states(made), "", *made.remarks])


def cautions(more: tuple[str, ...] = ()) -> str:
    """What can hurt, a line each."""
    return "\n".join(f"! {line}" for line in (*more, *CAUTIONS))


def switch_only() -> str:
    """A first test without a board: what goes where at the switch, and the steps."""
    rows = table(("from", "to"), WIRES)
    return "\n".join([rows, "", *STEPS])


def switch_cautions() -> str:
    """What can hurt at the switch."""
    return cautions(SWITCH_CAUTIONS)


def switch_only_data() -> dict[str, Any]:
    """The same for programs."""
    return {
        "connections": [{"from": one, "to": two} for one, two in WIRES],
        "steps": list(STEPS),
        "cautions": [*SWITCH_CAUTIONS, *CAUTIONS],
    }


def _heads(made: Wired, of: str) -> tuple[str, str, str, str]:
    return (f"axis {made.axis}{of}", "goes to", "through", "in reset")


def _rows(made: Wired) -> list[tuple[str, str, str, str]]:
    return [(c.pin, c.to, c.through, c.in_reset) for c in made.connections]


def _states(made: Wired) -> str:
    driver = made.driver
    heads = ("state", *(f"{pin} {to}" for pin, to in driver.lines), "the motor")
    return table(heads, [(s.name, *s.levels, s.motor) for s in driver.states])


def as_data(made: Wired, rod: str) -> dict[str, Any]:
    """The same for programs."""
    return {
        "axis": made.axis,
        "rod": rod or None,
        "driver": made.driver.kind,
        "current_sensor": made.sensor,
        "pot": made.pot,
        "connections": [asdict(c) for c in made.connections],
        "states": [asdict(s) for s in made.driver.states],
        "remarks": list(made.remarks),
        "stop_input": made.stop_input,
        "stop": list(STOP),
        "cautions": list(CAUTIONS),
    }
