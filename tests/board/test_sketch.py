"""The folder as an Arduino sketch: what the IDE's build would compile, with Debian's core.

The IDE compiles the root's .ino (as C++, Arduino.h first) and everything below src/, then links
with the Arduino core as an archive: source of this recipe: platform.txt of arduino-core-avr.
"""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

from tests.board import build
from tests.board.build import FIRMWARE, OUT, ROOT, run, symbols
from tests.board.simboard import BOOT_CYCLES, OK, TICK_CYCLES, Chip

ARDUINO = Path("/usr/share/arduino/hardware/arduino/avr")
DEFINES = ["-mmcu=atmega328p", "-DF_CPU=16000000L", "-DARDUINO=10819", "-DARDUINO_AVR_UNO"]
DEFINES += ["-DARDUINO_ARCH_AVR", f"-I{ARDUINO}/cores/arduino", f"-I{ARDUINO}/variants/standard"]
COMMON = ["-g", "-Os", "-w", "-ffunction-sections", "-fdata-sections", "-flto", *DEFINES]
C = ["avr-gcc", "-c", "-std=gnu11", "-fno-fat-lto-objects", *COMMON]
CXX = ["avr-g++", "-c", "-std=gnu++11", "-fpermissive", "-fno-exceptions"]
# gcc 5.4's float.h keeps DECIMAL_DIG from C++11, which the core's WString.cpp wants
CXX += ["-DDECIMAL_DIG=__DECIMAL_DIG__", "-fno-threadsafe-statics", "-Wno-error=narrowing", *COMMON]
LIMIT = 30720  # beside the old bootloader: nano's upload.maximum_size in boards.txt; uno 32256


def compile_all(files: list[Path], out: Path) -> list[str]:
    """Object files."""
    objects = []
    for file in files:
        goal = out / f"{file.parent.name}-{file.name}.o"
        if file.suffix == ".S":
            run(["avr-gcc", "-c", "-x", "assembler-with-cpp", *COMMON, str(file), "-o", str(goal)])
        else:
            run([*(C if file.suffix == ".c" else CXX), str(file), "-o", str(goal)])
        objects.append(str(goal))
    return objects


@functools.cache
def sketch() -> Path:
    """The sketch's ELF file."""
    if not ARDUINO.exists():
        pytest.fail(f"{ARDUINO} is missing. Try: apt install arduino-core-avr")
    out = OUT / f"sketch-{build.WORKER}"  # each test worker its own
    out.mkdir(parents=True, exist_ok=True)
    ino = out / "firmware_reference.ino.cpp"
    text = (FIRMWARE / "firmware_reference.ino").read_text("utf-8")
    ino.write_text(f'#include <Arduino.h>\n#line 1 "firmware_reference.ino"\n{text}')
    sources = [f for f in sorted((FIRMWARE / "src").rglob("*")) if f.suffix in (".c", ".cpp", ".S")]
    run([*CXX, f"-I{FIRMWARE}", str(ino), "-o", str(out / "ino.o")])
    objects = [str(out / "ino.o"), *compile_all(sources, out)]
    core = [
        f for f in sorted((ARDUINO / "cores/arduino").iterdir()) if f.suffix in (".c", ".cpp", ".S")
    ]
    archive = out / "core.a"
    archive.unlink(missing_ok=True)
    run(["avr-gcc-ar", "rcs", str(archive), *compile_all(core, out)])
    elf = out / "sketch.elf"
    link = ["avr-gcc", "-w", "-Os", "-flto", "-fuse-linker-plugin", "-Wl,--gc-sections"]
    run([*link, "-mmcu=atmega328p", "-o", str(elf), *objects, str(archive), "-lm"])
    return elf


def test_the_folder_has_the_name_of_its_sketch() -> None:
    assert [f.name for f in FIRMWARE.glob("*.ino")] == [f"{FIRMWARE.name}.ino"]


def test_it_fits_beside_the_bootloaders() -> None:
    size = run(["python3", str(FIRMWARE / "size.py"), str(sketch()), "--json"])
    flash = int(size.split('"flash": ')[1].split(",")[0])
    assert flash <= LIMIT


def test_it_starts_without_the_arduino_cores_clock() -> None:
    chip = Chip(sketch())
    assert "timer0_millis" not in symbols(sketch())  # nor its main and init
    assert chip.tick(BOOT_CYCLES) == OK
    boundary = chip.call("boundary")
    assert chip.tick() == OK
    assert chip.call("boundary") - boundary == TICK_CYCLES
    assert chip.data[0x6E] == 0  # TIMSK0: Timer0 does not interrupt
    assert (chip.word(0x86), chip.data[0x80], chip.data[0x81]) == (400, 0xA2, 0x11)  # Timer1
    chip.close()


def test_repository_root_is_no_sketch_folder() -> None:
    assert not list(ROOT.glob("*.ino"))
