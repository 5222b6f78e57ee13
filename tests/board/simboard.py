"""The real binary under the emulated machine, with the surface of the emulator's board.

`Chip` is one ATmega328P in simavr; `SimBoard` puts it on the emulator's rig and line, in lockstep.
"""

from __future__ import annotations

import ctypes
import random
from pathlib import Path
from typing import Any

from rodbench.emulator.on_line import BoardOnLine
from rodbench.emulator.plant_file import Machine
from rodbench.emulator.signals import BRAKE, DRIVE, OFF
from rodbench_protocol.names import Inputs

from tests.board import build

TICK_CYCLES = 80_000
BOOT_CYCLES = 10 * TICK_CYCLES  # to the first tick: both stored copies are read and checked
RAM_FIRST, RAM_END, RAM_BYTES, EEPROM_BYTES = 0x100, 0x900, 2048, 1024
FLASH_BYTES = 32768
POWER_ON, EXTERNAL = 1, 2  # MCUSR
OK, TIMEOUT, CRASHED, RESET = range(4)
PAINT = 0xC5  # of the stack, src/avr/early.h
BYTE_CYCLES = {250_000: 640, 115_200: 1496}  # what simavr's line takes for a byte

# registers, by address in data space
PORTB, DDRB, PORTD, DDRD = 0x25, 0x24, 0x2B, 0x2A
TCCR1A, TCCR1B, ICR1, OCR1A, OCR1B = 0x80, 0x81, 0x86, 0x88, 0x8A
INPUTS = (("B", 0), ("D", 2), ("B", 3), ("D", 3), ("B", 4))  # stop; extend, retract of axis 1, 2
LINES = {0: (4, 5, 1, OCR1A, 7), 1: (6, 7, 2, OCR1B, 5)}  # A, B, PWM bits; compare; COM1x1 bit


TWO_LINES, ONE_LINE = "pwm-and-two-direction-lines", "pwm-and-one-direction-line"
TWO_PWM, PWM_AND_LINE = "two-pwm-inputs", "pwm-input-and-line"


def told(driver: str, high: float, a: bool, b: bool, other: float) -> tuple[int, float]:
    """What an H-bridge does whose PWM pin is high for so many permille: bridge, permille.

    From the bridge's side: an enable with two direction inputs, a PWM input with a direction, or
    two inputs, each for one half: both low off, both high brake, unlike drive.
    """
    if driver == TWO_LINES:
        if high == 0.0:
            return OFF, 0.0
        if a == b:
            return (BRAKE, 0.0) if high == 1000.0 else (OFF, 0.0)
        return DRIVE, high if a else -high
    if driver == ONE_LINE:
        return (OFF, 0.0) if high == 0.0 else (DRIVE, high if a else -high)
    second = other if driver == TWO_PWM else 1000.0 * a
    if high == second:
        return (BRAKE, 0.0) if high == 1000.0 else (OFF, 0.0)
    return DRIVE, high - second


class Crash(RuntimeError):
    """The program left the road: an invalid instruction, or sleep with interrupts off."""


def _load() -> ctypes.CDLL:
    lib = ctypes.CDLL(str(build.library()))
    lib.sim_open.restype = ctypes.c_void_p
    text, byte, word = ctypes.c_char_p, ctypes.c_uint8, ctypes.c_uint32
    lib.sim_open.argtypes = (text, text, text, byte, word)
    lib.sim_data.restype = ctypes.POINTER(ctypes.c_uint8)
    for name in ("sim_now", "sim_boundary", "sim_ended"):
        getattr(lib, name).restype = ctypes.c_uint64
    for name in ("sim_to_tick", "sim_to_outputs", "sim_cycles"):
        getattr(lib, name).argtypes = [ctypes.c_void_p, ctypes.c_uint64]
    lib.sim_bootloader.argtypes = [ctypes.c_void_p, ctypes.c_char_p] + [ctypes.c_uint32] * 2
    lib.sim_program.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_uint32]
    lib.sim_flash.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
    lib.sim_pin.argtypes = [ctypes.c_void_p] + [ctypes.c_uint8] * 3
    lib.sim_pace.argtypes = [ctypes.c_void_p, ctypes.c_uint64]
    lib.sim_codes.argtypes = [ctypes.c_void_p, ctypes.c_uint8, ctypes.c_void_p, ctypes.c_uint8]
    lib.sim_pulse.argtypes = [ctypes.c_void_p, ctypes.c_uint8, ctypes.c_uint32]
    lib.sim_send.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_uint32]
    for name in ("sim_take", "sim_probe", "sim_feed", "sim_writes"):
        getattr(lib, name).argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_uint32]
    return lib


