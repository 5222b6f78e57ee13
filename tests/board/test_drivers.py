"""Every driver on its lines: what the bridge is told, for how long, and what a change shows.

The drive layer runs alone; the lines are looked at after every instruction, with Timer1 as the chip
has it (simboard.c): a compare value taken at TOP, a pin that comes back to its compare unit showing
what that unit showed last. The truth is the bridge's own table, by levels, not the firmware's.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest
from rodbench.emulator.plant_file import default_machine
from rodbench.emulator.signals import BRAKE, DRIVE, OFF
from rodbench_protocol.names import Driver

from tests.board import build
from tests.board.bootloaders import NEW, OLD, image
from tests.board.host import Host
from tests.board.simboard import (
    EXTERNAL,
    ONE_LINE,
    PWM_AND_LINE,
    TWO_LINES,
    TWO_PWM,
    Chip,
    SimBoard,
)

PERIOD_US = 50.0
PERIOD = 800  # cycles
FINE = 0.00125 + 4 / PERIOD  # half a step of the timer, and an instruction's length
WORDS = {
    TWO_LINES: Driver.PWM_AND_TWO_DIRECTION_LINES,
    ONE_LINE: Driver.PWM_AND_ONE_DIRECTION_LINE,
    TWO_PWM: Driver.TWO_PWM_INPUTS,
    PWM_AND_LINE: Driver.PWM_INPUT_AND_LINE,
}
KINDS = [(kind, axis) for kind in WORDS for axis in (0, 1) if (kind, axis) != (TWO_PWM, 1)]
every = pytest.mark.parametrize(("kind", "axis"), KINDS)
DARK = {"coasts", "pwm low"}
State = tuple[int, int]  # bridge, drive in permille
REST: list[State] = [(OFF, 0), (BRAKE, 0)]
DRIVES: list[State] = [(DRIVE, way * p) for way in (1, -1) for p in (1, 13, 250, 500, 987, 1000)]


def does(kind: str, axis: int, level: int) -> str:
    """What the bridge does while its lines have these levels."""
    a, b, p = (bool(level >> 3 * axis & 1 << bit) for bit in (0, 1, 2))
    if kind == TWO_LINES:
        if not p:
            return "coasts"
        return "brakes" if a == b else "drives +" if a else "drives -"
    if kind == ONE_LINE:
        assert not b
        return "pwm low" if not p else "drives +" if a else "drives -"
    second = bool(level >> 5 & 1) if kind == TWO_PWM else a
    if p == second:
        return "brakes" if p else "coasts"
    return "drives +" if p else "drives -"


class Lines:
    """The drive layer of one chip."""

    def __init__(self, kind: str, axis: int) -> None:
        self.kind, self.axis = kind, axis
        self.chip = Chip(build.drive_alone())
        self.order, size = self.chip.symbols["order"]
        assert size == build.offset_of("alarm", "outputs_t") + 1
        self.chip.run("cycles", 4 * PERIOD)
        self.chip.watch_lines()

    def put(self, state: State, driver: int | None = None) -> None:
        """A tick's outputs; the other axis is off, with the default driver."""
        bridge, drive = state
        number = WORDS[self.kind] if driver is None else driver
        at = {name: build.offset_of(name, "outputs_t") for name in ("drive", "bridge", "driver")}
        self.chip.poke(self.order + 2 * self.axis, drive.to_bytes(2, "little", signed=True))
        self.chip.poke(self.order + at["bridge"] + self.axis, bytes([bridge]))
        self.chip.poke(self.order + at["driver"] + self.axis, bytes([number]))
        self.chip.poke(self.chip.symbols["go"][0], b"\1")

    def seen(self, cycles: int) -> tuple[dict[str, float], dict[str, float]]:
        """Share of time, and the longest time in us, of what the bridge does."""
        self.chip.lines()
        self.chip.run("cycles", cycles)
        shares: dict[str, float] = {}
        longest: dict[str, float] = {}
        told, stood = self.chip.lines()
        for level, share in told.items():
            what = does(self.kind, self.axis, level)
            shares[what] = shares.get(what, 0.0) + share
            longest[what] = max(longest.get(what, 0.0), stood[level])
        return shares, longest

    def close(self) -> None:
        self.chip.close()


@pytest.fixture
def lines(kind: str, axis: int) -> Iterator[Lines]:
    found = Lines(kind, axis)
    yield found
    found.close()


def meant(kind: str, state: State) -> dict[str, float]:
    """Shares of time."""
    bridge, drive = state
    low = "pwm low" if kind == ONE_LINE else "coasts"
    if bridge != DRIVE:
        brakes = bridge == BRAKE and kind != ONE_LINE
        return {"brakes" if brakes else low: 1.0}
    between = "brakes" if kind == PWM_AND_LINE and drive < 0 else low
    share = abs(drive) / 1000
    return {"drives +" if drive > 0 else "drives -": share, between: 1 - share}


@every
def test_shares_of_time(lines: Lines) -> None:
    for state in REST + DRIVES:
        lines.put(state)
        lines.chip.run("cycles", 3 * PERIOD)
        shares, _ = lines.seen(40 * PERIOD)
        wanted = meant(lines.kind, state)
        assert set(shares) <= set(wanted)
        for what, share in wanted.items():
            assert shares.get(what, 0.0) == pytest.approx(share, abs=FINE), (
                state,
                what,
            )


