"""The evidence for `rodbench load`: `python -m tests.board.load_log`.

Loads two boards in the simulator through Debian's bootloader images with the installed avrdude, and
prints all that was said: the first release's board with its settings stored, through the newer
bootloader, twice, and a blank board, through the old one. Takes about a minute.
"""

from __future__ import annotations

import sys
import zlib

from tests.board.bootloaders import NEW, OLD
from tests.board.load_bench import Bench, bench, blank_board, first_release_board


def show(title: str, on: Bench, *words: str) -> int:
    """Run a load and print it."""
    eeprom = zlib.crc32(on.board.chip.eeprom)
    print(f"== {title}\n$ rodbench load {' '.join(words)}", flush=True)
    ended = on.run("load", *words)
    print(ended.said + ended.out)
    kept = "unchanged" if zlib.crc32(on.board.chip.eeprom) == eeprom else "changed"
    print(f"exit code {ended.code}; EEPROM {kept}\n", flush=True)
    return ended.code


def main() -> int:
    """Both loads; 0 when both went well."""
    with bench(first_release_board(NEW)) as on:
        one = show("first release with settings stored, newer bootloader", on)
        one = one or show("the same board once more", on)
    with bench(blank_board(OLD)) as on:
        two = show("blank board, old bootloader", on, "--bootloader", "old")
    return one or two


if __name__ == "__main__":
    sys.exit(main())
