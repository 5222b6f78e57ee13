"""Native core and twin side by side: the same readings and bytes, everything compared each tick."""

from __future__ import annotations

import ctypes as ct
import struct

from rodbench.emulator.signals import Outputs, Readings
from rodbench.emulator.twin.core import Twin
from rodbench.emulator.twin.duty import duty_tick
from rodbench.emulator.twin.noinit import NoInit, noinit_mark
from rodbench.emulator.twin.thermal import THERMAL_BITS

from tests.core.native import TEAR_BOTH, Board, CState

_AXIS = "hBBBBBBHHIiiihhHihhhIIIIIIB"
_STATE = struct.Struct("<II" + _AXIS * 2 + "HHBHBBBIIHHHHHBBBHBBBHIIHI")
assert _STATE.size == ct.sizeof(CState)
NAMES = [name for name, _ in CState._fields_]


class Differs(AssertionError):
    """Twin and core do not agree."""


class Pair:
    """`native` and `twin` from the same memory; `seen` are the native's states."""

    def __init__(self, lib: ct.CDLL, eeprom: bytes) -> None:
        self.native = Board(lib)
        self.native.eeprom[:] = eeprom
        self.eeprom = bytearray(eeprom)
        self.noinit: NoInit | None = None
        self.readings = Readings()
        self.out = Outputs()
        self.worn = False
        self.inputs = 1  # bits; the stop circuit is closed
        self.busy_every = 0

    def boot(self, flags: int, seed: int, power_lost: bool) -> None:
        """Start both; a power loss leaves rubbish in the RAM."""
        if power_lost:
            self.native.noinit[:] = b"\x5a" * len(self.native.noinit)
            self.noinit = None
        self.native.boot(flags, seed)
        self.twin = Twin(self.eeprom, self.noinit, flags, seed)
        self.noinit = self.twin.noinit

    def renew(self, eeprom: bytes) -> None:
        """Another memory, that works; the next start reads it."""
        self.native.eeprom[:] = self.eeprom[:] = eeprom
        self.worn, self.busy_every = False, 0

    def tick(
        self,
        rx: bytes,
        pot: list[int],
        current: list[int],
        supply: int,
        bandgap: int,
        local: tuple[int, int] = (0, 0),
        buttons: int = 0,
    ) -> None:
        """One tick of both."""
        native, readings = self.native, self.readings
        ready = int(not self.busy_every or self.twin.ticks % self.busy_every != 0)
        inputs = self.inputs | buttons << 1
        both = (pot[0], pot[1]), (current[0], current[1])
        native.set_readings(*both, supply, bandgap, ready, inputs, local)
        readings.ee_ready, readings.inputs, readings.local = ready, inputs, list(local)
        readings.pot, readings.current = pot, current
        readings.supply, readings.bandgap = supply, bandgap
        if rx:
            self.twin.receive(rx)
        native.tick(rx)
        self.out = out = self.twin.tick(readings)
        sent, twin_sent = native.sent(), self.twin.transmit()
        if native.state() != self._twin_state(out):
            raise Differs(self._difference(out))
        if sent != twin_sent:
            raise Differs(f"tick {self.twin.ticks}: sent {sent.hex()}, twin {twin_sent.hex()}")
        if out.ee_write and not self.worn:
            self.eeprom[out.ee_address] = out.ee_value
            native.eeprom[out.ee_address] = out.ee_value

    def age(self, index: int, ticks: int, on: bool) -> None:
        """Ticks that pass for a duty record alone."""
        for _ in range(ticks):
            duty_tick(self.twin.noinit.duty[index], on)
            self.native.lib.duty_tick(self.native.duty_address(index), int(on))

    def left(self, ticks: int) -> None:
        """So many ticks more since the host was last heard."""
        self.twin.heard -= ticks
        self.native.lib.harness_left(self.native.address, ticks)

    def warm(self, index: int, permille: int) -> None:
        """A motor is so warm, by both estimates."""
        self.twin.noinit.heat[index] = permille << THERMAL_BITS
        self.native.warm(index, permille)

    def tear(self, index: int, how: int) -> None:
        """Leaves a duty record with the older, the newer, or no copy that is good."""
        self.native.tear(index, how)
        if how == TEAR_BOTH:
            self.twin.noinit.duty[index].bin_ticks = 0

    def end_pause(self) -> None:
        """The time in which totals are not written again is over."""
        self.twin.noinit.totals.pause = 1
        self.native.end_pause()

    def late(self, count: int) -> None:
        """Ticks that ended late."""
        for _ in range(count):
            self.twin.late_tick()
            self.native.lib.core_late_tick(self.native.core_address)

    def mark(self, cause: int) -> None:
        """What the layer below does before a reset on purpose."""
        noinit_mark(self.twin.noinit, cause)
        self.native.lib.noinit_mark(self.native.noinit_address, cause)

    def spoil_nonce(self) -> None:
        """The record's magic survived, its nonce did not."""
        self.native.noinit[4] ^= 0x10
        self.twin.noinit.valid = False

    def compare_settings(self) -> None:
        """Settings in force; not in every tick, as they change by request only."""
        if self.native.digest_live() != self.twin.live.digest():
            raise Differs("settings in force")

    def _twin_state(self, out: Outputs) -> bytes:
        twin, counted = self.twin, self.twin.counters
        return _STATE.pack(
            twin.ticks,
            twin.faults,
            *self._axis(0, out),
            *self._axis(1, out),
            twin.supply_mv,
            twin.board_5v_mv,
            out.ee_write,
            out.ee_address,
            out.ee_value if out.ee_write else 0,
            out.restart,
            out.alarm,
            counted.requests_done,
            counted.frames_good,
            counted.frames_bad,
            counted.frames_dropped,
            counted.repeats,
            counted.alive_ignored,
            counted.unasked_dropped,
            twin.session.number,
            twin.draft.number,
            twin.store.writing != 0,
            twin.trips.number,
            len(twin.trips.waiting),
            twin.noinit.box.fault,
            len(twin.noinit.box.sample[0]),
            twin.noinit.totals.pause,
            *twin.noinit.heat,
            twin.hot.cover,
            twin.store.digest,
        )

    def _axis(self, index: int, out: Outputs) -> tuple[int, ...]:
        axis, duty = self.twin.axis[index], self.twin.noinit.duty[index]
        return (
            out.drive[index],
            out.bridge[index],
            out.driver[index],
            axis.state,
            axis.flags,
            axis.ended,
            axis.cause,
            axis.motion,
            axis.raw,
            axis.faults,
            axis.position_um,
            axis.speed_um_s,
            axis.reference_um,
            axis.current_ma,
            axis.output_permille,
            axis.rest_raw,
            axis.rest_position_um,
            axis.current_before_ma,
            axis.current_stop_ma,
            axis.current_probe_ma,
            axis.on_ticks,
            duty.sum + duty.count,
            duty.total,
            *self.twin.noinit.totals.axis[index].fields(),
            axis.also,
        )

    def _difference(self, out: Outputs) -> str:
        native = CState.from_buffer_copy(self.native.state())
        twin = CState.from_buffer_copy(self._twin_state(out))
        found = [f"tick {self.twin.ticks}"]
        for name in NAMES:
            if name != "axis" and getattr(native, name) != getattr(twin, name):
                found.append(f"{name}: core {getattr(native, name)}, twin {getattr(twin, name)}")
        for index in (0, 1):
            for name, _ in native.axis[index]._fields_:
                ours, theirs = getattr(native.axis[index], name), getattr(twin.axis[index], name)
                if ours != theirs:
                    found.append(f"axis {index + 1} {name}: core {ours}, twin {theirs}")
        return "\n".join(found)
