"""Noise on the line of the native core, under sanitizers: nothing moves, nothing hangs.

python -m tests.core.noise 100000000           figures; --seed 2 for others
"""

from __future__ import annotations

import argparse
import ctypes as ct
import subprocess
import sys
from functools import cache

from rodbench_protocol import settings

from tests.core import native
from tests.twin.memory import SIZE, put_slot

MOST, FRAME, RUN = 400, 80, 66  # of noise.h
SANITIZED = ("-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
INCLUDES = (f"-I{native.SOURCES}", f"-I{native.HARNESS}")


# No start forgets duty: a window told as wholly spent is over in a minute.
ROD = settings.defaults("axis") | {
    "feedback": 1,
    "duty_share_permille": 1000,
    "duty_window_s": 60,
}
CALIBRATED = {
    "raw_retracted": 600,
    "raw_extended": 7400,
    "calibrated": 1,
    "creep_speed_um_s": 3000,
}
# Nor heat: the motor bears the quiet currents of fuzz.c (to 1.3 A), not its wild ones (to 27 A).
WATCHED = {
    "following_um": 5000,
    "fold_back_ma": 800,
    "rated_ma": 3000,
    "thermal_time_s": 10,
}
LIMITS = {
    "board_5v_mv": 5000,
    "supply_calibrated": 1,
    "supply_low_mv": 6000,
    "supply_high_mv": 20000,
    "stop_input": 1,
}


def memory_with(board: dict[str, int], *axes: dict[str, int]) -> bytes:
    """A memory with these settings, changes to the defaults."""
    scopes = [settings.pack_scope("board", settings.defaults("board") | board)]
    scopes += [settings.pack_scope("axis", ROD | values) for values in axes]
    image = bytearray(b"\xff" * SIZE)
    put_slot(image, 0, 1, scopes)
    return bytes(image)


def settings_with_two_rods() -> bytes:
    """Axis 1 not calibrated, axis 2 calibrated, both the whole duty."""
    return memory_with({}, {}, CALIBRATED)


def settings_with_all_guards() -> bytes:
    """All that can be watched is."""
    return memory_with(LIMITS, CALIBRATED | WATCHED, CALIBRATED | WATCHED)


def settings_of_inputs() -> bytes:
    """Axis 1 has buttons, axis 2 a stick."""
    stick = {"local_low_end": 100, "local_rest": 500, "local_high_end": 900, "local_source": 2}
    return memory_with({}, CALIBRATED | {"local_source": 1}, CALIBRATED | stick | {"local_as": 1})


def settings_of_a_gang() -> bytes:
    """Two rods as one."""
    return memory_with({"apart_trip_um": 60000}, CALIBRATED, CALIBRATED)


def run(count: int, seed: int) -> str:
    """So many bytes; what came of them. AssertionError: something that must hold broke."""
    names = ("harness.c", "book.c", "noise.c", "noise_run.c")
    files = [*native.c_files(), *(native.HARNESS / name for name in names)]
    program = native.compile_c(native.BUILD / "noise", files, *INCLUDES, *SANITIZED)
    memory = native.BUILD / "two_rods.eeprom"
    memory.write_bytes(settings_with_two_rods())
    command = [str(program), str(seed), str(count), str(memory)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr[-3000:]
    return done.stdout


class Noise(ct.Structure):
    """noise_t: the same bytes for a board that Python drives."""

    _fields_ = (
        ("random", ct.c_uint64),
        ("run", ct.c_uint8 * RUN),
        *((name, ct.c_uint32) for name in ("fill", "runs", "good", "acts", "stretched")),
        ("undamaged", ct.c_uint32),
        ("own", ct.c_uint8 * FRAME),
        *((name, ct.c_uint32) for name in ("own_size", "session", "seq", "nonce", "tick")),
    )

    @classmethod
    def start(cls, seed: int) -> Noise:
        """A new source of noise."""
        noise = cls()
        assert library().noise_size() == ct.sizeof(cls)
        library().noise_start(ct.byref(noise), ct.c_uint64(seed))
        return noise

    def next(self) -> bytes:
        """Some bytes."""
        buffer = ct.create_string_buffer(MOST)
        size = library().noise_next(ct.byref(self), buffer)
        return buffer.raw[:size]

    def end(self) -> bytes:
        """A zero."""
        buffer = ct.create_string_buffer(1)
        size = library().noise_end(ct.byref(self), buffer)
        return buffer.raw[:size]

    def hear(self, data: bytes) -> None:
        """What the host itself sends."""
        library().noise_hear(ct.byref(self), data, len(data))


@cache
def library() -> ct.CDLL:
    """The source of noise as a shared library."""
    files = [native.HARNESS / "book.c", native.HARNESS / "noise.c"]
    target = native.BUILD / "noise.so"
    return ct.CDLL(
        str(native.compile_c(target, files, "-shared", "-fPIC", *INCLUDES, *native.PLAIN))
    )


def main() -> int:
    """Figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.core.noise")
    parser.add_argument("bytes", type=int)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print(run(options.bytes, options.seed), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
