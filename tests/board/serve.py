"""The real binary behind a port, in real time: `python -m tests.board.serve --pty`.

It says on standard output where it listens, one JSON line; then any rodbench command works with
--port. With --eye the machine's eye is served beside it, for procedures that ask a person.
"""

from __future__ import annotations

import argparse
import json
import sys
from typing import cast

from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.eye import EyeServer
from rodbench.emulator.plant_file import default_machine, load
from rodbench.emulator.serve import Door, PtyDoor, Served, TcpDoor
from rodbench.errors import RodbenchError

from tests.board.build import ToolsMissing, firmware
from tests.board.simboard import SimBoard


def arguments(words: list[str] | None = None) -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.board.serve", description=__doc__)
    parser.add_argument("--plant", help="a plant file; without it the ridge vent of the demo")
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--pty", action="store_true", help="a pseudo terminal (the default)")
    where.add_argument("--tcp", type=int, metavar="PORT", help="a TCP port; 0: any that is free")
    parser.add_argument("--eye", metavar="ADDRESS", help="serve the eye: a path, or HOST:PORT")
    return parser.parse_args(words)


def start(options: argparse.Namespace) -> Served:
    """The board in its simulator, behind its door."""
    machine = load(options.plant) if options.plant else default_machine()
    board = SimBoard(machine, elf=firmware(machine.line.baud))
    door: Door = PtyDoor() if options.tcp is None else TcpDoor(options.tcp)
    # the same surface as the emulator's board: all that Served uses
    return Served(cast(EmulatedBoard, board), door)


def main(words: list[str] | None = None) -> int:
    """Serve until interrupted."""
    options = arguments(words)
    try:
        served = start(options)
    except (RodbenchError, ToolsMissing) as problem:
        print(f"error: {problem}", file=sys.stderr)
        return 1
    eye = EyeServer(served.look, options.eye) if options.eye else None
    listens = {
        "listens": served.door.address,
        "board": "simavr",
        "eye": eye.address if eye else None,
    }
    print(json.dumps(listens), flush=True)
    try:
        served.wait()
    except KeyboardInterrupt:
        pass
    finally:
        served.close()
        if eye:
            eye.close()
        late = served.paced.slipped_s
        if late > 0:
            print(
                f"the board stood still for {late:.1f} s: this computer was too slow",
                file=sys.stderr,
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
