"""Random settings to a card, to a poor photo of it, and back: same settings, or refused.

python -m tests.settings.cards --count 200
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np
from rodbench.errors import SettingsError
from rodbench.settings.card import from_text, of_machine
from rodbench.settings.photo import code_text
from rodbench.settings.restore import machine_file
from rodbench.show.card_code import Code, code

from tests.settings import pictures
from tests.settings.random_machines import machine

FIRST = 20_261  # of the fixed series
DAY = date(2026, 3, 1)


def trial(number: int, folder: Path) -> tuple[str, Code, pictures.Shot]:
    """One machine, one card, one photo: `back`, `refused` or `wrong`."""
    made = machine(random.Random(number))
    rng = np.random.default_rng(number)
    card, how = code(of_machine(made, DAY)), pictures.shot(rng)
    path = pictures.photo(card, how, rng, folder / f"{number}.jpg")
    try:
        found = machine_file(from_text(code_text(path)), folder / "machine.toml")
    except SettingsError:
        return "refused", card, how
    finally:
        path.unlink()
    same = (found.digest(), found.scopes()) == (made.digest(), made.scopes())
    return "back" if same else "wrong", card, how


def trials(count: int, folder: Path) -> Counter[str]:
    """How many came back, were refused, were wrong."""
    return Counter(trial(number, folder)[0] for number in range(FIRST, FIRST + count))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--each", action="store_true", help="a line for each")
    given = parser.parse_args()
    found: Counter[str] = Counter()
    modules, levels = [], Counter[str]()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(FIRST, FIRST + given.count):
            ended, card, how = trial(number, Path(folder))
            found[ended] += 1
            modules.append(card.module_mm)
            levels[card.level] += 1
            if given.each:
                print(number, ended, card.level, f"{card.module_mm:.2f} mm", how)
    print(
        f"{given.count} random machines: {found['back']} came back, {found['refused']} refused, "
        f"{found['wrong']} wrong; modules {min(modules):.2f} .. {max(modules):.2f} mm, "
        f"levels {', '.join(f'{level} {n}' for level, n in sorted(levels.items()))}"
    )
    raise SystemExit(bool(found["wrong"]))


if __name__ == "__main__":
    main()
