"""Whatever comes down the line: no sanitizer speaks, nothing that must hold breaks.

tests/build/fuzz 7 10000000 tests/build/gang.eeprom        # longer, with another seed
"""

from __future__ import annotations

import re
import subprocess

import pytest

from tests.core import native, noise

TICKS = 60000
BYTES = 3_000_000


IMAGES = {
    "two rods": noise.settings_with_two_rods(),
    "all guards": noise.settings_with_all_guards(),
    "gang": noise.settings_of_a_gang(),
    "inputs": noise.settings_of_inputs(),
}


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("image", IMAGES)
def test_wild_bytes(image: str, seed: int) -> None:
    names = ("harness.c", "book.c", "fuzz.c")
    files = [*native.c_files(), *(native.HARNESS / name for name in names)]
    program = native.compile_c(native.BUILD / "fuzz", files, *noise.INCLUDES, *noise.SANITIZED)
    memory = native.BUILD / f"{image.replace(' ', '_')}.eeprom"
    memory.write_bytes(IMAGES[image])
    done = subprocess.run(
        [program, str(seed), str(TICKS), str(memory)], capture_output=True, text=True, check=False
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr[-3000:]
    taken = [int(n) for n in re.findall(r"\d+", done.stdout)]
    assert taken[0] == TICKS
    assert taken[1] > TICKS / 4, "replies"
    assert taken[3] > TICKS / (200 if image == "gang" else 50), "ticks with output"
    assert taken[4] > 10, "resets"


@pytest.mark.parametrize("seed", [1, 2])
def test_noise_moves_nothing_and_hangs_nothing(seed: int) -> None:
    """`python -m tests.core.noise 100000000` does it for longer."""
    told = noise.run(BYTES, seed)
    print(told)
    count = {name: int(n) for n, name in re.findall(r"(\d+) (bytes|frames|good|jogs|ticks)", told)}
    assert count["bytes"] >= BYTES
    assert count["frames"] > BYTES / 20
    assert count["good"] > count["frames"] / 20, "whole frames that a board must refuse"
    assert count["ticks"] > 20 * count["jogs"] > 0, "the jogs did drive"
