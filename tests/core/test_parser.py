"""Whatever comes down the line: no sanitizer speaks, nothing that must hold breaks.

tests/build/fuzz 7 10000000        # longer, with another seed
"""

from __future__ import annotations

import re
import subprocess

import pytest
from rodbench_protocol import settings

from tests.core import native
from tests.twin.memory import SIZE, put_slot

TICKS = 60000


def settings_with_two_rods() -> bytes:
    """Axis 1 not calibrated, axis 2 calibrated, both the whole duty."""
    axis = settings.defaults("axis") | {"feedback": 1, "duty_share_permille": 1000}
    ends = {"raw_retracted": 600, "raw_extended": 7400, "calibrated": 1, "creep_speed_um_s": 3000}
    scopes = [settings.pack_scope("board", settings.defaults("board"))]
    scopes += [settings.pack_scope("axis", values) for values in (axis, axis | ends)]
    image = bytearray(b"\xff" * SIZE)
    put_slot(image, 0, 1, scopes)
    return bytes(image)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_wild_bytes(seed: int) -> None:
    files = [*native.c_files(), native.HARNESS / "harness.c", native.HARNESS / "fuzz.c"]
    flags = ("-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
    program = native.compile_c(
        native.BUILD / "fuzz", files, f"-I{native.SOURCES}", f"-I{native.HARNESS}", *flags
    )
    memory = native.BUILD / "fuzz.eeprom"
    memory.write_bytes(settings_with_two_rods())
    done = subprocess.run(
        [program, str(seed), str(TICKS), str(memory)], capture_output=True, text=True, check=False
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr[-3000:]
    taken = [int(n) for n in re.findall(r"\d+", done.stdout)]
    assert taken[0] == TICKS
    assert taken[1] > TICKS / 4, "replies"
    assert taken[3] > TICKS / 50, "ticks with output"
    assert taken[4] > 10, "resets"
