"""rodbench emulate"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, plain_json
from rodbench.errors import Interrupted, UsageError

if TYPE_CHECKING:
    from rodbench.emulator.serve import Door


@click.command("emulate")
@click.option("--plant", metavar="FILE", help="A plant file; else the packaged ridge vent.")
@click.option("--pty", is_flag=True, help="Serve on a pseudo terminal (not on Windows).")
@click.option("--tcp", metavar="PORT", type=click.IntRange(0, 65535), help="Serve on 127.0.0.1.")
@click.option(
    "--speed",
    metavar="N",
    type=click.FloatRange(0.01, 100.0),
    default=1.0,
    help="Times real time; 1 unless given. Hosts keep real time, so stay near 1.",
)
@click.option(
    "--eye",
    metavar="ADDRESS",
    help="Serve the machine's eye, for `commission --eye`: a path, or HOST:PORT.",
)
@click.option(
    "--state",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Keep EEPROM and rod positions here between runs.",
)
@click.option("--keys", is_flag=True, help="Show every key of a plant file, and the faults.")
@plain_json
def command(
    setup: Setup,
    plant: str | None,
    pty: bool,
    tcp: int | None,
    speed: float,
    eye: str | None,
    state: Path | None,
    keys: bool,
) -> None:
    """Serve an emulated board, with a machine on it, until Ctrl-C.

    Says where it listens. Opening the pty restarts the board, as opening a real port does. A
    plant file may hold faults of machine, supply and line, each from a time on: --keys lists them.

    \b
    Example:  rodbench emulate --pty
              rodbench emulate --plant vent.toml --tcp 7070 --eye /tmp/vent.eye
    """
    if keys:
        _show_keys(setup.as_json)
        return
    if pty == (tcp is not None):
        raise UsageError(
            "emulate needs --pty or --tcp PORT, one of them",
            kept="no emulator was started",
            hint="rodbench emulate --pty",
        )
    _serve(setup, plant, tcp, speed, eye, state)


def _show_keys(as_json: bool) -> None:
    from rodbench.emulator.faults import KINDS
    from rodbench.emulator.plant_keys import describe, table_text

    kinds = [
        {"kind": k.name, "place": k.place, "value": k.value, "meaning": k.doc}
        for k in KINDS.values()
    ]
    talk.result({"keys": describe(), "faults": kinds}, table_text(), as_json)


def _serve(
    setup: Setup,
    plant: str | None,
    tcp: int | None,
    speed: float,
    eye: str | None,
    state: Path | None,
) -> None:
    from rodbench.emulator.eye import EyeServer
    from rodbench.emulator.open import open_board
    from rodbench.emulator.serve import Served

    board = open_board(plant, state)
    served = Served(board, _door(tcp), speed)
    eyes = None
    try:
        eyes = EyeServer(served.look, eye) if eye else None
        address = {"port": served.door.address, "eye": eyes.address if eyes else None}
        where = f"{board.machine.name}: emulated board on {address['port']}"
        talk.result(
            {**address, "plant": board.machine.name, "speed": speed},
            where + (f", its eye on {address['eye']}" if eyes else ""),
            setup.as_json,
        )
        talk.say("Figures are those of the plant file. Ctrl-C ends it.")
        served.wait()
    except (KeyboardInterrupt, Interrupted):
        talk.say("ended")
    finally:
        if eyes:
            eyes.close()
        served.close()
        if served.paced.slipped_s > 0.0:
            talk.say(f"the board stood still for {served.paced.slipped_s:.1f} s: too much to do")


def _door(tcp: int | None) -> Door:
    from rodbench.emulator.serve import PtyDoor, TcpDoor

    return PtyDoor() if tcp is None else TcpDoor(tcp)
