"""Two rods on one board in virtual time; a fault is brought about while something is done.

The machine is the ridge vent of the demo, both rods at 80 mm of 203, calibrated by the plant's own
truth. Time and travel are counted at the bridge and at the rod, never by what the board says.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from rodbench.board import Board, Event, Motion, Outcome, Sample
from rodbench.clock import TICK_S, VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import Machine, default_machine
from rodbench.errors import LinkLost, NoAnswer, OutcomeUnknown, RodbenchError
from rodbench.link.transport import EmulatorTransport
from rodbench.show.words import ended, fault_name, fault_names
from rodbench_protocol.names import Ended, EventKind

from tests.ordinary import NORTH

if TYPE_CHECKING:
    from tests.faults.causes import Cause

START_MM, TARGET_MM, SPEED_MM_S = 80.0, 190.0, 6.0
RUN_S = 2.0  # of motion before the fault
LEAST_S = 1.0  # looked on after the fault, whatever the board does
REST_S = 2.0  # of rest before the fault while holding: moving_off watches from 1 s on
SETTLE_S = 1.5  # after the motion's end: rods run on, the host hears
AGAIN_S = 0.6  # the longest filter time of a cause that stands at rest
BOARD = {
    "supply_nominal_mv": 12_000,
    "supply_calibrated": 1,
    "supply_low_mv": 10_500,
    "supply_high_mv": 15_000,
    "stop_input": 1,
}
AXIS = NORTH | {"following_um": 5_000, "noise_x16": 48}
TWO_WIRES = {
    "feedback": 2,
    "calibrated": 0,
    "stroke_time_extend_cs": 2_520,
    "stroke_time_retract_cs": 2_370,
}
GANG = {"apart_trip_um": 4_000}
Make = Callable[[Machine], Any]


@dataclass
class Tick:
    """What the bridges were told in a tick, and where the rods were after it."""

    drive: tuple[float, ...]
    place: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """What came of one cause while one thing was done. Times in ms, ways in mm."""

    doing: str
    detected: tuple[str, ...]  # faults in the order of their trips; or how the motion ended
    latched: bool
    off_ms: int | None  # None: outputs went on, or off before the fault
    travel_mm: float
    runs_on: bool  # the rod still moves when the look is over
    alarm: bool | None  # None: not seen on this kind of board
    back_at_once: bool | None  # cleared while the cause stands; None: nothing to clear
    clears: bool | None  # once the cause is gone
    later: str = ""  # found by the next motion, where nothing was commanded
    said: str = ""  # the error that the command ends with, where the link broke


@dataclass
class Seen:
    """What the host heard."""

    trips: list[str] = field(default_factory=list)
    outcome: Outcome | None = None
    error: str = ""


class Bench:
    """A board on its machine, calibrated, and a record of every tick."""

    def __init__(self, make: Make, cause: Cause) -> None:
        machine = default_machine()
        for rod in machine.rods.values():
            rod.start_mm = START_MM
        cause.prepare(machine)
        self.emulated = make(machine)
        self.plants = self.emulated.rig.plants
        self.clock = VirtualClock()
        self.clock.attach(self._step)
        self.ticks: list[Tick] = []
        self.seen = Seen()
        self.api = self._open()
        self._calibrate(cause)

    @classmethod
    def on_twin(cls, cause: Cause) -> Bench:
        """On the emulator's board."""
        return cls(EmulatedBoard, cause)

    def _open(self) -> Board:
        api = Board.direct(EmulatorTransport(self.emulated, self.clock), self.clock)
        api.listeners.append(self._hear)
        return api

    def _calibrate(self, cause: Cause) -> None:
        self.api.write_scope(0, BOARD | cause.board)
        for number, plant in self.plants.items():
            values = AXIS | {
                "motor_reversed": int(plant.rod.motor.reversed),
                "raw_retracted": round(plant.pot_raw_at(0.0)),
                "raw_extended": round(plant.pot_raw_at(203.0)),
            }
            if number == cause.on_axis:
                values |= cause.axis | (TWO_WIRES if cause.two_wires else {})
            self.api.write_scope(number, values)
        self.api.store()

    def _step(self, ticks: int = 1) -> None:
        for _ in range(ticks):
            self.emulated.step(1)
            drives = tuple(self.emulated.outputs.drive)
            places = tuple(plant.position_mm for plant in self.plants.values())
            self.ticks.append(Tick(drives, places))

    def _hear(self, sample: Sample) -> None:
        if isinstance(sample, Event) and sample.kind == EventKind.TRIP:
            name = fault_name(sample.cause)
            if name not in self.seen.trips:
                self.seen.trips.append(name)

    # ------------------------------------------------------------ doing

    def motion(self, doing: str, cause: Cause) -> Motion | None:
        """Begin what is done; None: the rods are held still."""
        axis = self.api.axis(1)
        if cause.two_wires and doing != "holding":
            motion = axis.jog_output(0.3) if doing == "jogging" else self._run_to_end()
            motion.wait(RUN_S)
            return motion
        if doing == "ganged":
            self.api.write_scope(0, GANG)
        if doing == "holding":
            if not cause.two_wires:
                axis.move(START_MM + 5.0).wait()
            self.api.sleep(REST_S)
            return None
        motion = axis.jog(SPEED_MM_S) if doing == "jogging" else axis.move(TARGET_MM, SPEED_MM_S)
        motion.wait(RUN_S)
        return motion

    def _run_to_end(self) -> Motion:
        """The whole way, from the other end: only there does the time begin to count."""
        axis = self.api.axis(1)
        axis.jog_output(-0.1).stop()
        axis.seek(-1).wait()
        return axis.run_to_end(1)

    def look_on(self, motion: Motion | None, seconds: float) -> None:
        """Until the motion has ended, or so long; the host goes on renewing it."""
        with self._errors():
            if motion is None:
                self.api.sleep(seconds)
                return
            self.seen.outcome = motion.wait(seconds)

    def rest(self, seconds: float) -> None:
        """Let time pass while the host listens; where the link broke, take the board anew."""
        with self._errors():
            self.api.sleep(seconds)
            return
        self.clock.sleep(seconds)

    @contextlib.contextmanager
    def _errors(self) -> Iterator[None]:
        try:
            yield
        except RodbenchError as error:
            self.seen.error = self.seen.error or error.message
            if isinstance(error, LinkLost | NoAnswer | OutcomeUnknown):
                self.api = self._open()  # the board started anew

    def standing(self) -> list[str]:
        """Names of the faults that stand."""
        self.api.watch(0.15)
        bits = self.api.last_board.faults if self.api.last_board else 0
        for sample in self.api.last_axis.values():
            bits |= sample.faults
        return fault_names(bits)

    def alarm(self) -> bool | None:
        """The alarm output."""
        return bool(self.emulated.outputs.alarm) if hasattr(self.emulated, "twin") else None


