"""The rig: two plants on one supply, seen through the board's converter.

`step` advances the machine by one tick under the outputs of the firmware and returns the readings
that were completed in that tick, which the firmware takes at the next boundary. `conversions` gives
the same readings code by code, for a harness that feeds a converter: in schedule order

    supply 1 + 1, current 1: 1 + 4, current 2: 1 + 4, pot 1: 1 + 8, pot 2: 1 + 8

(the first of each group is the one that the firmware drops; it still carries half of the channel
before it), and `conversions_by_channel` gives them by the converter's channel: 4 supply, 2 and 3
currents, 0 and 1 pots, 5 and 6 sticks, 14 the bandgap. The kept codes add up to the sums in the
readings. `local` in the readings holds the sticks; a board whose axis wants a pulse puts that in
its place. This is the order of the ATmega328P; a board of
the kind posix-3v3 takes 2 conversions of 12 bits of a pot, one of all else, and has no such list.
"""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random

from rodbench_protocol.names import Inputs

from rodbench.emulator.faults import KINDS, Fault
from rodbench.emulator.hands import CHANNELS as STICKS
from rodbench.emulator.hands import Hands, Input
from rodbench.emulator.noise import CURRENTS, POTS, ROW, SHARED, SUPPLY, Noise, Row
from rodbench.emulator.plant import TICK_S, Driver, Plant, Sensor
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.signals import BRAKE, DRIVE, OFF, Readings
from rodbench.errors import UsageError

BANDGAP_EVERY = 16  # scans; the first scan after a start has it
TOP = 1023
STEPS = 1024.0
STEPS_12 = 4096.0
TOP_12 = 4095
VOLTS_OF_FIGURES = 5.0  # the supply at which a ratiometric sensor's figures hold: the nominal one
VOLTS_OF_FIGURES_12 = 3.3


