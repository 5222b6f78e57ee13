"""Random benches, seeded: whatever a builder may have in hand, with its truth. Figures invented.

To the machines of random_plants.py come: rods with two wires, wipers on a wrong lead, worn tracks,
rods mounted in a machine, four drivers that brake or coast, three kinds of current sensor, inches,
rods that start at an end, either axis, clutches, boards off 5 V, and people who are wrong about
what is in front of them. Each bench says what a correct tool may end with. Not drawn: a person who
calls a mounted rod free; nothing on the wires could tell.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from rodbench.emulator.plant import Driver, Mount, Rod, Sensor
from rodbench.emulator.plant_file import BoardFigures, Machine
from rodbench.emulator.plant_keys import DRIVERS
from rodbench.emulator.random_plants import random_machine, running_a

# What a tool may end with. The first three are ends of the whole procedure, the rest refusals.
COMMISSIONED, TIMED, HELD = "commissioned", "timed", "hold-to-run"
WIPER, POT, SENSOR, ANSWERS, MOUNT, MOTOR = "wiper", "pot", "sensor", "answers", "mount", "motor"
NO_END = "no end"

PIN_TO_PIN_MM = 105.0  # of a retracted rod
FUSES_A = (3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 30.0)
MM_PER_IN = 25.4
# A hot winding held at creep's 60 % output draws too little more than running for an end to show.
CREEP_MOST, HOT, RISE = 0.6, 1.4, 1.25


@dataclass(slots=True)
class RandomBench:
    """A machine with one rod, on `axis`; what a person would say of it, by question; what is true
    in a word or two (`row`); and the endings that a correct tool may have (`allowed`)."""

    seed: int
    machine: Machine
    axis: int
    facts: dict[str, str]
    row: str = ""
    allowed: frozenset[str] = frozenset()
    stop_by: str = "brake"
    units: str = "mm"
    known: bool = False  # a mounted rod whose own ends were found on the bench before
    lie: str = ""  # what the person is wrong about, in words
    lies: dict[str, str] = field(default_factory=dict)  # question -> "wrong" or "not seen"

    @property
    def rod(self) -> Rod:
        """The rod's figures."""
        return self.machine.rods[self.axis]

    @property
    def two_wires(self) -> bool:
        """Whether the rod has no pot."""
        return not self.rod.pot.fitted


def random_bench(seed: int) -> RandomBench:
    """The bench of a seed."""
    draw = random.Random(f"rodbench bench {seed}")
    machine = random_machine(seed)
    rod = machine.rods.pop(1)
    axis = _driver(draw, rod)
    machine.rods[axis] = rod
    machine.board = BoardFigures(reference_v=round(draw.uniform(4.75, 5.1), 3))
    stall = machine.supply.volts / rod.motor.resistance_ohm
    if draw.random() < 0.15:
        rod.ends.kind, rod.ends.clutch_a = "clutch", 0.7 * stall
    rod.sensor = _sensor(draw, rod, stall)
    _feedback(draw, rod)
    _place(draw, rod)
    bench = RandomBench(seed, machine, axis, {})
    bench.stop_by = _stop_by(draw, rod)
    bench.units = draw.choice(("mm", "mm", "in"))
    bench.known = rod.mount.fitted and draw.random() < 0.5
    bench.facts = _facts(bench, stall)
    _person(draw, bench)
    bench.row, bench.allowed = _truth(bench)
    return bench


# ---------------------------------------------------------------- the draw


def _driver(draw: random.Random, rod: Rod) -> int:
    """Draws the driver; gives the axis that the rod is on."""
    kind = draw.choice((DRIVERS[0], *DRIVERS))
    rod.driver = Driver(kind, draw.choice(("coast", "brake")))
    return 1 if kind == "two-pwm-inputs" else draw.choice((1, 1, 2))


def _stop_by(draw: random.Random, rod: Rod) -> str:
    if rod.driver.kind == "pwm-and-one-direction-line":
        return rod.driver.pwm_low
    return draw.choice(("brake", "brake", "coast"))


def _sensor(draw: random.Random, rod: Rod, stall: float) -> Sensor:
    kind = draw.choice(("none", "one-sided", "one-sided", "centred", "centred"))
    sensor = rod.sensor
    sensor.kind, sensor.ratiometric = kind, draw.random() < 0.5
    if kind == "centred":
        sensor.v_per_a = round(2.4 / (stall * draw.uniform(1.1, 2.0)), 3)
        sensor.zero_v = draw.uniform(2.4, 2.6)
    return sensor


def _feedback(draw: random.Random, rod: Rod) -> None:
    pot, what = rod.pot, draw.random()
    pot.resistance_ohm = draw.choice((5000.0, 10_000.0))
    if what < 0.25:
        pot.fitted = False
    elif what < 0.40:
        pot.wired = draw.choice(("wiper-on-supply", "wiper-on-ground"))
        pot.series_ohm = draw.choice((0.0, 470.0, 1000.0))
    elif what < 0.55:
        wide = rod.stroke_mm * draw.choice((draw.uniform(0.02, 0.05), draw.uniform(0.15, 0.4)))
        pot.worn_from_mm = draw.uniform(0.0, rod.stroke_mm - wide)
        pot.worn_to_mm = pot.worn_from_mm + wide
        pot.worn_share = draw.uniform(0.05, 0.6)
    elif what < 0.65:
        pot.repeat_mm = rod.stroke_mm * draw.uniform(0.0003, 0.001)


