"""What a local input reads, and who commands, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rodbench_protocol.names import Inputs, LocalAs, LocalSource

from rodbench.board import AxisSample, BoardSample

SOURCES = {source.value: source.name.lower() for source in LocalSource}
MEANS = {means.value: means.name.lower() for means in LocalAs}
_BITS = {
    1: {"extend": Inputs.EXTEND_1, "retract": Inputs.RETRACT_1},
    2: {"extend": Inputs.EXTEND_2, "retract": Inputs.RETRACT_2},
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One look at an axis's local input."""

    axis: int
    source: str
    commands: str
    value: int  # stick in raw, pulse in us; 0 without one
    pressed: tuple[str, ...]
    commander: str  # host or local
    armed: bool
    lost: bool

    @property
    def reads(self) -> str:
        """`stick 512`, `pulse 1500 us`, `extend pressed`."""
        if self.source == "buttons":
            return f"{' and '.join(self.pressed) or 'no button'} pressed"
        if self.source == "pulse":
            return f"pulse {self.value} us" if self.value else "no pulse"
        return f"stick {self.value}"

    @property
    def text(self) -> str:
        """One line."""
        if self.source == "none":
            return f"axis {self.axis} has no local input: the host commands"
        who = "the host commands"
        if self.commander == "local":
            who = "it commands, armed" if self.armed else "it commands once seen at rest"
        lost = ", LOST" if self.lost else ""
        return f"axis {self.axis}: {self.reads}{lost}; {who} ({self.commands})"


def look(
    axis: int, live: Mapping[str, int], sample: AxisSample, board: BoardSample | None
) -> Reading:
    """A reading from samples; `live` are the axis's settings in force, wire integers."""
    inputs = (board.inputs if board else None) or 0
    values = (board.local if board else None) or (0, 0)
    return Reading(
        axis=axis,
        source=SOURCES.get(live.get("local_source", 0), "unknown"),
        commands=MEANS.get(live.get("local_as", 0), "unknown"),
        value=values[axis - 1],
        pressed=tuple(name for name, bit in _BITS[axis].items() if inputs & bit),
        commander="local" if sample.local else "host",
        armed=sample.armed,
        lost=sample.source_lost,
    )
