"""What the firmware costs, measured: `python -m tests.board.figures` (add --json for a program).

--local measures the whole program, with local inputs, for boards with the newer bootloader.

Flash and static RAM from the ELF file; stack, ticks and interrupts from a run of the binary in
simavr that does everything at once: both rods moving, telemetry at its fastest, settings changed,
stored and read, questions asked. The wait for the converter is not in a tick: nothing waits for it.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from rodbench.emulator.plant_file import default_machine
from rodbench_protocol.names import AxisState

from tests.board import build
from tests.board.host import Host, rod_settings
from tests.board.profile import Profile
from tests.board.simboard import RAM_BYTES, RAM_END, TICK_CYCLES, SimBoard

COMMIT = "commit beside a moving rod"
AIMS = {
    "flash": 28 * 1024,
    "static_ram": 1638,
    "worst_tick": TICK_CYCLES // 4,
    "interrupts_off": 800,
}
STACK_MARGIN = 96  # four times what the longest interrupt takes; the aim was 256
QUESTIONS: list[tuple[str, dict[str, int]]] = [
    ("digests", {}),
    ("counters", {}),
    ("outcome", {"axis": 1}),
    ("settings_get", {"which": 0, "scope": 1, "first_key": 1}),
    ("settings_get", {"which": 0, "scope": 2, "first_key": 30}),
]


def with_table(values: dict[str, int]) -> dict[str, int]:
    """And a linearity table of all its points: what takes longest to check and to follow."""
    span = values["raw_extended"] - values["raw_retracted"]
    table = {"table_points": 8}
    for point in range(1, 9):
        table[f"table_raw_{point}"] = values["raw_retracted"] + span * point // 9
        table[f"table_place_{point}"] = 65536 * point // 9
    return values | table


class Run:
    """The run that is measured; `worst` has the worst tick of each part."""

    def __init__(self, local: bool = False) -> None:
        machine = default_machine()
        machine.board.boot_ms = 5.0
        self.simulated = SimBoard(machine, elf=build.firmware(local=local))
        self.host = Host(self.simulated)
        self.worst: dict[str, int] = {}
        self.off = 0
        self.lowest_stack = 0xFFFF
        self.host.open()
        self.simulated.chip.call("measure")

    def part(self, name: str) -> None:
        """End a part of the run."""
        chip = self.simulated.chip
        self.worst[name] = chip.call("worst_tick")
        self.off = max(self.off, chip.call("longest_off"))
        self.lowest_stack = min(self.lowest_stack, chip.call("lowest_stack"))
        chip.call("measure")

    def do_all(self) -> None:
        """Everything, one thing after another and then at once."""
        host, rods = self.host, self.simulated.machine.rods
        for axis, rod in rods.items():
            host.settle(axis, with_table(rod_settings(rod)))
        self.part("settings")
        host.do("subscribe", axis_period_ms=10, board_period_ms=50)
        host.step(60)
        self.part("telemetry, at rest")
        host.alive = True
        places = {axis: host.axis(axis)["position_um"] for axis in rods}
        for axis, away in ((1, 30_000), (2, -30_000)):
            host.do("move", axis=axis, target_um=places[axis] + away, speed_um_s=0)
        host.step(200)
        self.part("two rods moving, telemetry")
        for name, fields in QUESTIONS:
            host.do(name, **fields)
        self.part("questions while moving")
        host.do("stop", axis=2, category=0)
        host.step(100)
        host.settle(2, with_table(rod_settings(rods[2])))
        assert host.axis(1)["state"] == AxisState.MOVE
        self.part(COMMIT)
        host.do("stop", axis=0, category=1)
        host.step(100)
        host.store()
        self.part("stop, store")
        self.gang()
        self.part("two rods as one")

    def gang(self) -> None:
        """Both level, then a move of both with all of their telemetry."""
        host = self.host
        for axis in (1, 2):
            host.do("move", axis=axis, target_um=80_000, speed_um_s=0)
        host.step(2000)
        host.settle(0, {"apart_trip_um": 6000})
        host.do("move", axis=1, target_um=120_000, speed_um_s=0)
        host.step(200)
        assert all(host.axis(axis)["state"] == AxisState.MOVE for axis in (1, 2))
        host.do("move", axis=2, target_um=60_000, speed_um_s=0)
        host.step(20)


def measure(local: bool = False) -> dict[str, Any]:
    """All figures."""
    elf = build.firmware(local=local)
    size = json.loads(build.run(["python3", str(build.FIRMWARE / "size.py"), str(elf), "--json"]))
    run = Run(local)
    run.do_all()
    chip = run.simulated.chip
    stack = RAM_BYTES - size["static_ram"] - chip.stack_left
    counters = run.host.do("counters")
    return {
        **size,
        "deepest_stack": stack,
        "stack_watched": RAM_END - 1 - run.lowest_stack,
        "stack_margin": chip.stack_left,
        "worst_tick": max(run.worst.values()),
        "worst_tick_by_part": run.worst,
        "interrupts_off": run.off,
        "late_ticks": counters["late_ticks"],
        "own_worst_tick_us": counters["worst_tick_us"],
    }


def spent() -> dict[str, float]:
    """Cycles per tick by function, both rods moving."""
    run = Run()
    host, rods = run.host, run.simulated.machine.rods
    for axis, rod in rods.items():
        host.settle(axis, rod_settings(rod))
    host.do("subscribe", axis_period_ms=10, board_period_ms=50)
    host.alive = True
    host.step(50)
    for axis, away in ((1, 30_000), (2, -30_000)):
        target = host.axis(axis)["position_um"] + away
        host.do("move", axis=axis, target_um=target, speed_um_s=0)
    host.step(50)
    profile = Profile(run.simulated)
    host.step(100)
    return profile.end()


def show(figures: dict[str, Any]) -> None:
    """For a person."""
    rows = [
        ("flash", f"{figures['flash']} bytes of 32768", figures["flash"] <= AIMS["flash"]),
        (
            "static RAM",
            f"{figures['static_ram']} bytes of 2048 (data {figures['data']}, bss {figures['bss']}, "
            f"noinit {figures['noinit']})",
            figures["static_ram"] <= AIMS["static_ram"],
        ),
        (
            "deepest stack",
            f"{figures['deepest_stack']} bytes, painted; {figures['stack_margin']} never touched",
            figures["stack_margin"] >= STACK_MARGIN,
        ),
        (
            "worst tick",
            f"{figures['worst_tick']} cycles of {TICK_CYCLES}",
            figures["worst_tick"] <= AIMS["worst_tick"],
        ),
        (
            "interrupts off",
            f"{figures['interrupts_off']} cycles at the longest",
            figures["interrupts_off"] <= AIMS["interrupts_off"],
        ),
        ("late ticks", str(figures["late_ticks"]), figures["late_ticks"] == 0),
    ]
    for name, words, good in rows:
        print(f"{name:16}{words}{'' if good else '   (beyond the aim)'}")
    for name, cycles in figures["worst_tick_by_part"].items():
        print(f"  worst tick, {name}: {cycles}")


def main(words: list[str]) -> int:
    """The figures; --profile adds where the cycles go."""
    try:
        figures = measure("--local" in words)
    except build.ToolsMissing as problem:
        print(f"error: {problem}", file=sys.stderr)
        return 1
    if "--json" in words:
        print(json.dumps(figures))
    else:
        show(figures)
    if "--profile" in words:
        print("cycles per tick with two rods moving, by function:")
        for name, cycles in list(spent().items())[:40]:
            print(f"  {cycles:8.0f}  {name}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
