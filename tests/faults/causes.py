"""Causes of faults: how each is brought about, and what excuses one that is not detected."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rodbench_protocol.names import ResetCause

if TYPE_CHECKING:
    from rodbench.emulator.plant_file import Machine

    from tests.faults.bench import Bench

LOOK_S = 4.0
DOINGS = ("jogging", "moving", "holding", "ganged")
Act = Callable[["Bench"], None]

NOTHING = "nothing was commanded"
DRIVER = "the driver itself failed"
NO_SENSOR = "the sensor is not fitted"


@dataclass(frozen=True, slots=True)
class Excuse:
    """Why a cause is not detected, and what covers it: one of the three reasons above."""

    reason: str
    covered_by: str


STILL = Excuse(
    NOTHING,
    "no current flows and the screw holds; the fuse covers a short; the next motion finds it",
)


def _nothing(_: object) -> None:
    return None


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause. `faults`: those that this row is in the table for."""

    title: str
    how: str
    faults: tuple[str, ...]
    begin: Act
    end: Act
    prepare: Callable[[Machine], None] = _nothing
    board: Mapping[str, int] = field(default_factory=dict)
    axis: Mapping[str, int] = field(default_factory=dict)
    on_axis: int = 1  # whose settings `axis` changes
    look_s: float = LOOK_S
    two_wires: bool = False  # axis 1 has a rod without a pot
    silent: bool = False  # the host says nothing from then on
    excuses: Mapping[str, Excuse] = field(default_factory=dict)
    skips: Mapping[str, str] = field(default_factory=dict)  # what cannot be, and why
    twin_alone: str = ""  # why it cannot be brought about on the simulated chip


def _plant(kind: str, value: float | None = None, axis: int = 1) -> tuple[Act, Act]:
    """A fault of the plant or supply, and its end."""
    return (
        lambda bench: bench.emulated.rig.set_fault(kind, axis, value),
        lambda bench: bench.emulated.rig.clear_fault(kind, axis),
    )


def _jam(bench: Bench, axis: int = 1) -> None:
    """An obstacle where the rod is now."""
    bench.emulated.rig.set_fault("jam", axis, bench.plants[axis].position_mm)


def _unjam(bench: Bench, axis: int = 1) -> None:
    bench.emulated.rig.clear_fault("jam", axis)


def _rub(bench: Bench, friction_a: float) -> None:
    """More friction in both directions."""
    plant = bench.plants[1]
    plant.rod.motor.friction_extend_a += friction_a
    plant.rod.motor.friction_retract_a += friction_a
    plant._resistance()
    plant._settle()


def _two_wires(machine: Machine) -> None:
    """Axis 1 without a pot, and room behind its end switch."""
    machine.rods[1].pot.fitted = False
    machine.rods[1].ends.overtravel_mm = 50.0


def _deaf_sensor(bench: Bench) -> None:
    bench.plants[1].rod.sensor.v_per_a = 0.0


def _mended_sensor(bench: Bench) -> None:
    bench.plants[1].rod.sensor.v_per_a = 0.185


def _pot_past_its_end(bench: Bench) -> None:
    """Just beyond the retracted endpoint, far from full scale."""
    bench.emulated.rig.set_fault("pot_short", 1, 0.93)


def _late(bench: Bench) -> None:
    for _ in range(3):
        bench.emulated.twin.late_tick()


def _reset_by(cause: ResetCause) -> Act:
    def act(bench: Bench) -> None:
        from rodbench.emulator.twin.noinit import noinit_mark

        noinit_mark(bench.emulated.twin.noinit, cause)
        bench.emulated.reset("watchdog")

    return act


def _spoil_settings(bench: Bench) -> None:
    """Both copies, and the power fails."""
    slots = bytearray(bench.emulated.eeprom)
    for at in range(60, 700, 7):
        slots[at] ^= 0x55
    bench.emulated.eeprom[:] = slots
    bench.emulated.power_cut()


