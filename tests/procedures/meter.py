"""A rod with unknown wires and a person with an ohm meter: the truth that identification is
judged by. The circuit is written down apart from the program's own idea of it.

`python -m tests.procedures.meter` prints the figures.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import permutations

from rodbench.science.identify import Battery, Identification, Move, Verdict
from rodbench.science.wirings import Probe, Reading

OPEN = math.inf
Error = Callable[[], float]


@dataclass
class Wires:
    """What hangs on each wire: M m (motor), A B W (pot), S s, T t (contacts), X (nothing), and
    V G O (supply, ground, output of a powered sensor), P (its second output).

    `place`: where the wiper stands, 0..1. At an end the motor reads through its end switch:
    `at_end` is "whole" (no switch), "open", or "diode" (finite one way). The contact S closes
    below `closes`, T above it.
    """

    roles: Sequence[str]
    place: float = 0.3
    motor_ohm: float = 6.0
    pot_ohm: float = 10_000.0
    at_end: str = "open"
    closes: float = 0.5
    pull_up_ohm: float = OPEN
    sensor_seed: int = 1
    later: list[float] = field(default_factory=lambda: [0.55, 0.4])
    leads: float = 0.3

    def ohm(self, red: int, black: int) -> float:
        """True resistance with the red probe on one wire and the black one on another."""
        one, two = self.roles[red], self.roles[black]
        both = {one, two}
        if both == {"M", "m"}:
            return self._motor(one == "M")
        if both == {"A", "B"}:
            return self.pot_ohm
        if "W" in both and both & {"A", "B"}:
            share = self.place if "A" in both else 1.0 - self.place
            return share * self.pot_ohm
        if both == {"S", "s"}:
            return 0.05 if self.place < self.closes else OPEN
        if both == {"T", "t"}:
            return 0.05 if self.place > self.closes else OPEN
        if both <= set("VGOP"):
            return self._sensor(one, two)
        return OPEN

    def _motor(self, forward: bool) -> float:
        if 0.0 < self.place < 1.0 or self.at_end == "whole":
            return self.motor_ohm
        open_way = self.place == 1.0
        if self.at_end == "diode" and forward != open_way:
            return 700_000.0
        return OPEN

    def _sensor(self, one: str, two: str) -> float:
        if math.isfinite(self.pull_up_ohm) and "G" not in (one, two):
            return self.pull_up_ohm * (1.0 if "V" in (one, two) else 2.0)
        low, high = sorted((one, two))
        draw = random.Random(f"{self.sensor_seed} {low} {high}")
        way = draw.uniform(1.0, 3.0)
        base = 10 ** draw.uniform(3.0, 6.3)
        return base if (one == low) else base * 10**way if way < 2.5 else OPEN

    def move(self) -> None:
        """The person moves the rod."""
        self.place = self.later.pop(0) if self.later else 0.5

    def battery_moves(self, wires: Sequence[int]) -> bool:
        """Whether the rod moves with a battery on two wires, tried both ways."""
        if {self.roles[w] for w in wires} == {"M", "m"}:
            self.move()
            return True
        return False


def measured(true: float, error: float, leads: float) -> Reading:
    """What a meter with this error shows; nothing beyond 20 Mohm."""
    return Reading(OPEN if true > 20e6 else true * (1.0 + error) + leads)


def identify(
    wires: Wires, error: Error = lambda: 0.0, movable: bool = True, motor: bool = True
) -> Identification:
    """Ask to the end, the meter answering."""
    found = Identification(len(wires.roles), motor)
    for _ in range(80):
        step = found.next()
        if step is None:
            return found
        if isinstance(step, Probe):
            found.read(step, measured(wires.ohm(step.red, step.black), error(), wires.leads))
        elif not movable:
            found.halt()
        elif isinstance(step, Battery):
            found.battery(step.wires, wires.battery_moves(step.wires))
        else:
            assert isinstance(step, Move)
            wires.move()
            found.moved()
    raise AssertionError("it never ends")


def wrong(verdict: Verdict, roles: Sequence[str]) -> list[str]:
    """Every claim that the truth contradicts."""
    found = []
    at = {role: wire for wire, role in enumerate(roles) if role != "X"}

    def check(claim: object, truth: object, what: str) -> None:
        if claim != truth:
            found.append(f"{what}: said {claim}, true {truth}")

    if not verdict.fits:
        return ["said to fit nothing"]
    if verdict.motor and not verdict.motor_by_elimination:
        check(set(verdict.motor), {at.get("M"), at.get("m")}, "motor")
    if verdict.pot_ends:
        check(set(verdict.pot_ends), {at.get("A"), at.get("B")}, "ends")
        check(verdict.wiper, at.get("W"), "wiper")
    if verdict.track:
        check(set(verdict.track), {at.get("A"), at.get("B"), at.get("W")}, "track")
    contacts = [{at.get("S"), at.get("s")}, {at.get("T"), at.get("t")}]
    found += [f"switch {s}" for s in verdict.switches if set(s) not in contacts]
    found += [f"sensor {w}" for w in verdict.sensor if roles[w] not in "VGOPX"]
    loose = "XSsTt" if verdict.open_pairs else "X"
    found += [f"spare {w}" for w in verdict.spare if roles[w] not in loose]
    words = {"M": "motor", "m": "motor", "A": "pot", "B": "pot", "W": "pot", "X": "spare"}
    words |= dict.fromkeys("SsTt", "switch") | dict.fromkeys("VGOP", "sensor")
    for wire, possible in verdict.unsure.items():
        word = words[roles[wire]]
        if word not in possible and not (word == "spare" and "sensor" in possible):
            found.append(f"wire {wire} is {word}, said to be one of {possible}")
    return found


def arrangements(roles: str) -> list[tuple[str, ...]]:
    """Every order of the wires."""
    return sorted(set(permutations(roles)))


def main() -> None:
    print("wires    place   error     wirings decided wrong  questions: mean worst")
    cases = ["Mm", "MmSs", "MmABW", "MmABWX", "MmSsTt", "MmVGO", "MmABWSs"]
    for roles in cases:
        orders = arrangements(roles)
        random.Random(1).shuffle(orders)
        for place in (0.0, 0.02, 0.3, 0.5, 0.97, 1.0):
            figures(roles, orders[:240], place)


def figures(roles: str, orders: Sequence[tuple[str, ...]], place: float) -> None:
    """A line of the table."""
    draw = random.Random(7)
    asked, decided, mistaken = [], 0, 0
    for order in orders:
        end = draw.choice(("open", "diode", "whole"))
        wires = Wires(order, place=place, at_end=end, sensor_seed=draw.randrange(1000))
        found = identify(wires, lambda: draw.uniform(-0.1, 0.1))
        verdict = found.verdict()
        asked.append(found.asked)
        decided += verdict.decided
        mistaken += bool(wrong(verdict, order))
    counts = f"{len(orders):>7} {decided:>7} {mistaken:>5}"
    questions = f"{sum(asked) / len(asked):>4.1f} {max(asked):>5}"
    print(
        f"{roles:<8} {100 * place:>4.0f} %   +-10 %    {counts}             {questions}", flush=True
    )


if __name__ == "__main__":
    main()
