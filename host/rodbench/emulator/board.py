"""An emulated board: twin, rig and line in lockstep, one tick at a time."""

from __future__ import annotations

import json
import os
import random
import zlib
from pathlib import Path

from rodbench_protocol.names import LocalSource

from rodbench.emulator.on_line import BoardOnLine
from rodbench.emulator.plant_file import Machine, dump
from rodbench.emulator.signals import OFF, Readings
from rodbench.emulator.twin.core import KIND, Twin
from rodbench.emulator.twin.noinit import NoInit
from rodbench.errors import SettingsError

EEPROM_BYTES = 1024
POWER_ON, EXTERNAL, BROWN_OUT, WATCHDOG = 1, 2, 4, 8  # reset flags, as the chip has them
FLAGS = {"power_on": POWER_ON, "external": EXTERNAL, "watchdog": WATCHDOG, "restart": 0}
SAVE_AFTER_TICKS = 100  # quiet ticks after a change before the state is written


def _same_kind(machine: Machine) -> None:
    if machine.board.kind != KIND.word:
        raise SettingsError(
            f"{machine.name}: board.kind is {machine.board.kind}; the emulator's is {KIND.word}",
            kept="no emulator was started",
            hint="Leave board.kind out of the plant file.",
        )


def _record(kept: bytes) -> NoInit | None:
    """What RAM kept; of another version as little as after a power loss."""
    try:
        return NoInit.from_bytes(kept)
    except ValueError:
        return None


class EmulatedBoard(BoardOnLine):
    """A board with a machine on it. `write` and `read` are the host's end of the serial line.

    A step is the 5 ms up to a tick of the firmware, and that tick: the machine moves under the
    outputs of the tick before and is read, bytes travel both ways, then the firmware takes what
    arrived and the readings, and decides; what it sends travels in the next step. While a reset
    lasts (`boot_ms`) outputs are off and bytes go nowhere.
    """

    def __init__(
        self,
        machine: Machine,
        *,
        eeprom: bytes | None = None,
        state_file: Path | None = None,
        seed: int | None = None,
    ) -> None:
        _same_kind(machine)
        super().__init__(machine, seed)
        self.eeprom = bytearray(eeprom if eeprom is not None else b"\xff" * EEPROM_BYTES)
        self._state_file = state_file
        self._changed_at: int | None = None
        self._last_write: tuple[int, int] | None = None
        self._kept: NoInit | None = None  # what survives the reset under way, and its flags
        self._flags = 0
        noinit = self._load_state()
        self._boot(noinit, POWER_ON if noinit is None else EXTERNAL)

    # ------------------------------------------------------------ a tick

    def _tick(self) -> None:
        out = self.outputs
        readings = self.rig.step(out.drive, out.bridge)
        arrived = self._down.pull()
        come = self._up.pull()  # what was sent at earlier boundaries
        if come:
            self._received += come
        self.ticks += 1
        if self._silent:
            self._wait_for_boot()
        else:
            twin = self.twin
            if arrived:
                twin.receive(arrived)
            self._read_pulses(readings)
            out = self.outputs = twin.tick(readings)
            if out.ee_write:
                self._write_eeprom(out.ee_address, out.ee_value)
            sent = twin.transmit()
            if sent:
                self._up.push(sent)
            if out.restart:
                self.reset("restart")
        if self._state_file is not None:
            self._keep_state()

    def _read_pulses(self, readings: Readings) -> None:
        """A stick was converted anyway; where the axis wants a pulse, that is its reading."""
        for index, scope in enumerate(self.twin.live.scope[1:]):
            if scope.local_source == LocalSource.PULSE:
                readings.local[index] = self.rig.hands.pulse(index)

    def _wait_for_boot(self) -> None:
        self._silent -= 1
        if self._silent == 0:
            self._boot(self._kept, self._flags)

    def _write_eeprom(self, address: int, value: int) -> None:
        self._last_write = (address, self.eeprom[address])
        self.eeprom[address] = value
        self._changed_at = self.ticks

    # ------------------------------------------------------------ resets

    def reset(self, cause: str = "external") -> None:
        """Restart the board: "external", "watchdog" or "restart". RAM that survives is kept."""
        # A board that has not started yet since a power cut still has no RAM to keep.
        booting = self._flags if self._silent else 0
        self._begin_reset(self._surviving, FLAGS[cause] | booting)

    @property
    def _surviving(self) -> NoInit | None:
        return self._kept if self._silent else self.twin.noinit

    def power_cut(self, off_ticks: int = 100, torn: int | None = None) -> None:
        """Cut the board's and the motors' power for `off_ticks`, then start it again.

        `torn`: what the byte reads whose EEPROM write was under way, if there was one.
        """
        if torn is not None and self._last_write is not None:
            self.eeprom[self._last_write[0]] = torn
        self._down.drop()
        self._begin_reset(None, POWER_ON, off_ticks)

    def _begin_reset(self, noinit: NoInit | None, flags: int, ticks: int = 0) -> None:
        self._kept, self._flags = noinit, flags
        self._up.drop()  # the board's own buffer
        self._fall_silent(ticks)

    def _boot(self, noinit: NoInit | None, flags: int) -> None:
        self.boots += 1
        self._last_write = None
        nonce = random.Random(f"{self._seed} boot {self.boots}").getrandbits(16)
        self.rig.restart_scan()
        self.twin = Twin(self.eeprom, noinit, flags, nonce)

    # ------------------------------------------------------------ kept between commands

    def _fingerprint(self) -> int:
        return zlib.crc32(dump(self.machine).encode())

    def _keep_state(self) -> None:
        if any(state != OFF for state in self.outputs.bridge) and any(self.outputs.drive):
            self._changed_at = self.ticks
        elif self._changed_at is not None and self.ticks - self._changed_at > SAVE_AFTER_TICKS:
            self.save()

    def save(self) -> None:
        """Write EEPROM, rod positions and surviving RAM to the state file, whole or not at all."""
        if self._state_file is None:
            return
        self._changed_at = None
        surviving = self._surviving
        state = {
            "emulator_state": 1,
            "plant": self._fingerprint(),
            "boots": self.boots,
            "eeprom": self.eeprom.hex(),
            "noinit": surviving.to_bytes().hex() if surviving else "",
            "positions_mm": {str(n): p.position_mm for n, p in self.rig.plants.items()},
        }
        new = self._state_file.with_suffix(".new")
        new.write_text(json.dumps(state), "utf-8")
        os.replace(new, self._state_file)

    def _load_state(self) -> NoInit | None:
        """Take up the kept state; rods stand where they were when the plant is still the same."""
        if self._state_file is None or not self._state_file.exists():
            return None
        try:
            state = json.loads(self._state_file.read_text("utf-8"))
            eeprom = bytes.fromhex(state["eeprom"])
            noinit = _record(bytes.fromhex(state["noinit"]))
            positions = {int(axis): float(mm) for axis, mm in state["positions_mm"].items()}
            boots, plant = int(state["boots"]), state["plant"]
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None  # a damaged file: a board as from the shop
        if len(eeprom) != EEPROM_BYTES:
            return None
        self.eeprom[:] = eeprom
        self.boots = boots
        if plant == self._fingerprint():
            for axis, place in positions.items():
                self.rig.plants[axis].place(place)
        return noinit

    def close(self) -> None:
        """Keep the state, if there is a file for it."""
        self.save()