OPEN_LEAD, MENDED_LEAD = _plant("motor_open")
CAUSES: tuple[Cause, ...] = (
    Cause("An obstacle in the way", "the rod is held where it is", ("over_current",), _jam, _unjam,
          excuses={"holding": STILL}),
    Cause("An obstacle, and a trip set too high", "the same, trip_a above the stall current",
          ("stall",), _jam, _unjam, axis={"trip_ma": 12_000}, excuses={"holding": STILL}),
    Cause("An obstacle, and no current sensor", "the same, current_sensor none", ("stall",),
          _jam, _unjam, axis={"current_sensor": 0}, excuses={"holding": STILL}),
    Cause("A motor lead off", "no current can flow", ("no_current",), OPEN_LEAD, MENDED_LEAD,
          excuses={"holding": STILL}),
    Cause("The pot does not follow", "its coupling is gone: it stays as it is",
          ("pot_not_following",), *_plant("pot_frozen"), excuses={"holding": STILL}),
    Cause("The pot's wiper off", "the bleed pulls it to 0", ("pot_open",), *_plant("pot_open")),
    Cause("The wiper shorted to 5 V", "it reads full scale", ("pot_short",), *_plant("pot_short")),
    Cause("The pot past its endpoint", "it reads 0.93, the endpoint is 0.905", ("pot_band",),
          _pot_past_its_end, _plant("pot_short")[1]),
    Cause("The pot jumps", "it reads a quarter of its track aside", ("pot_jump",),
          *_plant("pot_jump", 0.25)),
    Cause("The motor's leads changed places", "it runs the other way", ("wrong_way",),
          *_plant("motor_swapped"), excuses={"holding": STILL}),
    Cause("A load that pushes the rod", "it moves at 5 mm/s while nothing drives it",
          ("moving_off",), *_plant("backdrive", 5.0),
          skips=dict.fromkeys(("jogging", "moving", "ganged"),
                              "no fault while it is driven")),
    Cause("The driver stuck, the way it goes", "it extends at full output whatever is asked",
          ("moving_off", "apart"), *_plant("driver_stuck", -1000.0), look_s=25.0,
          excuses={"jogging": Excuse(DRIVER, "its end switch, a hard stop that bears its force, a "
          "switch in the motor supply; a soft stop cannot hold what the driver drives")}),
    Cause("The driver stuck, the other way", "it retracts at full output whatever is asked",
          ("moving_off",), *_plant("driver_stuck", 1000.0), look_s=6.0),
    Cause("More load than it can follow", "2.5 A more friction, below the trip", ("following",),
          lambda bench: _rub(bench, 2.5),
          lambda bench: _rub(bench, -2.5), axis={"trip_ma": 6_000},
          excuses={"holding": STILL}),
    Cause("The other of two rods held", "axis 2 is held, its trip_a above the stall", (),
          lambda bench: _jam(bench, 2), lambda bench: _unjam(bench, 2), on_axis=2,
          axis={"trip_ma": 12_000},
          skips=dict.fromkeys(("jogging", "moving", "holding"), "one rod alone cannot come apart")),
    Cause("No end comes", "rod without a pot, its end switches dead, 50 mm of way behind them",
          ("no_end",), *_plant("end_switch_dead"), two_wires=True, prepare=_two_wires, look_s=40.0,
          skips={"ganged": "a rod without a pot is in no gang",
                 "jogging": "a jog has no time of its own: it ends with the key, or by current"},
          excuses={"holding": STILL}),
    Cause("The current sensor's wire off", "it reads no current", (), _deaf_sensor, _mended_sensor,
          excuses=dict.fromkeys(DOINGS, Excuse(NO_SENSOR, "as good as not fitted: the fuse covers "
          "what only the current shows; an obstacle is still found by the pot"))),
    Cause("A sag, and no meter reading", "9 V from the source, supply_calibrated false", (),
          *_plant("supply_sag", 9.0, 0), board={"supply_calibrated": 0},
          excuses=dict.fromkeys(DOINGS, Excuse(NO_SENSOR, "the supply's reading is not known to be "
          "true; a battery's own cut-out, and a fuse"))),
    Cause("An obstacle, no pot and no sensor", "rod without a pot, current_sensor none", (),
          _jam, _unjam, two_wires=True, prepare=_two_wires, axis={"current_sensor": 0},
          skips={"ganged": "a rod without a pot is in no gang",
                 "moving": "without a sensor it only jogs"},
          excuses={"jogging": Excuse(NO_SENSOR, "hold-to-run: the person sees it; the fuse"),
                   "holding": STILL}),
    Cause("The motor works too hard", "0.8 A more friction, rated_current_a 1.5, time constant "
          "10 s", ("thermal",), lambda bench: _rub(bench, 0.8), lambda bench: _rub(bench, -0.8),
          axis={"rated_ma": 1_500, "thermal_time_s": 10, "following_um": 0}, look_s=14.0,
          excuses={"holding": STILL}),
    Cause("The supply sags", "9 V from the source, below supply_low_v", ("supply_low",),
          *_plant("supply_sag", 9.0, 0)),
    Cause("The supply is too high", "17 V from the source, above supply_high_v", ("supply_high",),
          *_plant("supply_high", 17.0, 0)),
    Cause("The stop input opens", "the button is pressed, or its wire breaks", ("stop_input",),
          *_plant("stop_open", None, 0)),
    Cause("The computer falls silent", "cable pulled, program dead", ("move_silence",), _nothing,
          _nothing, silent=True, look_s=2.0,
          excuses={"holding": Excuse(NOTHING, "no harm: there is nothing that it could end")}),
    Cause("Ticks end late", "three in a row", ("late_tick",), _late, _nothing,
          twin_alone="a chip that is late on purpose is another program"),
    Cause("The program hangs", "the watchdog restarts the board", ("watchdog",),
          _reset_by(ResetCause.WATCHDOG), _nothing,
          twin_alone="a chip that hangs on purpose is another program"),
    Cause("A check in the firmware fails", "it restarts the board", ("assertion",),
          _reset_by(ResetCause.ASSERTION), _nothing,
          twin_alone="a chip whose checks fail on purpose is another program"),
    Cause("Both copies of the settings damaged", "and the power fails", ("settings",),
          _spoil_settings, _nothing, twin_alone="the chip's own memory is not written from here"),
)  # fmt: skip