class Rig:
    """The emulated machine of a plant file. Axes are 1 and 2; `plants[axis]` has the truth."""

    def __init__(self, machine: Machine, seed: int | None = None) -> None:
        self.machine = machine
        given = machine.seed if seed is None else seed
        volts = machine.board.reference_v
        self.plants = {axis: Plant(rod, given, volts) for axis, rod in machine.rods.items()}
        self.ticks = 0
        self.supply_v = machine.supply.volts
        self.line_faults: dict[str, float] = {}  # read by the line
        self._supply_faults: dict[str, float] = {}
        self.inputs = int(Inputs.STOP)  # what is closed to ground: the stop circuit, in normal work
        self.moved_at = dict.fromkeys(machine.rods, 0)  # tick of each rod's last motion
        self._readings = Readings()
        self._noise = Noise(given)
        self._bases = [0.0] * 5  # pots, currents, supply: codes before noise and rounding
        self._shared = [0.0, 0.0]
        self._row: Row = [0.0] * ROW
        self._scan = 0
        self._coarse = machine.board.kind != "posix-3v3"
        self._agenda = _agenda(machine.faults)
        self.hands = Hands(Random(f"{given} hands"))
        self._steps = sorted(machine.inputs, key=lambda step: step.at_s)
        self._scale()
        self._run_agenda()

    # ------------------------------------------------------------ faults

    def set_fault(self, kind: str, axis: int = 0, value: float | None = None) -> None:
        """Bring about a fault now; without a value the kind's own default is taken."""
        if kind not in KINDS:
            raise UsageError(f"no fault is called {kind}", hint=", ".join(KINDS))
        place, number = KINDS[kind].place, KINDS[kind].default if value is None else value
        if place == "rod":
            if axis not in self.plants:
                raise UsageError(f"{kind} needs the axis of a rod; axis {axis} has none")
            self.plants[axis].set_fault(kind, number)
            self._scale()
        elif place == "stop":
            self.inputs &= ~Inputs.STOP
        else:
            (self.line_faults if place == "line" else self._supply_faults)[kind] = number

    def clear_fault(self, kind: str, axis: int = 0) -> None:
        """End a fault now."""
        if axis in self.plants and KINDS[kind].place == "rod":
            self.plants[axis].clear_fault(kind)
            self._scale()
        if KINDS[kind].place == "stop":
            self.inputs |= Inputs.STOP
        self.line_faults.pop(kind, None)
        self._supply_faults.pop(kind, None)

    def set_input(self, kind: str, axis: int, value: float) -> None:
        """Press a button (1, 0), hold a stick (share of its track), send pulses (us), from now."""
        self.hands.set(kind, axis, value)

    def _run_steps(self) -> None:
        while self._steps and round(self._steps[0].at_s / TICK_S) <= self.ticks:
            step: Input = self._steps.pop(0)
            self.set_input(step.kind, step.axis, step.value)

    def _run_agenda(self) -> None:
        while self._agenda and self._agenda[0][0] <= self.ticks:
            _, begins, fault = self._agenda.pop(0)
            if begins:
                self.set_fault(fault.kind, fault.axis, fault.value)
            else:
                self.clear_fault(fault.kind, fault.axis)

    # ------------------------------------------------------------ one tick

    def restart_scan(self) -> None:
        """The board started anew: its schedule of conversions begins again."""
        self._scan = 0
        self._readings.bandgap = 0

    def step(self, drive: list[int], bridge: list[int]) -> Readings:
        """Advance by one tick; permille on the lines. The object returned is used again."""
        if self._agenda:
            self._run_agenda()
        if self._steps:
            self._run_steps()
        hands, readings = self.hands, self._readings
        readings.local = [hands.stick_code(0), hands.stick_code(1)]
        supply = self.supply_v
        drawn = 0.0
        for index, plant, _, _, _, rest in self._seats:
            permille: float = drive[index]
            state = bridge[index]
            if plant.stuck_permille is not None:
                permille, state = plant.stuck_permille, DRIVE
            elif rest is not None and state != DRIVE:
                state = rest
            plant.step(permille * supply / 1000.0, state)
            if plant.speed_mm_s != 0.0:
                self.moved_at[index + 1] = self.ticks
            if state == DRIVE:
                drawn += plant.current_a * plant.volts / supply
        self._load_supply(drawn)
        self.ticks += 1
        self._readings.inputs = self.inputs | self.hands.inputs
        return self._convert(bridge) if self._coarse else self._convert_fine(bridge)

    def _load_supply(self, drawn_a: float) -> None:
        """What the bridges draw makes the supply sag in the next tick."""
        source = self.machine.supply
        faults = self._supply_faults
        volts = faults.get("supply_high", faults.get("supply_sag", source.volts))
        self.supply_v = max(volts - source.source_ohm * drawn_a, 1.0)

    def _convert(self, bridge: list[int]) -> Readings:
        row = self._row = self._noise.row()
        readings, bases = self._readings, self._bases
        per_volt = STEPS / self.machine.board.reference_v
        for index, plant, sensor, carry, margin, _ in self._seats:
            base = plant.pot_share * STEPS
            if carry:
                shared = self._shared[index] * carry + row[SHARED[index]]
                self._shared[index] = shared
                base += shared
            bases[index] = base
            readings.pot[index] = _sum8(base, row, POTS[index], margin)
            if sensor is not None:
                state = DRIVE if plant.stuck_permille is not None else bridge[index]
                steps = STEPS / VOLTS_OF_FIGURES if sensor.ratiometric else per_volt
                base = (sensor.zero_v + sensor.v_per_a * plant.sensed_a(state)) * steps
                bases[2 + index] = base
                readings.current[index] = _sum4(base, row, CURRENTS[index])
        bases[4] = base = self.supply_v * per_volt / self.machine.supply.divider_ratio
        readings.supply = _code(base + row[SUPPLY])
        if self._scan % BANDGAP_EVERY == 0:
            readings.bandgap = self.bandgap_code
        self._scan += 1
        return readings

    def _convert_fine(self, bridge: list[int]) -> Readings:
        """12 bits: two conversions of a pot, one of a current and of the supply."""
        row, readings = self._noise.row(), self._readings
        per_volt = STEPS_12 / self.machine.board.reference_v
        for index, plant, sensor, carry, _, _ in self._seats:
            base = plant.pot_share * STEPS_12
            if carry:
                shared = self._shared[index] * carry + row[SHARED[index]]
                self._shared[index] = shared
                base += shared
            at = POTS[index]
            readings.pot[index] = _fine(base + row[at]) + _fine(base + row[at + 1])
            if sensor is not None:
                state = DRIVE if plant.stuck_permille is not None else bridge[index]
                steps = STEPS_12 / VOLTS_OF_FIGURES_12 if sensor.ratiometric else per_volt
                base = (sensor.zero_v + sensor.v_per_a * plant.sensed_a(state)) * steps
                readings.current[index] = _fine(base + row[CURRENTS[index]])
        supply = self.supply_v * per_volt / self.machine.supply.divider_ratio
        readings.supply = _fine(supply + row[SUPPLY])
        if self._scan % BANDGAP_EVERY == 0:
            readings.bandgap = self.bandgap_code
        self._scan += 1
        return readings

    @property
    def bandgap_code(self) -> int:
        """What a conversion of the bandgap gives."""
        board = self.machine.board
        share = board.bandgap_v / board.reference_v
        return _code(share * STEPS) if self._coarse else _fine(share * STEPS_12)

    # ------------------------------------------------------------ code by code

    def conversions(self) -> list[int]:
        """The codes of the last tick in schedule order (see the head of this file)."""
        codes: list[int] = []
        before = 0.0
        for base, offsets in self._groups():
            codes.append(_code((base + before) / 2.0))
            codes += [_code(base + offset) for offset in offsets]
            before = base
        return codes

    def conversions_by_channel(self) -> dict[int, list[int]]:
        """The same codes by the converter's channel, the dropped one first."""
        codes = iter(self.conversions())
        by_channel = {
            channel: [next(codes) for _ in range(count)]
            for channel, count in ((4, 2), (2, 5), (3, 5), (0, 9), (1, 9))
        }
        by_channel[14] = [self.bandgap_code] * 4
        for channel, code in zip(STICKS, self._readings.local, strict=True):
            by_channel[channel] = [code] * 2
        return by_channel

    def _groups(self) -> list[tuple[float, Row]]:
        bases, row = self._bases, self._row
        return [
            (bases[4], row[SUPPLY : SUPPLY + 1]),
            *((bases[2 + i], row[CURRENTS[i] : CURRENTS[i] + 4]) for i in (0, 1)),
            *((bases[i], row[POTS[i] : POTS[i] + 8]) for i in (0, 1)),
        ]

    # ------------------------------------------------------------ derived figures

    def _scale(self) -> None:
        """Noise of each column, and what each tick needs of an axis, from figures and faults."""
        sigmas = [0.0] * ROW
        self._seats: list[Seat] = []
        for axis, plant in sorted(self.plants.items()):
            index, pot, sensor = axis - 1, plant.rod.pot, plant.rod.sensor
            if not pot.fitted:
                pot = replace(pot, noise_lsb=0.0)  # the bleed holds the input at ground
            white = pot.noise_lsb * math.sqrt(1.0 - pot.noise_correlated)
            white = math.hypot(white, plant.faults.get("pot_noisy", 0.0))
            carry = 0.0
            if pot.noise_correlated:
                carry = math.exp(-TICK_S * 1000.0 / pot.noise_time_ms)
                common = pot.noise_lsb * math.sqrt(pot.noise_correlated)
                sigmas[SHARED[index]] = common * math.sqrt(1.0 - carry * carry)
            sigmas[POTS[index] : POTS[index] + 8] = [white] * 8
            sigmas[CURRENTS[index] : CURRENTS[index] + 4] = [sensor.noise_lsb] * 4
            fitted = None if sensor.kind == "none" else sensor
            margin = 8.0 * white + 1.0
            self._seats.append((index, plant, fitted, carry, margin, _at_rest(plant.rod.driver)))
        sigmas[SUPPLY] = self.machine.supply.noise_lsb
        self._noise.scale(sigmas)