class Chip:
    """One chip with its program, from a start to the next. Addresses are those of data space."""

    _lib: ctypes.CDLL | None = None

    def __init__(
        self,
        elf: Path,
        eeprom: bytes = b"\xff" * EEPROM_BYTES,
        ram: bytes | None = None,
        flags: int = POWER_ON,
        baud: int = 250_000,
    ) -> None:
        if Chip._lib is None:
            Chip._lib = _load()
        self.lib, self.elf, self.symbols = Chip._lib, elf, build.symbols(elf)
        ram = random.Random(0).randbytes(RAM_BYTES) if ram is None else ram
        handle = self.lib.sim_open(str(elf).encode(), bytes(eeprom), ram, flags, BYTE_CYCLES[baud])
        if not handle:
            raise RuntimeError(f"simavr cannot load {elf}")
        self._handle: ctypes.c_void_p | None = ctypes.c_void_p(handle)
        self.data = self.lib.sim_data(self._handle)
        self.inputs(0)

    def call(self, name: str, *arguments: Any) -> int:
        """A function of the library on this chip."""
        return int(getattr(self.lib, f"sim_{name}")(self._handle, *arguments))

    def bootloader(self, code: bytes, address: int) -> None:
        """Put a bootloader before the program; at once after the chip was made."""
        if not self.call("bootloader", code, len(code), address):
            raise ValueError(f"a bootloader of {len(code)} bytes at {address:#x} is beyond flash")

    def program(self, code: bytes) -> None:
        """Erase flash and put another program into it; a bootloader comes afterwards."""
        self.call("program", code, len(code))

    @property
    def flash(self) -> bytes:
        """All flash."""
        buffer = ctypes.create_string_buffer(FLASH_BYTES)
        self.lib.sim_flash(self._handle, buffer)
        return buffer.raw

    def run(self, name: str, cycles: int) -> int:
        """to_tick, to_outputs or cycles; OK, TIMEOUT or RESET. Raises Crash."""
        state = self.call(name, cycles)
        if state == CRASHED:
            raise Crash(f"the program crashed at cycle {self.call('now')}")
        return state

    def tick(self, limit: int = TICK_CYCLES) -> int:
        """To the next tick's beginning and through its work."""
        state = self.run("to_tick", limit)
        return state if state != OK else self.run("to_outputs", 4 * TICK_CYCLES)

    def codes(self, by_channel: dict[int, list[int]]) -> None:
        """What each channel's conversions of the coming scan give, the dropped one first."""
        for channel, values in by_channel.items():
            self.call("codes", channel, (ctypes.c_uint16 * len(values))(*values), len(values))

    def inputs(self, closed: int, driven: int = 0) -> None:
        """Which inputs are closed to ground, bits as in the schema; open ones are pulled up.
        `driven` ones are left alone: something else drives them."""
        for number, (port, bit) in enumerate(INPUTS):
            if not driven >> number & 1:
                self.call("pin", ord(port), bit, 1 - (closed >> number & 1))

    def pulse(self, index: int, us: float) -> None:
        """Servo pulses on input local A of an axis (0 or 1) from now on; 0: low for good."""
        self.call("pulse", index, round(us * 16))

    def send(self, data: bytes) -> None:
        """Bytes into the line, paced, none within 200 us of a tick's boundary."""
        self.call("send", data, len(data))

    def take(self) -> bytes:
        """Bytes that the program has sent."""
        buffer = ctypes.create_string_buffer(65536)
        count = self.call("take", buffer, 65536)
        return buffer.raw[:count]

    def writes(self) -> list[tuple[int, int]]:
        """(address, value) of each EEPROM write begun since the last call."""
        buffer = ctypes.create_string_buffer(3 * EEPROM_BYTES)
        count = self.call("writes", buffer, 3 * EEPROM_BYTES)
        raw = buffer.raw[:count]
        return [(raw[n] | raw[n + 1] << 8, raw[n + 2]) for n in range(0, count, 3)]

    def probe(self, room: int) -> bytes:
        """What core_alone.c has written."""
        buffer = ctypes.create_string_buffer(room)
        count = self.call("probe", buffer, room)
        return buffer.raw[:count]

    def peek(self, address: int, size: int) -> bytes:
        """Bytes of data space."""
        return bytes(self.data[address : address + size])

    def poke(self, address: int, data: bytes) -> None:
        """Change bytes of RAM."""
        for place, value in enumerate(data):
            self.data[address + place] = value

    def variable(self, name: str) -> bytes:
        """A variable of the program, by its name."""
        return self.peek(*self.symbols[name])

    def word(self, register: int) -> int:
        """A pair of registers."""
        return int(self.data[register] | self.data[register + 1] << 8)

    @property
    def ram(self) -> bytes:
        """All RAM."""
        return self.peek(RAM_FIRST, RAM_BYTES)

    @property
    def eeprom(self) -> bytes:
        """All EEPROM."""
        buffer = ctypes.create_string_buffer(EEPROM_BYTES)
        self.lib.sim_eeprom(self._handle, buffer)
        return buffer.raw

    def blank_eeprom(self) -> None:
        """Erase all EEPROM."""
        self.call("blank_eeprom")

    @property
    def stack_left(self) -> int:
        """Bytes of paint that no call has ever reached, between the variables and the stack."""
        end = self.symbols["_end"][0]
        left = 0
        while end + left < RAM_END and self.data[end + left] == PAINT:
            left += 1
        return left

    def share_high(self, index: int) -> float:
        """Permille of the time that an axis's PWM pin is high, by its registers."""
        _, _, pwm, compare, com = LINES[index]
        data = self.data
        if not data[DDRB] & 1 << pwm:
            return 0.0  # an input is held low by its pull-down
        if not data[TCCR1A] & 1 << com or not data[TCCR1B] & 7:
            return 1000.0 * bool(data[PORTB] & 1 << pwm)
        duty = min(self.word(compare) * 1000 / self.word(ICR1), 1000.0)
        return 1000.0 - duty if data[TCCR1A] & 1 << com - 1 else duty

    def axis(self, index: int, driver: str = TWO_LINES) -> tuple[int, float]:
        """(bridge, signed permille) that the lines of an axis (0 or 1) tell an H-bridge of this
        kind. Where PWM 0 is all that off and brake have in common, that is off."""
        levels = self.data[PORTD] & self.data[DDRD]
        a, b = (bool(levels & 1 << bit) for bit in LINES[index][:2])
        other = self.share_high(1 - index) if driver == TWO_PWM else 0.0
        return told(driver, self.share_high(index), a, b, other)

    def watch_lines(self) -> None:
        """Look at the bridges' lines at every instruction from now on."""
        self.call("watch_lines")

    def lines(self) -> tuple[dict[int, float], dict[int, float]]:
        """Share of time with each combination of levels, and the longest time in it in us, since
        the last call. Bits: A1 1, B1 2, P1 4, A2 8, B2 16, P2 32."""
        cycles, longest = (ctypes.c_uint64 * 64)(), (ctypes.c_uint32 * 64)()
        self.lib.sim_lines(self._handle, cycles, longest)
        total = sum(cycles)
        shares = {level: cycles[level] / total for level in range(64) if cycles[level]}
        return shares, {level: longest[level] / 16 for level in shares}

    def close(self) -> None:
        """Free it."""
        if self._handle is not None:
            self.lib.sim_close(self._handle)
            self._handle = None


