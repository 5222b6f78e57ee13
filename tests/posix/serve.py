"""The port on its own pty under a plant, in real time: `python -m tests.posix.serve`.

It says on standard output where it listens, one JSON line; then any rodbench command works with
--port. With --eye the machine's eye is served beside it, for procedures that ask a person.
"""

from __future__ import annotations

import argparse
import json
import sys
import time

from rodbench.emulator.eye import EyeServer
from rodbench.emulator.plant_file import Machine, load, parse
from rodbench.errors import RodbenchError

from tests.posix.board import KIND
from tests.posix.machine import PLANT
from tests.posix.real_time import RealTime


def arguments(words: list[str] | None = None) -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.posix.serve", description=__doc__)
    parser.add_argument("--plant", help=f"a plant file whose board is of kind {KIND}")
    parser.add_argument("--eye", metavar="ADDRESS", help="serve the eye: a path, or HOST:PORT")
    return parser.parse_args(words)


def machine(plant: str | None) -> Machine:
    """The machine of the file, or a small one."""
    made = load(plant) if plant else parse(PLANT, "the port's own plant")
    if made.board.kind != KIND:
        raise SystemExit(f"error: {plant}: board.kind is {made.board.kind}; this board is {KIND}")
    return made


def main(words: list[str] | None = None) -> int:
    """Serve until interrupted, or until the process ends."""
    options = arguments(words)
    try:
        board = RealTime(machine(options.plant))
    except RodbenchError as problem:
        print(f"error: {problem}", file=sys.stderr)
        return 1
    eye = EyeServer(board.look, options.eye) if options.eye else None
    listens = {"listens": board.port, "board": KIND, "eye": eye.address if eye else None}
    try:
        print(json.dumps(listens), flush=True)
        while board.process.process.poll() is None:
            time.sleep(0.2)
    except KeyboardInterrupt:
        pass
    finally:
        if eye:
            eye.close()
        board.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
