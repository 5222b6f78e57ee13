"""Random machines, seeded: what tests and figures are run on. All figures invented.

Ranges: strokes 20-600 mm, 5-60 mm/s loaded with the full stroke in 4 to 40 s, 12 and 24 V, four
polarities, pot spans 40-98 % of the reference, noise to 2 LSB rms a conversion, both kinds of end,
friction 4-20 % of stall, load to +-30 % of stall, supply sagging by up to 15 % at stall. Loads that
would drive the resting rod back are left out: they need a mechanical brake, not a soft stop. So
are rods that 40 % of their stall current does not start: creep could not move them when warm.
"""

from __future__ import annotations

import math
import random

from rodbench.emulator.load import Load
from rodbench.emulator.plant import Ends, Motor, Rod, Screw, Sensor
from rodbench.emulator.plant_file import Machine, Supply
from rodbench.emulator.wiper import Pot


def random_machine(
    seed: int,
    *,
    axes: int = 1,
    stroke_mm: tuple[float, float] = (20.0, 600.0),
    correlated: float = 0.0,
    end: str | None = None,
) -> Machine:
    """The machine of a seed. `correlated` is the share of noise power common to a tick; `end`
    fixes the kind of end ("switch", "hard", "clutch")."""
    draw = random.Random(f"rodbench plant {seed}")
    volts = draw.choice((12.0, 24.0)) * draw.uniform(0.98, 1.06)
    rods = {axis: _rod(draw, axis, volts, stroke_mm) for axis in range(1, axes + 1)}
    for rod in rods.values():
        rod.pot.noise_correlated = correlated
        rod.ends.kind = end or rod.ends.kind
        rod.ends.clutch_a = 0.7 * volts / rod.motor.resistance_ohm
    least = min(rod.motor.resistance_ohm for rod in rods.values())
    sag = draw.uniform(0.0, 0.15)
    return Machine(
        name=f"random {seed}",
        seed=seed,
        supply=Supply(
            volts=round(volts, 3),
            source_ohm=round(sag * least / (1.0 - sag), 4),
            divider_ratio=5.71 if volts < 20.0 else 8.33,
        ),
        rods=rods,
    )


def running_a(rod: Rod, sense: int) -> float:
    """Current in A against friction and load at mid stroke, drag aside; `sense` +1 or -1."""
    motor, screw = rod.motor, rod.screw
    force = rod.load.at(rod.stroke_mm / 2.0) * sense
    passed = force / screw.efficiency if force > 0.0 else force * screw.back_efficiency
    friction = motor.friction_extend_a if sense > 0 else motor.friction_retract_a
    return friction + passed / (1000.0 * motor.constant_v_s_per_mm)


def full_speed(rod: Rod, volts: float, sense: int) -> float:
    """Steady speed in mm/s at full output from a stiff supply, at mid stroke; `sense` +1 or -1."""
    motor = rod.motor
    spare = volts - motor.resistance_ohm * running_a(rod, sense)
    return spare / (motor.constant_v_s_per_mm + motor.resistance_ohm * motor.drag_a_s_per_mm)


def _rod(draw: random.Random, axis: int, volts: float, strokes: tuple[float, float]) -> Rod:
    while True:
        rod = _candidate(draw, axis, volts, strokes)
        speeds = [full_speed(rod, volts, sense) for sense in (1, -1)]
        quick = all(5.0 <= speed <= 60.0 for speed in speeds)
        if not quick or not all(4.0 <= rod.stroke_mm / speed <= 40.0 for speed in speeds):
            continue
        if _holds(rod) and _starts_at_creep(rod, volts):
            return rod


def _holds(rod: Rod) -> bool:
    """Whether friction alone keeps the rod where it is, with a fifth to spare."""
    newton_per_a = 1000.0 * rod.motor.constant_v_s_per_mm
    most = max(abs(rod.load.at(0.0)), abs(rod.load.at(rod.stroke_mm)))
    aid = most * max(rod.screw.back_efficiency, 0.0) / newton_per_a
    return aid < 0.8 * min(rod.motor.friction_extend_a, rod.motor.friction_retract_a)


def _starts_at_creep(rod: Rod, volts: float) -> bool:
    """Whether 40 % of the stall current starts the rod anywhere: creep is capped at 60 % output,
    and a warm winding and a sagging supply take their part of it."""
    motor, screw = rod.motor, rod.screw
    newton_per_a = 1000.0 * motor.constant_v_s_per_mm
    for sense, friction in ((1, motor.friction_extend_a), (-1, motor.friction_retract_a)):
        for place in (0.0, rod.stroke_mm):
            force = rod.load.at(place) * sense
            passed = force / screw.efficiency if force > 0.0 else force * screw.back_efficiency
            start = friction * motor.stiction + passed / newton_per_a
            if start > 0.4 * volts / motor.resistance_ohm:
                return False
    return True


def _candidate(draw: random.Random, axis: int, volts: float, strokes: tuple[float, float]) -> Rod:
    stroke = math.exp(draw.uniform(math.log(strokes[0]), math.log(strokes[1])))
    speed = math.exp(draw.uniform(math.log(5.0), math.log(60.0)))
    stall = draw.uniform(2.5, 12.0)
    friction = draw.uniform(0.04, 0.20) * stall
    resistance = volts / stall
    constant = (volts - resistance * friction) / speed
    efficiency = draw.uniform(0.2, 0.6)
    load = draw.uniform(-0.3, 0.3) * stall * efficiency * 1000.0 * constant
    motor = Motor(
        resistance_ohm=resistance,
        constant_v_s_per_mm=constant,
        response_ms=draw.uniform(25.0, 80.0),
        friction_extend_a=friction * draw.uniform(0.9, 1.1),
        friction_retract_a=friction * draw.uniform(0.9, 1.1),
        stiction=draw.uniform(1.0, 1.25),
        drag_a_s_per_mm=draw.uniform(0.0, 0.05) * stall / speed,
        reversed=draw.random() < 0.5,
    )
    return Rod(
        name=f"random-{axis}",
        stroke_mm=round(stroke, 1),
        start_mm=round(stroke * draw.uniform(0.1, 0.9), 1),
        motor=motor,
        screw=Screw(efficiency=efficiency, back_efficiency=max(2.0 - 1.0 / efficiency, -1.0)),
        load=_load(draw, load, stroke),
        ends=Ends(kind=draw.choice(("switch", "hard"))),
        pot=_pot(draw),
        sensor=_sensor(draw, stall),
    )


def _load(draw: random.Random, force: float, stroke: float) -> Load:
    if force > 0.0 and draw.random() < 0.3:
        return Load(kind="spring", spring_n_per_mm=force / stroke)
    return Load(force_n=force)


def _pot(draw: random.Random) -> Pot:
    span = draw.uniform(0.40, 0.98)
    low = draw.uniform(0.01, 0.99 - span)
    low, high = round(low, 6), round(low + span, 6)
    rises = draw.random() < 0.5
    return Pot(
        retracted=low if rises else high,
        extended=high if rises else low,
        noise_lsb=draw.uniform(0.1, 2.0),
    )


def _sensor(draw: random.Random, stall: float) -> Sensor:
    """A gain in whole mV/A with which 1.1 to 2 times the stall current fills the converter."""
    gain = round(5.0 / (stall * draw.uniform(1.1, 2.0)), 3)
    return Sensor(v_per_a=gain, zero_v=draw.uniform(0.0, 0.05), noise_lsb=draw.uniform(0.2, 1.0))
