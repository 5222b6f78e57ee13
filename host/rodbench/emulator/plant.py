"""One emulated rod: motor, screw, load, ends and pot, advanced by the board's tick.

Everything is referred to the rod. The motor constant is in V per mm/s, so that 1 A pushes with
1000 x that many newtons before the screw's losses; friction is given as the current that overcomes
it. Within a tick the motion is the exact solution of

    dv/dt = g (i - s friction - drag v - load_a),   i = (V - constant v) / R,   g = R / (constant T)

(references: V = I R + Ke w, any machines textbook), where s is the sense of motion and T the
mechanical response time. The winding's inductance (about 1 ms) is left out. A screw passes a
resisting load to the motor divided by its efficiency, an aiding one times its back efficiency;
below 0 the screw locks itself and an aiding load brakes.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from rodbench.emulator import wiper
from rodbench.emulator.load import Load
from rodbench.emulator.signals import DRIVE, OFF
from rodbench.emulator.wiper import BLEED_OHM, Pot

TICK_S = 0.005
COPPER_PER_K = 0.00393
OPEN_WIPER_DECAY = math.exp(-TICK_S / 0.0047)  # 470 kohm bleed and 10 nF
TURN_MM = 0.02  # less motion back than this is no turning round
SCATTER_MM = 1.0  # way over which a new stroke's scatter comes in
WARM_EVERY = 64  # ticks between updates of the winding's temperature


@dataclass(slots=True)
class Motor:
    """The motor and its gears, referred to the rod. Currents in A, response without drag in ms.

    All of it holds for magnets as they were new. `magnets` is the share of that which is left:
    volts for each mm/s go with it, the currents that friction and load take against it.
    """

    resistance_ohm: float = 2.0
    constant_v_s_per_mm: float = 1.186
    response_ms: float = 60.0
    friction_extend_a: float = 0.98
    friction_retract_a: float = 0.67
    stiction: float = 1.15
    drag_a_s_per_mm: float = 0.05
    magnets: float = 1.0
    reversed: bool = False
    heat_j_per_k: float = 60.0
    cooling_k_per_w: float = 8.0
    ambient_c: float = 20.0


@dataclass(slots=True)
class Screw:
    """Efficiency both ways, and the play between screw and pot in mm. From `tight_from_mm` to
    `tight_to_mm` the friction is higher by the share `tight`."""

    efficiency: float = 0.35
    back_efficiency: float = -0.8
    backlash_mm: float = 0.0
    tight_from_mm: float = 0.0
    tight_to_mm: float = 0.0
    tight: float = 0.2


@dataclass(slots=True)
class Ends:
    """How the travel ends: "switch", "hard" or "clutch"."""

    kind: str = "switch"
    diode_v: float = 0.7
    overtravel_mm: float = 4.0
    clutch_a: float = 4.0


@dataclass(slots=True)
class Sensor:
    """The current sensor: volts = zero_v + v_per_a x current, at a supply of 5 V.

    A one-sided one sees the current's size, while the bridge drives; a centred one sits in a motor
    lead: it sees the sign that the lines give, and also what circulates while the bridge brakes. A
    ratiometric one puts out the same share of whatever the board's own supply is.
    """

    kind: str = "one-sided"
    v_per_a: float = 0.185
    zero_v: float = 0.0
    ratiometric: bool = False
    noise_lsb: float = 0.4


@dataclass(slots=True)
class Mount:
    """Hard ends of the machine inside the stroke, in mm; 0: none there, free on the bench."""

    min_mm: float = 0.0
    max_mm: float = 0.0

    @property
    def fitted(self) -> bool:
        """Whether the machine ends the travel somewhere."""
        return self.min_mm > 0.0 or self.max_mm > 0.0


@dataclass(slots=True)
class Driver:
    """The H-bridge, by its lines. With one direction line, PWM low is all it can do at output 0."""

    kind: str = "pwm-and-two-direction-lines"
    pwm_low: str = "coast"


@dataclass(slots=True)
class Rod:
    """All figures of one emulated rod."""

    name: str = "rod"
    stroke_mm: float = 203.0
    start_mm: float = 100.0
    retracted_pin_to_pin_mm: float = 105.0
    motor: Motor = field(default_factory=Motor)
    screw: Screw = field(default_factory=Screw)
    load: Load = field(default_factory=Load)
    ends: Ends = field(default_factory=Ends)
    pot: Pot = field(default_factory=Pot)
    sensor: Sensor = field(default_factory=Sensor)
    mount: Mount = field(default_factory=Mount)
    driver: Driver = field(default_factory=Driver)


class Plant:
    """The state of one rod. Positions in mm from the retracted end, extending positive.

    The rod's figures are taken over when it is made; faults change what they say afterwards.
    `seed` is for a worn track and for scatter, `reference_v` what the board feeds the pot with.
    Of a mounted rod `mount_pressed_a` is the greatest current with which it was driven against the
    machine's ends, `mount_pressed_ticks` for how long after one contact; both 0: never.
    `reference_ma` is the most that the pot drew from the board's own supply.
    """

    def __init__(self, rod: Rod, seed: int = 0, reference_v: float = 5.0) -> None:
        self.rod = rod
        self.position_mm = rod.start_mm
        self.speed_mm_s = 0.0
        self.current_a = 0.0  # in the motor, extending positive
        self.temperature_c = rod.motor.ambient_c
        self.volts = 0.0  # at the motor's terminals in the last tick
        self.faults: dict[str, float] = {}  # the faults in force and their values
        self.stuck_permille: float | None = None  # what a stuck driver drives, on the lines
        self.turned_mm = rod.start_mm  # where the rod last turned round
        self.turns = 0
        self._sense_mm = 0.0  # the last step that counted as motion, with its sign
        self._far_mm = rod.start_mm
        self._pot_mm = rod.start_mm
        self.pot_share = 0.0  # what the pot's pin carries, share of the reference
        self._heat_j = 0.0
        self._warm_in = WARM_EVERY
        self._blocked = 0  # the direction in which an open end switch bars the current
        self._low = self._high = self._free_from = self._free_to = 0.0
        right = rod.pot.wired == "right"
        self.reference_ma = wiper.drawn_ma(rod.pot, reference_v) if right else 0.0
        self.mount_pressed_a = 0.0
        self.mount_pressed_ticks = 0
        self._pressed = 0  # ticks of drive against the machine's end since the rod met it
        self._mounted = rod.mount.fitted
        self._tight_mm, self._tight = (rod.screw.tight_from_mm, rod.screw.tight_to_mm), False
        self._off_mm = self._off_to_mm = 0.0  # how far aside the pot reads, scatter of strokes
        self._scattered_at, self._scatter_mm = 0, rod.start_mm
        self._draw = random.Random(f"rodbench wiper {seed} {rod.name}")
        self._take_pot(rod.pot, reference_v)
        self._resistance()
        self._settle()

    # ------------------------------------------------------------ truth

    @property
    def pot_raw(self) -> float:
        """The noise-free pot reading in raw, faults of the wiring included: the mean sum of 8.

        A converter that rounds down reads half a step low.
        """
        return _raw(self.pot_share)

    def pot_raw_at(self, position_mm: float) -> float:
        """What the noise-free pot, sound but wired as it is, reads in raw at a position in mm."""
        pot = self.rod.pot
        if pot.wired == "right":
            return _raw(self._pot_ideal(position_mm))
        return _raw(wiper.swapped(pot, self._track_share(position_mm))[0])

    @property
    def pot_position_mm(self) -> float:
        """Where the pot's own shaft stands: the rod's position less the play."""
        return self._pot_mm

    def sensed_a(self, bridge: int) -> float:
        """The current that the sensor sees, in A; a one-sided one sees it only while driving."""
        if self.rod.sensor.kind == "one-sided":
            return abs(self.current_a) if bridge == DRIVE else 0.0
        return -self.current_a if self._swapped else self.current_a

    # ------------------------------------------------------------ set by hand

    def place(self, position_mm: float) -> None:
        """Put the rod somewhere, at rest."""
        self.position_mm = min(max(position_mm, self._low), self._high)
        self._pot_mm = self.position_mm
        self.turned_mm = self._far_mm = self.position_mm
        self.turns += 1
        self.speed_mm_s = 0.0
        self._settle()

    def set_fault(self, kind: str, value: float) -> None:
        """Bring a fault about (see faults.py for the kinds and their values)."""
        if kind == "pot_frozen":
            value = self.pot_share
        elif kind == "jam":
            side = 1.0 if self.position_mm <= value else -1.0
            self.faults["jam_side"] = side
        self.faults[kind] = value
        self._settle()

    def clear_fault(self, kind: str) -> None:
        """End a fault."""
        self.faults.pop(kind, None)
        self.faults.pop("jam_side" if kind == "jam" else kind, None)
        self._settle()

    def tighten(self, from_mm: float, to_mm: float, share: float) -> None:
        """From now on the friction is higher there, by a share; 0: no more."""
        screw = self.rod.screw
        screw.tight_from_mm, screw.tight_to_mm, screw.tight = from_mm, to_mm, share
        self._tight_mm, self._tight = (from_mm, to_mm), False
        self._take_friction()

    # ------------------------------------------------------------ one tick

    def step(self, volts: float, bridge: int) -> None:
        """Advance by one tick with `volts` at the bridge's outputs, in the sense of the lines."""
        if bridge != DRIVE and "backdrive" in self.faults:
            self._give_way(self.faults["backdrive"])
            return
        if bridge != DRIVE and self.speed_mm_s == 0.0 and self._rests:
            self.volts = self.current_a = 0.0
            self._count_heat(0.0)
            if self._restless:
                self._read_pot()
            return
        volts = 0.0 if bridge != DRIVE else -volts if self._swapped else volts
        self.volts = volts
        self._advance(volts, bridge != OFF and not self._open)
        self._count_heat(self.current_a)
        if self._mounted:
            self._watch_mount()
        if self.position_mm != self._far_mm:
            self._watch()
            self._read_pot()
        elif self._odd:
            self._read_pot()

    def _give_way(self, speed_mm_s: float) -> None:
        """A screw that lost its hold: the load moves the rod, up to the ends, and the motor not."""
        self.volts = self.current_a = 0.0
        self._count_heat(0.0)
        place = self.position_mm + speed_mm_s * TICK_S
        self.position_mm = min(max(place, self._low), self._high)
        self.speed_mm_s = speed_mm_s if self.position_mm == place else 0.0
        self._watch()
        self._read_pot()

    def _watch_mount(self) -> None:
        """Count how the rod is driven against the machine, and how hard."""
        mount, current = self.rod.mount, self.current_a
        beyond = 0.0 < mount.max_mm <= self.position_mm
        if not beyond and (mount.min_mm == 0.0 or self.position_mm > mount.min_mm):
            self._pressed = 0
        elif current > 0.0 if beyond else current < 0.0:  # braking opposes the way to it
            self._pressed += 1
            self.mount_pressed_ticks = max(self.mount_pressed_ticks, self._pressed)
            self.mount_pressed_a = max(self.mount_pressed_a, abs(current))

    def _watch(self) -> None:
        """Keep where the rod last turned round."""
        moved = self.position_mm - self._far_mm
        if moved * self._sense_mm < 0.0:
            if abs(moved) < TURN_MM:
                return
            self.turned_mm = self._far_mm
            self.turns += 1
        self._sense_mm, self._far_mm = moved, self.position_mm

    def _advance(self, volts: float, closed: bool) -> None:
        if self._blocked:
            # The diode carries only current that drives away from the end.
            volts += self._blocked * self.rod.ends.diode_v
            if (volts - self._constant * self.speed_mm_s) * self._blocked >= 0.0:
                closed = False
        left = TICK_S
        for _ in range(3):  # at most: stop, turn round, stop again
            if self.speed_mm_s == 0.0 and not self._starts(volts / self._ohm if closed else 0.0):
                break
            left = self._travel(volts, closed, left)
            if left <= 0.0:
                break
        self._limit()
        end = (volts - self._constant * self.speed_mm_s) / self._ohm if closed else 0.0
        self.current_a = self._slip(end)

    def _starts(self, current: float) -> bool:
        """Whether the rod breaks away; sets a first hair of speed in that sense."""
        extend, retract = self._load_a()
        self._bind()
        if current - extend > self._stick_extend and self.position_mm < self._high:
            self.speed_mm_s = 1e-12
            return True
        if current - retract < -self._stick_retract and self.position_mm > self._low:
            self.speed_mm_s = -1e-12
            return True
        return False

    def _travel(self, volts: float, closed: bool, time_s: float) -> float:
        """Move for `time_s`, or until the rod stops; returns what is left of the time."""
        speed = self.speed_mm_s
        extend, retract = self._load_a()
        self._bind()
        push = volts / self._ohm if closed else 0.0
        if speed > 0.0:
            push -= self._friction_extend + extend
        else:
            push += self._friction_retract - retract
        rate = self._rate_closed if closed else self._rate_open
        final = self._gain * push / rate
        if time_s == TICK_S:
            decay = self._decay_closed if closed else self._decay_open
        else:
            decay = math.exp(-rate * time_s)
        after = final + (speed - final) * decay
        if after * speed > 0.0:
            self.position_mm += final * time_s + (speed - after) / rate
            self.speed_mm_s = after
            return 0.0
        stop_s = math.log((speed - final) / -final) / rate if final else time_s
        self.position_mm += final * stop_s + speed / rate
        self.speed_mm_s = 0.0
        return time_s - stop_s

    def _limit(self) -> None:
        """Walls stop the rod dead; switches open behind their points."""
        position, low, high = self.position_mm, self._low, self._high
        if self.speed_mm_s != 0.0 and self._free_from < position < self._free_to:
            self._blocked = 0
            return
        if position >= high and self.speed_mm_s >= 0.0:
            self.position_mm, self.speed_mm_s = high, 0.0
        elif position <= low and self.speed_mm_s <= 0.0:
            self.position_mm, self.speed_mm_s = low, 0.0
        self._find_switch()
        if self.speed_mm_s == 0.0:
            self._rests = not self._would_run()

    def _find_switch(self) -> None:
        self._blocked = 0
        if self.rod.ends.kind == "switch" and "end_switch_dead" not in self.faults:
            if self.position_mm >= self.rod.stroke_mm:
                self._blocked = 1
            elif self.position_mm <= 0.0:
                self._blocked = -1

    def _walls(self) -> tuple[float, float]:
        over = self.rod.ends.overtravel_mm if self.rod.ends.kind == "switch" else 0.0
        low, high = -over, self.rod.stroke_mm + over
        mount = self.rod.mount
        low = mount.min_mm or low
        high = mount.max_mm or high
        if "jam" in self.faults:
            at = self.faults["jam"]
            if self.faults["jam_side"] > 0.0:
                high = min(high, max(at, low))
            else:
                low = max(low, min(at, high))
        return low, high

    def _slip(self, current: float) -> float:
        """A clutch lets go at an end: the motor turns on, and the current stays at its limit."""
        if self.rod.ends.kind != "clutch" or self.speed_mm_s != 0.0:
            return current
        if 0.0 < self.position_mm < self.rod.stroke_mm:
            return current
        limit = self.rod.ends.clutch_a
        return min(max(current, -limit), limit)

    # ------------------------------------------------------------ parts

    def _load_a(self) -> tuple[float, float]:
        """The load as a current that opposes extending, when extending and when retracting."""
        load = self.rod.load
        force = load.force_n if load.constant else load.at(self.position_mm)
        if force == 0.0:
            return 0.0, 0.0
        if force > 0.0:
            return force * self._resist, force * self._aid
        return force * self._aid, force * self._resist

    def _bind(self) -> None:
        """Friction where the rod stands now."""
        low, high = self._tight_mm
        if low < high and self._tight != (low <= self.position_mm <= high):
            self._tight = not self._tight
            self._take_friction()

    def _take_friction(self) -> None:
        """Friction's currents, moving and breaking away."""
        motor, screw = self.rod.motor, self.rod.screw
        more = (1.0 + screw.tight if self._tight else 1.0) / motor.magnets
        self._friction_extend = motor.friction_extend_a * more
        self._friction_retract = motor.friction_retract_a * more
        self._stick_extend = self._friction_extend * motor.stiction
        self._stick_retract = self._friction_retract * motor.stiction

    def _would_run(self) -> bool:
        """Whether the load alone drives the resting rod back."""
        runs = self._starts(0.0)
        self.speed_mm_s = 0.0
        return runs

    def _read_pot(self) -> None:
        play, position = self._play_mm, self.position_mm
        if position > self._pot_mm + play:
            self._pot_mm = position - play
        elif position < self._pot_mm - play:
            self._pot_mm = position + play
        if self._odd:
            self._read_odd_pot()
        else:
            self.pot_share = self._pot_ideal(self._pot_mm)

    def _track_share(self, position_mm: float) -> float:
        """Where the wiper stands on its track, above the ground end."""
        place = position_mm / self._stroke_mm
        if self._bow:
            place += self._bow * 4.0 * place * (1.0 - place)
        share = self._pot_from + self._pot_span * place
        if self._mirrored:
            share = 1.0 - share
        return 0.0 if share < 0.0 else 1.0 if share > 1.0 else share

    def _pot_ideal(self, position_mm: float) -> float:
        """Share of the reference at the pin of a sound pot that is wired right."""
        share = self._track_share(position_mm)
        out = share * self._divided
        return out / (1.0 + out * ((1.0 - share) * self._pot_load + self._series_load))

    def _read_odd_pot(self) -> None:
        faults, pot = self.faults, self.rod.pot
        if not pot.fitted:
            self.pot_share = 0.0
            return
        if pot.repeat_mm:
            self._scatter()
        contact = not pot.worn or self._touches()
        if "pot_frozen" in faults:
            self.pot_share = faults["pot_frozen"]
        elif "pot_short" in faults:
            self.pot_share = faults["pot_short"]
        elif pot.wired != "right":
            self._read_swapped(contact and "pot_open" not in faults)
        elif "pot_open" in faults or not contact:
            self.pot_share *= OPEN_WIPER_DECAY
        else:
            share = self._pot_ideal(self._pot_mm + self._off_mm) + faults.get("pot_jump", 0.0)
            self.pot_share = min(max(share, 0.0), 1.0)

    def _read_swapped(self, contact: bool) -> None:
        share = self._track_share(self._pot_mm + self._off_mm)
        self.pot_share, ohm = wiper.swapped(self.rod.pot, share, contact)
        self.reference_ma = max(self.reference_ma, 1000.0 * self._reference_v / ohm)

    def _touches(self) -> bool:
        """Whether a worn track has contact in this tick."""
        pot = self.rod.pot
        within = pot.worn_from_mm <= self._pot_mm <= pot.worn_to_mm
        return not within or self._draw.random() >= pot.worn_share

    def _scatter(self) -> None:
        """A new stroke reads the same place a little aside; the change comes in over some way."""
        if self.turns != self._scattered_at:
            self._scattered_at = self.turns
            self._off_to_mm = self._draw.gauss(0.0, self.rod.pot.repeat_mm)
        way = abs(self._pot_mm - self._scatter_mm)
        self._scatter_mm = self._pot_mm
        self._off_mm += (self._off_to_mm - self._off_mm) * (1.0 - math.exp(-way / SCATTER_MM))

    # ------------------------------------------------------------ derived figures

    def _take_pot(self, pot: Pot, reference_v: float) -> None:
        self._stroke_mm, self._play_mm = self.rod.stroke_mm, self.rod.screw.backlash_mm / 2.0
        self._pot_from, self._pot_span = pot.retracted, pot.extended - pot.retracted
        self._bow, self._pot_load = pot.bow, pot.resistance_ohm / BLEED_OHM
        self._divided = pot.resistance_ohm / (pot.resistance_ohm + pot.series_ohm)
        self._series_load = pot.series_ohm / BLEED_OHM
        self._reference_v = reference_v

    def _settle(self) -> None:
        """Work out what depends on faults and place."""
        swapped = "motor_swapped" in self.faults
        self._swapped = self.rod.motor.reversed != swapped
        self._open = "motor_open" in self.faults
        self.stuck_permille = self.faults.get("driver_stuck")
        self._mirrored = "pot_swapped" in self.faults
        pot = self.rod.pot
        sound = pot.fitted and pot.wired == "right" and not pot.worn and not pot.repeat_mm
        self._odd = bool(self.faults) or not sound
        self._restless = "pot_open" in self.faults or (pot.fitted and pot.worn)
        self._rests = False
        self._low, self._high = self._walls()
        self._free_from, self._free_to = max(self._low, 0.0), min(self._high, self.rod.stroke_mm)
        self._find_switch()
        self._read_pot()

    def _count_heat(self, current: float) -> None:
        self._heat_j += current * current * self._ohm * TICK_S
        self._warm_in -= 1
        if self._warm_in:
            return
        motor = self.rod.motor
        span = WARM_EVERY * TICK_S
        lost = (self.temperature_c - motor.ambient_c) / motor.cooling_k_per_w * span
        self.temperature_c += (self._heat_j - lost) / motor.heat_j_per_k
        self._heat_j, self._warm_in = 0.0, WARM_EVERY
        self._resistance()

    def _resistance(self) -> None:
        """Figures that follow from the winding's present resistance."""
        motor, screw = self.rod.motor, self.rod.screw
        cold = motor.resistance_ohm
        self._ohm = cold * (1.0 + COPPER_PER_K * (self.temperature_c - 20.0))
        self._constant = motor.constant_v_s_per_mm * motor.magnets
        # The response's square of the constant, in its denominator, is that of new magnets.
        self._gain = cold / (motor.response_ms / 1000.0 * motor.constant_v_s_per_mm) * motor.magnets
        drag = motor.drag_a_s_per_mm / motor.magnets
        self._rate_open = self._gain * max(drag, 1e-6)
        self._rate_closed = self._gain * (self._constant / self._ohm + drag)
        self._decay_open = math.exp(-self._rate_open * TICK_S)
        self._decay_closed = math.exp(-self._rate_closed * TICK_S)
        self._take_friction()
        newton_per_a = 1000.0 * self._constant
        self._resist = 1.0 / (screw.efficiency * newton_per_a)
        self._aid = screw.back_efficiency / newton_per_a


def _raw(share: float) -> float:
    return min(max(share * 8192.0 - 4.0, 0.0), 8184.0)
