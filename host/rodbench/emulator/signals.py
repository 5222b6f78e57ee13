"""What passes between the board's firmware and the machine in each tick."""

from __future__ import annotations

from dataclasses import dataclass, field

OFF, BRAKE, DRIVE = 0, 1, 2  # enum bridge of the schema


@dataclass(slots=True)
class Readings:
    """One tick's completed conversions: pots are sums of 8, currents sums of 4, the rest single.

    `bandgap` holds the last reading, 0 until there is one; `local` a stick's conversion or a
    pulse's width in us, 0 for none; `ee_ready` is 1 when a byte may be written to the EEPROM.
    `inputs` are the bits of the schema's `inputs`: 1 is closed to ground.
    """

    pot: list[int] = field(default_factory=lambda: [0, 0])
    current: list[int] = field(default_factory=lambda: [0, 0])
    supply: int = 0
    bandgap: int = 0
    local: list[int] = field(default_factory=lambda: [0, 0])
    inputs: int = 0
    ee_ready: int = 1


@dataclass(slots=True)
class Outputs:
    """What the firmware wants in this tick: signed permille on the lines, and the bridge's state.

    `drive` is 0 unless the axis's `bridge` is DRIVE. `driver` says how that bridge is wired (enum
    driver of the schema). `ee_write` 1 writes `ee_value` to `ee_address`; `restart` 1 asks for a
    reset.
    """

    drive: list[int] = field(default_factory=lambda: [0, 0])
    bridge: list[int] = field(default_factory=lambda: [OFF, OFF])
    driver: list[int] = field(default_factory=lambda: [0, 0])
    ee_write: int = 0
    ee_address: int = 0
    ee_value: int = 0
    restart: int = 0
    alarm: int = 0
