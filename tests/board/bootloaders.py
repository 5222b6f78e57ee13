"""The bootloader images of Debian's arduino-core-avr, as the tests run them.

The newer image, as Debian's compiler builds it, is 20 bytes longer than the 512 bytes at 0x7E00
that it is linked for: its end would lie beyond flash. All its jumps and calls are relative, so
that it runs a few pages lower, as far as it must: the program may reach near to it.
"""

from __future__ import annotations

from pathlib import Path

IMAGES = Path("/usr/share/arduino/hardware/arduino/avr/bootloaders")
NEW = IMAGES / "optiboot" / "optiboot_atmega328.hex"
OLD = IMAGES / "atmega" / "ATmegaBOOT_168_atmega328.hex"
BAUD = {NEW: 115_200, OLD: 57_600}
FLASH_BYTES = 32768
PAGE = 128  # of flash: what is erased and written at once


def records(file: Path) -> dict[int, bytes]:
    """Data of an Intel HEX file by address. Its other records are start addresses."""
    parts: dict[int, bytes] = {}
    for line in file.read_text("ascii").split():
        record = bytes.fromhex(line[1:])
        if record[3] == 0:
            parts[int.from_bytes(record[1:3], "big")] = record[4 : 4 + record[0]]
    return parts


def program(file: Path) -> bytes:
    """A program from address 0 on; gaps read 0xFF."""
    parts = records(file)
    code = bytearray(b"\xff" * max(at + len(data) for at, data in parts.items()))
    for at, data in parts.items():
        code[at : at + len(data)] = data
    return bytes(code)


def image(file: Path) -> tuple[bytes, int]:
    """Code and address of a bootloader."""
    if not file.exists():
        raise FileNotFoundError(f"{file} is missing. Try: apt install arduino-core-avr")
    if file == OLD:
        parts = records(file)
        return program(file)[min(parts) :], min(parts)
    parts = records(file)
    first = next(iter(parts))  # the version word, apart, comes last and is read by no one
    code = bytearray()
    for at, data in parts.items():
        if at != first + len(code):
            break
        code += data
    return bytes(code), (FLASH_BYTES - len(code)) // PAGE * PAGE
