"""Print flash and static RAM of an ELF file: `python3 size.py build/firmware.elf`."""

from __future__ import annotations

import json
import subprocess
import sys

FLASH, RAM = 32768, 2048
SECTIONS = (".text", ".data", ".bss", ".noinit")


def sections(elf: str) -> dict[str, int]:
    """Bytes of each section that takes flash or RAM."""
    text = subprocess.run(
        ["avr-size", "-A", elf], check=True, capture_output=True, text=True
    ).stdout
    rows = [line.split() for line in text.splitlines()]
    found = {row[0]: int(row[1]) for row in rows if len(row) == 3 and row[0] in SECTIONS}
    return {name.lstrip("."): found.get(name, 0) for name in SECTIONS}


def figures(elf: str) -> dict[str, int]:
    """Sections, and what they add up to: data lies in flash too."""
    size = sections(elf)
    flash = size["text"] + size["data"]
    return {**size, "flash": flash, "static_ram": size["data"] + size["bss"] + size["noinit"]}


def main(arguments: list[str]) -> int:
    """One line for a person, or one JSON object with --json."""
    size = figures(arguments[0])
    if "--json" in arguments:
        print(json.dumps(size))
        return 0
    print(f"flash {size['flash']} of {FLASH} bytes; static RAM {size['static_ram']} of {RAM} bytes "
          f"(data {size['data']}, bss {size['bss']}, noinit {size['noinit']})")  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