def _place(draw: random.Random, rod: Rod) -> None:
    """Mounted with the rod well inside, or free with the rod anywhere, an end among it."""
    stroke, where = rod.stroke_mm, draw.random()
    if where < 0.25:
        low = stroke * draw.uniform(0.05, 0.3) if draw.random() < 0.8 else 0.0
        high = stroke * draw.uniform(0.7, 0.95) if draw.random() < 0.8 or not low else 0.0
        rod.mount = Mount(round(low, 1), round(high, 1))
        inside = (rod.mount.max_mm or stroke) - rod.mount.min_mm
        rod.start_mm = round(rod.mount.min_mm + inside * draw.uniform(0.25, 0.75), 1)
    elif where < 0.40:
        rod.start_mm = draw.choice((0.0, stroke))


# ---------------------------------------------------------------- the person


def _facts(bench: RandomBench, stall: float) -> dict[str, str]:
    """True answers to what a person is asked before anything moves, by question."""
    rod = bench.rod
    lengths = (PIN_TO_PIN_MM, PIN_TO_PIN_MM + rod.stroke_mm)
    short, long = (
        f"{mm / MM_PER_IN:.4f} in" if bench.units == "in" else f"{mm} mm" for mm in lengths
    )
    return {
        "rod": "north",
        "wires": "motor only" if bench.two_wires else "motor + pot",
        "mounting": "mounted" if rod.mount.fitted else "bench",
        "retracted_pin_to_pin": short,
        "extended_pin_to_pin": long,
        "driver": rod.driver.kind,
        "current_sensor": rod.sensor.kind,
        "current_sensor_v_per_a": str(rod.sensor.v_per_a),
        "current_sensor_ratiometric": "yes" if rod.sensor.ratiometric else "no",
        "fuse_a": str(next(size for size in FUSES_A if size >= stall)),
        "accept": "accept",
    }


def _person(draw: random.Random, bench: RandomBench) -> None:
    """One person in eight is wrong about something, or does not look."""
    if draw.random() >= 0.125:
        return
    kind = bench.rod.sensor.kind
    choices = {
        "says a pot where none is": bench.two_wires,
        "says the other kind of sensor": kind != "none",
        "says a sensor where none is": kind == "none",
        "one answer wrong": True,
        "both answers wrong": True,
        "did not look": True,
    }
    bench.lie = draw.choice([name for name, fits in choices.items() if fits])
    if bench.lie == "says a pot where none is":
        bench.facts["wires"] = "motor + pot"
    elif bench.lie == "says the other kind of sensor":
        bench.facts["current_sensor"] = "centred" if kind == "one-sided" else "one-sided"
    elif bench.lie == "says a sensor where none is":
        bench.facts["current_sensor"] = draw.choice(("one-sided", "centred"))
    elif bench.lie == "did not look":
        bench.lies = {"run_a": "not seen", "run_b": "not seen"}
    else:
        bench.lies = {"run_a": "wrong"} | ({"run_b": "wrong"} if "both" in bench.lie else {})


def _truth(bench: RandomBench) -> tuple[str, frozenset[str]]:
    """What is true in a word or two, and how a correct tool may end."""
    rod, pot = bench.rod, bench.rod.pot
    if bench.lie:
        return f"person: {bench.lie}", _after_lie(bench)
    if not pot.fitted:
        return _two_wires(rod, bench.machine.supply.volts)
    if pot.wired != "right":
        return f"{pot.wired.replace('-', ' ')} lead", frozenset({WIPER})
    mounted = ", mounted" if rod.mount.fitted else ""
    mounted += ", known" if bench.known else ""
    if pot.worn:
        wide = pot.worn_to_mm - pot.worn_from_mm > 0.1 * rod.stroke_mm
        return f"{'wide' if wide else 'narrow'} worn zone", frozenset({COMMISSIONED, POT})
    return f"pot, sensor {rod.sensor.kind}{mounted}", frozenset({COMMISSIONED})


def _two_wires(rod: Rod, volts: float) -> tuple[str, frozenset[str]]:
    if rod.mount.fitted:
        return "two wires, mounted", frozenset({MOUNT, HELD})
    if rod.sensor.kind == "none":
        return "two wires, no sensor", frozenset({HELD})
    held = CREEP_MOST * volts / (HOT * rod.motor.resistance_ohm)
    shows = rod.ends.kind == "switch" or held > RISE * max(running_a(rod, way) for way in (1, -1))
    allowed = {TIMED} if shows else {TIMED, NO_END}
    return f"two wires, sensor {rod.sensor.kind}", frozenset(allowed)


def _after_lie(bench: RandomBench) -> frozenset[str]:
    """Nothing that is stored may rest on the lie; other faults of the bench may be met first."""
    pot, rod = bench.rod.pot, bench.rod
    found = {
        "says a pot where none is": {POT, WIPER},
        "says the other kind of sensor": {SENSOR},
        "says a sensor where none is": {SENSOR, MOTOR, COMMISSIONED},
    }.get(bench.lie, {ANSWERS})
    met = set()
    if pot.fitted and pot.wired != "right":
        met.add(WIPER)
    if pot.fitted and pot.worn:
        met.add(POT)
    if not pot.fitted and (rod.mount.fitted or rod.sensor.kind == "none"):
        met |= {MOUNT, HELD}
    return frozenset(found | met)
