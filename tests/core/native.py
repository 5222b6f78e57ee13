"""The C core built for this computer, and driven through ctypes.

The library carries the undefined-behaviour sanitizer, which works inside another process; the same
runs go through the stand-alone runner with the address sanitizer as well (test_runner.py).
"""

from __future__ import annotations

import ctypes as ct
import hashlib
import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCES = ROOT / "firmware_reference" / "src"
HARNESS = Path(__file__).parent
BUILD = ROOT / "tests" / "build"
WARNINGS = ("-Wall", "-Wextra", "-Wconversion", "-Werror")
PLAIN = ("-O2",)
CHECKED = ("-O1", "-g", "-fsanitize=undefined", "-fno-sanitize-recover=all")


def c_files(sources: Path = SOURCES) -> list[Path]:
    """All files of the core, generated ones included."""
    return sorted(sources.glob("core/*.c")) + sorted(sources.glob("generated/*.c"))


def compile_c(target: Path, files: list[Path], *flags: str) -> Path:
    """Run gcc, unless the target is newer than every source."""
    command = ["gcc", "-std=gnu11", *WARNINGS, *flags, *map(str, files), "-o", str(target)]
    headers = [h for f in {f.parent for f in files} for h in f.glob("*.h")]
    stamp = hashlib.sha256(
        b"".join(p.read_bytes() for p in sorted({*files, *headers})) + repr(command).encode()
    ).hexdigest()
    mark = target.with_suffix(target.suffix + ".stamp")
    if target.exists() and mark.exists() and mark.read_text() == stamp:
        return target
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_suffix(f".{os.getpid()}")
    command[-1] = str(partial)
    done = subprocess.run(command, stderr=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        raise RuntimeError(done.stderr)
    partial.replace(target)  # whole or not at all, also with several test processes
    mark.write_text(stamp)
    return target


def build_library(name: str = "core.so", flags: tuple[str, ...] = CHECKED) -> Path:
    """The core with the harness as a shared library."""
    files = [*c_files(), HARNESS / "harness.c"]
    return compile_c(BUILD / name, files, "-shared", "-fPIC", f"-I{SOURCES}", *flags)


def own_folder(name: str) -> Path:
    """A new folder of this process in BUILD; those of processes that are gone are removed."""
    for old in BUILD.glob(f"{name}-*"):
        if not Path(f"/proc/{old.name.rpartition('-')[2]}").exists():
            shutil.rmtree(old, ignore_errors=True)
    folder = BUILD / f"{name}-{os.getpid()}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder


class CReadings(ct.Structure):
    """readings_t."""

    _fields_ = (
        ("pot", ct.c_uint16 * 2),
        ("current", ct.c_uint16 * 2),
        ("supply", ct.c_uint16),
        ("bandgap", ct.c_uint16),
        ("local", ct.c_uint16 * 2),
        ("inputs", ct.c_uint8),
        ("ee_ready", ct.c_uint8),
    )


class COutputs(ct.Structure):
    """outputs_t."""

    _fields_ = (
        ("drive", ct.c_int16 * 2),
        ("bridge", ct.c_uint8 * 2),
        ("driver", ct.c_uint8 * 2),
        ("ee_write", ct.c_uint8),
        ("ee_address", ct.c_uint16),
        ("ee_value", ct.c_uint8),
        ("restart", ct.c_uint8),
        ("alarm", ct.c_uint8),
    )


class CAxisState(ct.LittleEndianStructure):
    """harness_axis_t."""

    _pack_ = 1
    _fields_ = (
        ("drive", ct.c_int16),
        ("bridge", ct.c_uint8),
        ("driver", ct.c_uint8),
        ("state", ct.c_uint8),
        ("flags", ct.c_uint8),
        ("ended", ct.c_uint8),
        ("cause", ct.c_uint8),
        ("motion", ct.c_uint16),
        ("raw", ct.c_uint16),
        ("faults", ct.c_uint32),
        ("position_um", ct.c_int32),
        ("speed_um_s", ct.c_int32),
        ("reference_um", ct.c_int32),
        ("current_ma", ct.c_int16),
        ("output_permille", ct.c_int16),
        ("rest_raw", ct.c_uint16),
        ("rest_position_um", ct.c_int32),
        ("current_before_ma", ct.c_int16),
        ("current_stop_ma", ct.c_int16),
        ("current_probe_ma", ct.c_int16),
        ("on_ticks", ct.c_uint32),
        ("duty_used", ct.c_uint32),
        ("duty_total", ct.c_uint32),
        ("on_s", ct.c_uint32),
        ("starts", ct.c_uint32),
        ("travel_mm", ct.c_uint32),
        ("also", ct.c_uint8),
    )


class CState(ct.LittleEndianStructure):
    """harness_state_t."""

    _pack_ = 1
    _fields_ = (
        ("tick", ct.c_uint32),
        ("faults", ct.c_uint32),
        ("axis", CAxisState * 2),
        ("supply_mv", ct.c_uint16),
        ("board_5v_mv", ct.c_uint16),
        ("ee_write", ct.c_uint8),
        ("ee_address", ct.c_uint16),
        ("ee_value", ct.c_uint8),
        ("restart", ct.c_uint8),
        ("alarm", ct.c_uint8),
        ("requests_done", ct.c_uint32),
        ("frames_good", ct.c_uint32),
        ("frames_bad", ct.c_uint16),
        ("frames_dropped", ct.c_uint16),
        ("repeats", ct.c_uint16),
        ("alive_ignored", ct.c_uint16),
        ("unasked_dropped", ct.c_uint16),
        ("session", ct.c_uint8),
        ("draft", ct.c_uint8),
        ("storing", ct.c_uint8),
        ("trips", ct.c_uint16),
        ("trips_waiting", ct.c_uint8),
        ("box_fault", ct.c_uint8),
        ("box_count", ct.c_uint8),
        ("totals_pause", ct.c_uint16),
        ("heat_1", ct.c_uint32),
        ("heat_2", ct.c_uint32),
        ("cover", ct.c_uint16),
        ("digest_stored", ct.c_uint32),
    )


class AssertionFailed(Exception):
    """A CORE_ASSERT of the core failed."""


def load(path: Path) -> ct.CDLL:
    """The library with the types of its functions."""
    library = ct.CDLL(str(path))
    pointers = ("new", "eeprom", "noinit", "tx", "state", "core", "outputs")
    for name in pointers:
        getattr(library, f"harness_{name}").restype = ct.c_void_p
    for name in (*pointers, "free", "tx_size", "assert", "ee_waits", "spoil_box", "end_pause"):
        getattr(library, f"harness_{name}").argtypes = [ct.c_void_p]
    library.harness_new.argtypes = []
    library.harness_digest_live.argtypes = [ct.c_void_p]
    library.harness_digest_live.restype = ct.c_uint32
    library.harness_duty.argtypes = [ct.c_void_p, ct.c_uint8]
    library.harness_duty.restype = ct.c_void_p
    library.harness_duty_run.argtypes = [
        ct.c_void_p,
        ct.c_uint8,
        ct.c_void_p,
        ct.c_uint32,
        ct.c_uint32,
    ]
    for name in ("duty_used", "duty_total"):
        getattr(library, name).argtypes = [ct.c_void_p]
        getattr(library, name).restype = ct.c_uint32
    library.harness_left.argtypes = [ct.c_void_p, ct.c_uint16]
    library.harness_tear.argtypes = [ct.c_void_p, ct.c_uint8, ct.c_uint8]
    library.harness_warm.argtypes = [ct.c_void_p, ct.c_uint8, ct.c_uint32]
    library.duty_tick.argtypes = [ct.c_void_p, ct.c_uint8]
    library.core_late_tick.argtypes = [ct.c_void_p]
    library.noinit_mark.argtypes = [ct.c_void_p, ct.c_uint8]
    library.harness_boot.argtypes = [ct.c_void_p, ct.c_uint8, ct.c_uint16]
    library.harness_tick.argtypes = [ct.c_void_p, ct.c_char_p, ct.c_uint32, ct.c_void_p]
    return library


_cache: dict[Path, ct.CDLL] = {}


def library() -> ct.CDLL:
    """The checked library, built once."""
    path = build_library()
    if path not in _cache:
        _cache[path] = load(path)
    return _cache[path]


TEAR_OLDER, TEAR_NEWER, TEAR_BOTH = range(3)


@dataclass
class Board:
    """One core in its harness. `eeprom` is a view that may be written; writes are carried out."""

    lib: ct.CDLL

    def __post_init__(self) -> None:
        self._it = self.lib.harness_new()
        size = self.lib.harness_noinit_size()
        self.eeprom = (ct.c_uint8 * 1024).from_address(self.lib.harness_eeprom(self._it))
        self.noinit = (ct.c_uint8 * size).from_address(self.lib.harness_noinit(self._it))
        self._state = self.lib.harness_state(self._it)
        self._state_size = self.lib.harness_state_size()
        assert self._state_size == ct.sizeof(CState)
        self._tx = self.lib.harness_tx(self._it)
        self._in = CReadings()
        self._in_at = ct.addressof(self._in)

    def __del__(self) -> None:
        self.lib.harness_free(self._it)

    def duty_address(self, index: int) -> int:
        """Of the duty_t of an axis."""
        return int(self.lib.harness_duty(self._it, index))

    @property
    def core_address(self) -> int:
        """Of the core_t."""
        return int(self.lib.harness_core(self._it))

    @property
    def ee_waits(self) -> int:
        """How often the core has read a memory that was busy: on a chip it would have waited."""
        return int(self.lib.harness_ee_waits(self._it))

    def end_pause(self) -> None:
        """The ten minutes in which totals are not written again are over."""
        self.lib.harness_end_pause(self._it)

    def warm(self, index: int, permille: int) -> None:
        """A motor is so warm, by the board's estimate."""
        self.lib.harness_warm(self._it, index, permille << 20)

    def spoil_box(self) -> None:
        """The black box's place lies outside, as in RAM that was kept in part."""
        self.lib.harness_spoil_box(self._it)

    @property
    def noinit_address(self) -> int:
        """Of the noinit_t."""
        return int(self.lib.harness_noinit(self._it))

    def tear(self, index: int, how: int) -> None:
        """Spoils the older, the newer or both copies in a duty record, as a reset in a write does.

        A spoilt newer copy takes the place that the older had, as its write was not finished.
        """
        self.lib.harness_tear(self._it, index, how)

    @property
    def address(self) -> int:
        """Of the harness_t, for functions of other test files in C."""
        return int(self._it)

    def boot(self, reset_flags: int = 1, nonce_seed: int = 0x1234) -> None:
        """Start the core on `eeprom` and `noinit` as they are."""
        if self.lib.harness_boot(self._it, reset_flags, nonce_seed):
            raise AssertionFailed

    def fail_an_assertion(self) -> None:
        """As a mistake in the core would."""
        assert self.lib.harness_assert(self._it) != 0

    def set_readings(
        self,
        pot: tuple[int, int],
        current: tuple[int, int],
        supply: int = 430,
        bandgap: int = 225,
        ee_ready: int = 1,
        inputs: int = 1,
        local: tuple[int, int] = (0, 0),
    ) -> None:
        """Readings of the next ticks."""
        into = self._in
        into.local[0], into.local[1] = local
        into.inputs = inputs
        into.pot[0], into.pot[1] = pot
        into.current[0], into.current[1] = current
        into.supply, into.bandgap, into.ee_ready = supply, bandgap, ee_ready
        into.inputs = inputs

    def set_ready(self, ready: int) -> None:
        """Whether the memory takes a byte in the next ticks."""
        self._in.ee_ready = ready

    def tick(self, rx: bytes = b"") -> None:
        """One tick; a byte for the memory is NOT carried out here."""
        if self.lib.harness_tick(self._it, rx, len(rx), self._in_at):
            raise AssertionFailed

    def sent(self) -> bytes:
        """What the last tick sent."""
        return ct.string_at(self._tx, self.lib.harness_tx_size(self._it))

    def outputs(self) -> COutputs:
        """outputs_t of the last tick, as a view."""
        return COutputs.from_address(self.lib.harness_outputs(self._it))

    def digest_live(self) -> int:
        """CRC-32 of the settings in force."""
        return int(self.lib.harness_digest_live(self._it))

    def fields(self) -> CState:
        """The state after the last tick, by names, as a view."""
        return CState.from_address(self._state)

    def state(self) -> bytes:
        """harness_state_t after the last tick."""
        return ct.string_at(self._state, self._state_size)
