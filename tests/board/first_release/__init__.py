"""What the first release left behind: its program, and an EEPROM image that it wrote.

`python -m tests.board.first_release` makes settings.json anew: firmware.hex (the build of version
0.1.0, protocol 1.0, `make` with its default options) runs in the simulator, is given the settings
below over the line, and stores them twice, so that the newer copy is the second slot. It then tells
every key by itself. Keys that came later must not be added here.
"""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

from rodbench_protocol.names import Which
from rodbench_protocol.settings import KEYS

from tests.board import build
from tests.board.bootloaders import program
from tests.board.host import Host
from tests.board.session_board import codes_of
from tests.board.simboard import BOOT_CYCLES, EEPROM_BYTES, OK, RAM_BYTES, Chip

HERE = Path(__file__).parent
PROGRAM = HERE / "firmware.hex"
SETTINGS = HERE / "settings.json"
READINGS = {"pot": [4000, 4000], "current": [7, 0], "supply": 431, "bandgap": 225}
BOARD = {"board_id": 5419975, "supply_ratio_x1000": 5710, "supply_calibrated": 1}
AXIS_1 = {  # a calibrated rod of 203 mm; invented
    "feedback": 1, "calibrated": 1, "motor_reversed": 1, "raw_retracted": 7414, "raw_extended": 615,
    "stroke_um": 203_000, "soft_stop_min_um": 3_000, "soft_stop_max_um": 188_000,
    "speed_max_um_s": 8_000, "acceleration_um_s2": 20_000, "deceleration_um_s2": 30_000,
    "creep_output_permille": 290, "current_uv_per_ma": 185, "current_zero": 7, "trip_ma": 2_900,
    "stall_time_ms": 320, "running_ma": 640, "full_speed_extend_um_s": 8_100,
    "full_speed_retract_um_s": 8_600, "speed_supply_mv": 12_300, "dead_zone_extend_permille": 140,
    "dead_zone_retract_permille": 130, "run_on_extend_um": 310, "run_on_retract_um": 400,
    "noise_x16": 18, "duty_share_permille": 250, "pot_margin_raw": 200,
}  # fmt: skip


class Bare:
    """A chip under constant readings, with the surface that Host wants."""

    def __init__(self, code: bytes | None, eeprom: bytes = b"\xff" * EEPROM_BYTES) -> None:
        self.chip = Chip(build.firmware(), eeprom, random.Random(3).randbytes(RAM_BYTES))
        if code is not None:
            self.chip.program(code)
        self.chip.codes(codes_of(READINGS))
        self.ticks = 0

    def write(self, data: bytes) -> None:
        """Bytes to the chip."""
        self.chip.send(data)

    def read(self) -> bytes:
        """Bytes from the chip."""
        return self.chip.take()

    def step(self, ticks: int = 1) -> None:
        """Let ticks pass."""
        for _ in range(ticks):
            assert self.chip.tick(BOOT_CYCLES) == OK
            self.ticks += 1


def told(host: Host, scope: int) -> dict[str, int]:
    """Every setting that a board tells of a scope, by the names that this edition has for it."""
    names = {k.id: k.name for k in KEYS["axis" if scope else "board"]}
    found: dict[str, int] = {}
    first = 1
    while items := host.do("settings_get", which=Which.LIVE, scope=scope, first_key=first)["items"]:
        found |= {names[item["key"]]: item["value"] for item in items}
        first = items[-1]["key"] + 1
    return found


def settle_board(host: Host, values: dict[str, int]) -> None:
    """Draft and commit settings of the board."""
    ids = {k.name: k.id for k in KEYS["board"]}
    host.do("draft_begin", scope=0)
    items = [{"key": ids[name], "value": value} for name, value in values.items()]
    host.do("draft_set", scope=0, items=items)
    host.do("draft_commit", scope=0)


def make() -> dict[str, Any]:
    """What settings.json should hold."""
    board = Bare(program(PROGRAM))
    host = Host(board)
    host.open()
    settle_board(host, BOARD)
    host.store()
    host.settle(1, AXIS_1)
    host.heard.clear()  # the end of the first store
    host.store()
    digests = host.do("digests")
    assert digests["stored"] == digests["live"]
    return {
        "digest": f"{digests['stored']:08X}",
        "scopes": [told(host, scope) for scope in (0, 1, 2)],
        "eeprom": [board.chip.eeprom[at : at + 32].hex() for at in range(0, EEPROM_BYTES, 32)],
    }


def kept() -> dict[str, Any]:
    """What settings.json holds."""
    found: dict[str, Any] = json.loads(SETTINGS.read_text("utf-8"))
    return found


def eeprom() -> bytes:
    """The image."""
    return bytes.fromhex("".join(kept()["eeprom"]))