def measure(cause: Cause, doing: str, make: Make = EmulatedBoard) -> Row:
    """Bring the cause about while `doing`, and look what comes of it."""
    bench = Bench(make, cause)
    motion = bench.motion(doing, cause)
    at = len(bench.ticks)
    bench.seen.trips.clear()
    cause.begin(bench)
    if cause.silent:
        bench.clock.sleep(cause.look_s)
    else:
        bench.look_on(motion, cause.look_s)
    bench.rest(LEAST_S + SETTLE_S)
    if cause.silent and motion:
        bench.seen.outcome = bench.api.outcome(1)
    return _row(bench, cause, doing, at)


def _row(bench: Bench, cause: Cause, doing: str, at: int) -> Row:
    after, before = bench.ticks[at:], bench.ticks[at - 1]
    standing = bench.standing()
    alarm = bench.alarm()
    trips = tuple(bench.seen.trips) or tuple(standing)
    off_ms, travel_mm = _off_ms(after, before), _travel_mm(after, before)
    runs_on = after[-1].place != after[-2].place
    back = _clear(bench, standing)
    later = "" if trips or doing != "holding" else _next_motion(bench)
    cause.end(bench)
    bench.rest(AGAIN_S)
    clears = _clear(bench, standing)
    return Row(
        doing=doing,
        detected=trips or _ended(bench),
        latched=bool(standing),
        off_ms=off_ms,
        travel_mm=travel_mm,
        runs_on=runs_on,
        alarm=alarm,
        back_at_once=back,
        clears=None if clears is None else not clears,
        later=later,
        said=bench.seen.error,
    )


def _off_ms(after: list[Tick], before: Tick) -> int | None:
    """From the fault to the last tick with output."""
    on = [n for n, tick in enumerate(after) if any(tick.drive)]
    if not on:
        return 0 if any(before.drive) else None
    return None if on[-1] == len(after) - 1 else round((on[-1] + 1) * TICK_S * 1000)


def _travel_mm(after: list[Tick], before: Tick) -> float:
    """The furthest that a rod got from where it was."""
    return max(
        abs(now - then)
        for tick in after
        for now, then in zip(tick.place, before.place, strict=True)
    )


def _clear(bench: Bench, standing: list[str]) -> bool | None:
    """Whether anything stands again after a clear; None where nothing stood."""
    if not standing:
        return None
    bench.api.clear()
    bench.rest(AGAIN_S)
    return bool(bench.standing())


def _ended(bench: Bench) -> tuple[str, ...]:
    outcome = bench.seen.outcome
    if outcome is None or outcome.ended in (Ended.NONE, Ended.RUNNING, Ended.REACHED):
        return ()
    return (ended(outcome.ended),)


def _next_motion(bench: Bench) -> str:
    """What the next motion trips with; "" for nothing."""
    said = bench.seen.error
    with bench._errors(), bench.api.axis(1).jog(SPEED_MM_S) as motion:
        motion.wait(4.0)
    bench.seen.error = said
    bench.rest(0.2)
    return ", ".join(bench.seen.trips)


__all__ = ["Bench", "Row", "measure"]