# index, plant, current sensor if there is one, what correlated noise keeps a tick, margin of the
# pot's code to the converter's ends within which noise may reach them, what output 0 is whatever
# the board asks (OFF or BRAKE), or None where the driver can do both
Seat = tuple[int, Plant, Sensor | None, float, float, int | None]


def _at_rest(driver: Driver) -> int | None:
    if driver.kind != "pwm-and-one-direction-line":
        return None
    return BRAKE if driver.pwm_low == "brake" else OFF


def _agenda(faults: list[Fault]) -> list[tuple[int, bool, Fault]]:
    """Beginnings and ends of faults in the order of their ticks."""
    begins = [(round(f.at_s / TICK_S), True, f) for f in faults]
    ends = [(round(f.until_s / TICK_S), False, f) for f in faults if f.until_s > 0.0]
    return sorted(begins + ends, key=lambda entry: (entry[0], entry[1]))


def _code(value: float) -> int:
    """One conversion of a value in steps: rounded down, held to the converter's range."""
    return 0 if value <= 0.0 else TOP if value >= TOP else int(value)


def _fine(value: float) -> int:
    """One conversion of 12 bits."""
    return 0 if value <= 0.0 else TOP_12 if value >= TOP_12 else int(value)


def _sum8(base: float, row: Row, at: int, margin: float) -> int:
    if margin < base < TOP - margin:
        return (
            int(base + row[at])
            + int(base + row[at + 1])
            + int(base + row[at + 2])
            + int(base + row[at + 3])
            + int(base + row[at + 4])
            + int(base + row[at + 5])
            + int(base + row[at + 6])
            + int(base + row[at + 7])
        )
    return sum(_code(base + row[place]) for place in range(at, at + 8))


def _sum4(base: float, row: Row, at: int) -> int:
    if base > TOP - 200.0:
        return sum(_code(base + row[place]) for place in range(at, at + 4))
    total = 0
    for noise in row[at : at + 4]:
        value = base + noise
        if value > 0.0:
            total += int(value)
    return total