class SimBoard(BoardOnLine):
    """A chip on the emulated machine. `write` and `read` are the host's end of the serial line."""

    def __init__(
        self,
        machine: Machine,
        *,
        eeprom: bytes | None = None,
        seed: int | None = None,
        elf: Path | None = None,
    ) -> None:
        super().__init__(machine, seed)
        self.elf = elf if elf is not None else build.firmware(machine.line.baud)
        self.chip: Chip
        self._started = False
        self._kept = (eeprom or b"\xff" * EEPROM_BYTES, self._garbage(), POWER_ON)
        self._start()

    @property
    def eeprom(self) -> bytes:
        """What the EEPROM holds now."""
        return self.chip.eeprom if not self._silent else self._kept[0]

    # ------------------------------------------------------------ a tick

    def _tick(self) -> None:
        self.rig.step(self.outputs.drive, self.outputs.bridge)
        arrived = self._down.pull()
        self.ticks += 1
        if self._silent:
            self._silent -= 1
            if self._silent == 0:
                self._start()
        else:
            self._run(arrived)
        self._received += self._up.pull()

    def _run(self, arrived: bytes) -> None:
        chip = self.chip
        chip.codes(self.rig.conversions_by_channel())
        self._put_inputs(chip)
        if arrived:
            chip.send(arrived)
        # the first tick comes later than the others by the time that the program takes to start
        if chip.tick(TICK_CYCLES if self._started else BOOT_CYCLES) == RESET:
            self.boots += 1
            self.rig.restart_scan()
            self._started = False
        else:
            self._started = True
        self._look_at_lines()
        sent = chip.take()
        if sent:
            self._up.push(sent)

    def _put_inputs(self, chip: Chip) -> None:
        hands, driven = self.rig.hands, 0
        for index, us in enumerate(hands.pulse_us):
            if us or self._pulses[index]:
                driven |= int((Inputs.EXTEND_1, Inputs.EXTEND_2)[index])
            if us != self._pulses[index]:
                self._pulses[index] = us
                chip.pulse(index, us)
        chip.inputs(self.rig.inputs | hands.inputs, driven)

    def _look_at_lines(self) -> None:
        rods = self.machine.rods
        for index in (0, 1):
            driver = rods[index + 1].driver.kind if index + 1 in rods else TWO_LINES
            bridge, drive = self.chip.axis(index, driver)
            if index and 1 in rods and rods[1].driver.kind == TWO_PWM:
                bridge, drive = OFF, 0.0  # axis 1 has both pins
            self.outputs.bridge[index] = bridge
            self.outputs.drive[index] = drive  # type: ignore[call-overload]  # steps of 2.5 permille

    # ------------------------------------------------------------ resets

    def reset(self, cause: str = "external") -> None:
        """Pull the reset line: RAM is kept. Other causes come from the program itself."""
        if cause != "external":
            raise ValueError("a chip resets by itself for other causes than the line")
        self._stop(self._kept if self._silent else (self.chip.eeprom, self.chip.ram, EXTERNAL), 0)

    def power_cut(self, off_ticks: int = 100, torn: dict[int, int] | None = None) -> None:
        """Cut the power for `off_ticks`. `torn`: EEPROM bytes that read otherwise afterwards."""
        eeprom = bytearray(self.eeprom)
        for address, value in (torn or {}).items():
            eeprom[address] = value
        self._down.drop()
        self._up.drop()
        self._stop((bytes(eeprom), self._garbage(), POWER_ON), off_ticks)

    def _garbage(self) -> bytes:
        return random.Random(f"{self._seed} power {self.boots}").randbytes(RAM_BYTES)

    def _stop(self, kept: tuple[bytes, bytes, int], ticks: int) -> None:
        self._kept = kept
        self.chip.close()
        self._fall_silent(ticks)

    def _start(self) -> None:
        eeprom, ram, flags = self._kept
        self.boots += 1
        self.rig.restart_scan()
        self._started = False
        self.chip = Chip(self.elf, eeprom, ram, flags, self.machine.line.baud)
        self._pulses = [0.0, 0.0]  # as the chip was told of them

    def close(self) -> None:
        """Free the chip."""
        self.chip.close()
