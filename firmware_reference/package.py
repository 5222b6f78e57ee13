"""Build the HEX files that `rodbench load` brings along: `make package`, or `python3 package.py`.

Each kind of bootloader and each speed of the line has its own file, named for them, in
host/rodbench/firmware; about.json beside them says which firmware they hold.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
GOAL = HERE.parent / "host" / "rodbench" / "firmware"
KIND = "atmega328p-5v"
BAUDS = (250_000, 115_200)
# Options by the bootloader that a program is for, and what it is beside: README.md says why.
PROGRAMS = {
    "new-bootloader": {"WATCHDOG": "reset", "LOCAL": "0"},
    "new-bootloader-whole": {"WATCHDOG": "reset", "LOCAL": "1"},
    "old-bootloader": {"WATCHDOG": "noreset", "LOCAL": "0"},
}


def name(baud: int, program: str) -> str:
    """The file for a line's speed and a program."""
    return f"{KIND}-{baud}-baud-{program}.hex"


def number(file: Path, define: str) -> int:
    """A number that a C header defines."""
    found = re.search(
        rf"#define {define} (?:UINT32_C\()?(\w+?)[uUlL]*\)?$", file.read_text("utf-8"), re.MULTILINE
    )
    if found is None:
        raise SystemExit(f"{file}: no {define}")
    return int(found[1], 0)


def about() -> dict[str, object]:
    """What the files hold."""
    core, schema = HERE / "src/core/core.h", HERE / "src/generated/schema.h"
    version = [number(core, f"FIRMWARE_{part}") for part in ("MAJOR", "MINOR", "PATCH")]
    return {
        "firmware": ".".join(map(str, version)),
        "protocol_major": number(schema, "PROTOCOL_MAJOR"),
        "protocol_minor": number(schema, "PROTOCOL_MINOR"),
        "schema_digest": number(schema, "SCHEMA_DIGEST"),
    }


def build(baud: int, program: str) -> Path:
    """The HEX file of one build."""
    out = HERE / "build" / f"package-{baud}-{program}"
    options = [f"BAUD={baud}", f"BUILD={out}"]
    options += [f"{name}={value}" for name, value in PROGRAMS[program].items()]
    subprocess.run(["make", "-s", "-C", str(HERE), *options], check=True, stdout=subprocess.DEVNULL)
    return out / "firmware.hex"


def main() -> int:
    """Build all and put them into the Python package."""
    GOAL.mkdir(exist_ok=True)
    for baud in BAUDS:
        for program in PROGRAMS:
            shutil.copyfile(build(baud, program), GOAL / name(baud, program))
            print(f"wrote {name(baud, program)}")
    (GOAL / "about.json").write_text(json.dumps(about(), indent=2) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