@every
def test_a_pulse_comes_once_a_period(lines: Lines) -> None:
    for drive in (400, -400):
        lines.put((DRIVE, drive))
        lines.chip.run("cycles", 3 * PERIOD)
        _, longest = lines.seen(40 * PERIOD)
        assert longest["drives +" if drive > 0 else "drives -"] == pytest.approx(20.0, abs=0.5)


@every
def test_a_change_shows_no_wrong_pulse(lines: Lines) -> None:
    """From each state to each other, at many places of the period, except from one drive to the
    opposite, which the core never asks for. A drive that neither the old nor the new state has
    shows for less than a microsecond, a rest for no more than a period, and a beginning drive may
    show full output for a period."""
    some = [*REST, *((DRIVE, drive) for drive in (250, 900, -250, -900))]
    for old, new in itertools.permutations(some, 2):
        if old[1] * new[1] < 0:
            continue
        allowed = set(meant(lines.kind, old)) | set(meant(lines.kind, new))
        for offset in range(0, PERIOD, 61):
            lines.put(old)
            lines.chip.run("cycles", 2 * PERIOD + offset)
            lines.chip.lines()
            lines.put(new)
            _, longest = lines.seen(3 * PERIOD)
            wanted = max(abs(old[1]), abs(new[1])) / 1000
            for what, us in longest.items():
                if not what.startswith("drives"):
                    assert what in allowed or us <= PERIOD_US, (old, new, offset, what)
                elif what in allowed:
                    assert us <= (1 + wanted) * PERIOD_US, (old, new, offset, what)
                else:
                    assert us < 1.0, (old, new, offset, what)


@pytest.mark.parametrize(("kind", "axis"), [(TWO_LINES, 0), (TWO_LINES, 1)])
@pytest.mark.parametrize("state", [(BRAKE, 0), (DRIVE, 500), (DRIVE, -500)])
def test_a_driver_that_only_a_later_firmware_knows_stays_low(lines: Lines, state: State) -> None:
    lines.put(state, driver=Driver.PWM_INPUT_AND_LINE + 1)
    lines.chip.run("cycles", 2 * PERIOD)
    lines.chip.lines()
    lines.chip.run("cycles", 5 * PERIOD)
    assert set(lines.chip.lines()[0]) == {0}


@pytest.mark.parametrize(("kind", "axis"), [(TWO_PWM, 0)])
def test_both_pwm_inputs_change_in_the_same_turn(lines: Lines) -> None:
    """Wherever in the period they are written: one alone would drive for a period."""
    for offset in range(0, PERIOD, 3):
        for state in REST:
            lines.put(state)
            _, longest = lines.seen(3 * PERIOD + offset)
            assert set(longest) <= {"coasts", "brakes"}, (state, offset)


@every
@pytest.mark.parametrize("how", ["reset", "start anew"])
def test_a_new_start_is_dark(lines: Lines, how: str) -> None:
    """The chip's reset, and the program's own way to start anew, from every state."""
    for state in [(BRAKE, 0), (DRIVE, 600), (DRIVE, -600)]:
        lines.put(state)
        lines.chip.run("cycles", 2 * PERIOD + 300)
        lines.chip.lines()
        if how == "reset":
            lines.chip.call("pull_reset")
        else:
            lines.chip.poke(lines.chip.symbols["go"][0], b"\2")
        _, longest = lines.seen(3 * PERIOD)
        assert all(us < 1.5 for what, us in longest.items() if what not in DARK), longest


@pytest.mark.parametrize("bootloader", [NEW, OLD], ids=["new", "old"])
def test_all_lines_are_low_in_the_bootloader(bootloader: Path) -> None:
    """The pull-downs hold inputs low: then every kind of bridge coasts, or has PWM low."""
    chip = Chip(build.firmware(), flags=EXTERNAL)
    chip.bootloader(*image(bootloader))
    chip.watch_lines()
    chip.run("cycles", 8_000_000)
    told, _ = chip.lines()
    assert told == {0: 1.0}
    chip.close()


@pytest.mark.parametrize("kind", WORDS)
def test_the_whole_firmware_drives_this_kind(kind: str) -> None:
    machine = default_machine()
    machine.board.boot_ms = 5.0
    machine.rods[1].driver.kind = kind
    if kind == TWO_PWM:
        del machine.rods[2]
    simulated = SimBoard(machine)
    host = Host(simulated)
    host.open()
    host.settle(1, {"feedback": 1, "driver": WORDS[kind], "stop_by": 0})
    host.do("subscribe", axis_period_ms=10, board_period_ms=100)
    host.alive = True
    for value in (-250, 250):
        before = simulated.rig.plants[1].position_mm
        host.do("jog", axis=1, unit=0, value=value)
        host.step(60)
        assert simulated.chip.axis(0, kind) == (DRIVE, value)
        way = simulated.rig.plants[1].position_mm - before
        assert abs(way) > 0.1
        assert (way > 0) == ((value > 0) != machine.rods[1].motor.reversed)
        host.do("stop", axis=1, category=0)
        host.step(3)
        rest = OFF if kind == ONE_LINE else BRAKE
        assert simulated.chip.axis(0, kind) == (rest, 0.0)
        host.step(40)
