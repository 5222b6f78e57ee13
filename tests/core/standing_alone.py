"""A native board whose axis 1 has a local input, and a rod that goes as it is driven.

With `apart_um` two such rods move as one.
"""

from __future__ import annotations

from rodbench_protocol.names import AxisAlso, AxisState, EventKind, Inputs

from tests.core.axis_probe import ROD, counts, raw_at
from tests.core.host import Host
from tests.core.native import CAxisState
from tests.twin import memory
from tests.twin.memory import settings

EXTEND, RETRACT = int(Inputs.EXTEND_1), int(Inputs.RETRACT_1)
MIDDLE = 100_000
LOW, REST, BAND, HIGH = 1000, 1500, 40, 2000
BUTTONS, STICK, PULSE = 1, 2, 3
SPEED, POSITION = 0, 1
ARM_TICKS = 20


class Alone(Host):
    """`rest` and `hold` give the input; every tick moves the rod."""

    def __init__(
        self, source: int, means: int = SPEED, um: float = MIDDLE, apart_um: int = 0, **more: int
    ) -> None:
        self.um, self.output = um, 0
        self.value, self.inputs = REST, 0
        axis = ROD | {"local_source": source, "local_as": means, "current_sensor": 1} | more
        board = settings.defaults("board") | {"apart_trip_um": apart_um}
        second = ROD | {"current_sensor": 1} if apart_um else settings.defaults("axis")
        pots = (raw_at(um), raw_at(um) if apart_um else 0)
        super().__init__(bytes(memory.image(0, board, axis, second)), pots=pots)

    def open(self) -> None:
        """Only where a test asks for it: nobody is on the cable."""

    def connect(self) -> None:
        """A host opens a session."""
        super().open()

    def tick(self, data: bytes = b"", keep: bool = True) -> None:
        """One tick."""
        current = counts(600) if self.output else 0
        local, pot = (self.value, 0), raw_at(self.um)
        inputs = self.inputs | Inputs.STOP
        self.board.set_readings((pot, pot), (current, current), local=local, inputs=inputs)
        super().tick(data, keep)
        self.output = self.axis.output_permille
        push = max(abs(self.output) - 200, 0) / 800 * 50
        self.um += push if self.output > 0 else -push

    def run(self, ticks: int) -> None:
        """Some ticks."""
        for _ in range(ticks):
            self.tick()

    def armed(self) -> Alone:
        """At rest until it is armed."""
        self.value, self.inputs = REST, 0
        self.run(ARM_TICKS + 1)
        assert self.is_also(AxisAlso.ARMED)
        return self

    def still(self) -> None:
        """Until nothing moves any more."""
        for _ in range(600):
            self.tick()
            if self.axis.state in (AxisState.IDLE, AxisState.FAULT):
                return
        raise AssertionError("it never came to rest")

    @property
    def axis(self) -> CAxisState:
        return self.board.fields().axis[0]  # type: ignore[no-any-return]

    def is_also(self, flag: AxisAlso) -> bool:
        return bool(self.axis.also & flag)

    def told(self, kind: EventKind) -> list[int]:
        """Causes of such events so far."""
        return [e.fields["cause"] for e in self.events if e.fields.get("kind") == kind]
