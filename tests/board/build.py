"""Build what the board tests run: the firmware with its options, the simulator's library."""

from __future__ import annotations

import functools
import os
import shutil
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
FIRMWARE = ROOT / "firmware_reference"
OUT = ROOT / "tests" / "build"
WORKER = os.environ.get("PYTEST_XDIST_WORKER", "one")  # each test worker builds for itself

TOOLS = {
    "avr-gcc": "gcc-avr",
    "avr-nm": "binutils-avr",
    "make": "make",
    "gcc": "gcc",
    "avrdude": "avrdude",
    "/usr/lib/avr/include/avr/io.h": "avr-libc",
    "/usr/include/simavr/sim_avr.h": "libsimavr-dev",
}


class ToolsMissing(RuntimeError):
    """The board tests need packages that are not installed."""


def missing() -> list[str]:
    """Debian packages that are not installed, in the order in which they are needed."""
    return [
        package
        for tool, package in TOOLS.items()
        if not (Path(tool).exists() if tool.startswith("/") else shutil.which(tool))
    ]


def require_tools() -> None:
    """Raise ToolsMissing with the line to type."""
    packages = missing()
    if packages:
        raise ToolsMissing(
            f"the simulated board needs {', '.join(packages)}, not installed here. "
            f"Try: apt install {' '.join(packages)}   (or `sh tests/run` as root, which does it)"
        )


def run(command: list[str], **where: str) -> str:
    """Run a command; its output, or an error that shows it."""
    done = subprocess.run(command, capture_output=True, text=True, check=False, **where)  # type: ignore[call-overload]
    if done.returncode != 0:
        raise RuntimeError(f"{' '.join(command)} failed:\n{done.stdout}{done.stderr}")
    return str(done.stdout)


def _put(path: Path, make_it: list[str]) -> Path:
    """Compile beside the goal and rename, so that two test workers do not disturb each other."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_suffix(f".{os.getpid()}")
    run([*make_it, "-o", str(beside)])
    beside.replace(path)
    return path


def newest(*paths: Path) -> float:
    """Time of the newest file."""
    return max(path.stat().st_mtime for path in paths)


@functools.cache
def library() -> Path:
    """The simulator as a shared library."""
    require_tools()
    source, goal = HERE / "simboard.c", OUT / "simboard.so"
    if goal.exists() and goal.stat().st_mtime > newest(source):
        return goal
    flags = ["-O2", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC"]
    # -lsimavr comes after the source: the linker takes it in order
    path = goal.with_suffix(f".{os.getpid()}")
    goal.parent.mkdir(parents=True, exist_ok=True)
    run(["gcc", *flags, str(source), "-o", str(path), "-lsimavr"])
    path.replace(goal)
    return goal


@functools.cache
def firmware(
    baud: int = 250_000,
    watchdog: str = "reset",
    hang: bool = False,
    local: bool = False,
) -> Path:
    """The ELF file of the firmware with these options, made by its own Makefile."""
    require_tools()
    words = [word for word, on in (("hang", hang), ("local", local)) if on]
    out = OUT / "-".join(["firmware", str(baud), watchdog, *words, WORKER])
    options = [f"BAUD={baud}", f"WATCHDOG={watchdog}", f"TEST_HANG={int(hang)}", f"BUILD={out}"]
    options += [f"LOCAL={int(local)}"]
    run(["make", "-C", str(FIRMWARE), "-j2", *options])
    return out / "firmware.elf"


def core_objects() -> list[str]:
    """The core with local inputs for the AVR, made as the firmware's own: shrunk and all."""
    out = OUT / f"core-{WORKER}"
    names = ["before.o", "behind.o", "generated/schema.o", "avr/divide.o"]
    objects = [str(out / name) for name in names]
    options = ["LOCAL=1", "GANG=1", "BOX=1", f"BUILD={out}"]
    run(["make", "-C", str(FIRMWARE), "-j2", *options, *objects])
    return objects


@functools.cache
def core_alone() -> tuple[Path, Path]:
    """core_alone.c for the AVR (ELF) and natively under sanitizers."""
    require_tools()
    main = [str(HERE / "core_alone.c"), "-DCORE_LOCAL_INPUTS=1"]
    sources = [str(path) for path in sorted((FIRMWARE / "src/core").glob("*.c"))]
    sources.append(str(FIRMWARE / "src/generated/schema.c"))
    avr = ["avr-gcc", "-mmcu=atmega328p", "-std=gnu11", "-Wall", "-Werror", "-Os"]
    avr += ["-mcall-prologues", "-Wl,--gc-sections,--relax"]
    checks = ["-fsanitize=address,undefined", "-fno-sanitize-recover=all"]
    native = ["gcc", "-std=c11", "-O1", "-g", "-Wall", "-Werror", *checks]
    return (
        _put(OUT / "core_alone.elf", [*avr, *main, *core_objects()]),
        _put(OUT / "core_alone", [*native, *main, *sources]),
    )


@functools.cache
def divide_alone() -> Path:
    """divide_alone.c with the firmware's division."""
    return _alone("divide_alone", "divide.S")


@functools.cache
def drive_alone() -> Path:
    """drive_alone.c with the firmware's drive layer."""
    return _alone("drive_alone", "drive.c")


@functools.cache
def pulse_alone() -> Path:
    """pulse_alone.c with the firmware's capture of pulses and its timer."""
    return _alone("pulse_alone", "pulse.c", "timebase.c")


def _alone(name: str, *parts: str) -> Path:
    """A test's C file with parts of the thin layer for the AVR."""
    require_tools()
    avr = ["avr-gcc", "-mmcu=atmega328p", "-std=gnu11", "-Os", "-Wall", "-Werror"]
    avr += ["-DCORE_LOCAL_INPUTS=1"]
    sources = [str(HERE / f"{name}.c"), *(str(FIRMWARE / "src/avr" / part) for part in parts)]
    return _put(OUT / f"{name}.elf", [*avr, *sources])


@functools.cache
def symbols(elf: Path) -> dict[str, tuple[int, int]]:
    """Address in RAM and size of each variable, by name; (address, 0) for marks of the linker."""
    found = {}
    for line in run(["avr-nm", "-S", str(elf)]).splitlines():
        words = line.split()
        if len(words) < 3:  # an undefined name
            continue
        address = int(words[0], 16)
        if address >= 0x800000:
            size = int(words[1], 16) if len(words) == 4 else 0
            found[words[-1]] = (address - 0x800000, size)
    return found


@functools.cache
def offset_of(field: str, structure: str = "core_t") -> int:
    """Offset in bytes of a field of the core, as the AVR compiler lays it out."""
    source = f'#include "{FIRMWARE}/src/core/core.h"\n'
    source += f"const unsigned at = offsetof({structure}, {field});"
    done = subprocess.run(
        ["avr-gcc", "-mmcu=atmega328p", "-std=gnu11", "-S", "-x", "c", "-", "-o", "-"],
        input=source, capture_output=True, text=True, check=True,
    )  # fmt: skip
    words = [line.split() for line in done.stdout.splitlines()]
    return int(next((w[1] for w in words if w[:1] == [".word"]), "0"))
