"""rodbench load"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_port
from rodbench.errors import RodbenchError, UsageError

if TYPE_CHECKING:
    from rodbench.board import Hello
    from rodbench.load.images import Bootloader
    from rodbench.load.loading import Loaded, Loader


@click.command("load")
@click.option(
    "--bootloader",
    type=click.Choice(["new", "old"]),
    help="new: 115 200 baud; old: 57 600, many older Nano boards. Else both are tried.",
)
@click.option("--print", "only_print", is_flag=True, help="Show the programmer's line; do nothing.")
@click.option(
    "--without-settings", is_flag=True, help="Pull no settings first, whatever the board holds."
)
@click.option(
    "--program",
    type=click.Choice(["usual", "whole"]),
    default="usual",
    show_default=True,
    help="whole: also reads buttons, sticks and servo pulses.",
)
@click.option(
    "--bootloader-512",
    "small_bootloader",
    is_flag=True,
    help="This board's bootloader takes 512 bytes: the whole program needs that.",
)
@for_port
def command(
    setup: Setup,
    bootloader: str | None,
    only_print: bool,
    without_settings: bool,
    program: str,
    small_bootloader: bool,
) -> None:
    """Put the firmware on a board. Nothing moves.

    Pulls the board's settings into logbook/backup first, runs the installed avrdude with the
    program that comes with rodbench, asks the board who it is, and compares its settings with
    those of before. What did not survive is put back.

    The whole program is larger than 30 720 bytes: on a board that keeps 2 KB for its bootloader, as
    many small boards with the newer one do, it would lie where the chip starts, and only a
    programmer could bring it back. Load it where the boards.txt of the board says maximum_size
    32256, and say so by --bootloader-512. The usual program fits all boards and does all but read
    buttons, sticks and servo pulses.

    Switch motor power off meanwhile: half a program guards nothing.

    \b
    Example:  rodbench load --port /dev/ttyUSB0
    """
    from rodbench.load import programmer
    from rodbench.load.loading import order

    _check_port(setup)
    avrdude = programmer.find()
    tried = order(bootloader, program)
    if program != "usual" and not small_bootloader:
        raise UsageError(
            "the whole program is for boards whose bootloader takes 512 bytes alone",
            kept="nothing was changed, and the board was not touched",
            hint="see `rodbench load --help`; if this board's does, say --bootloader-512",
        )
    if only_print or avrdude is None:
        _show_lines(setup, tried, missing=avrdude is None)
        return
    _load(setup, avrdude, tried, pull=not without_settings)


def _check_port(setup: Setup) -> None:
    port = setup.port_name()
    if setup.emulated() or port.startswith("tcp:"):
        raise UsageError(
            f"{port} is no board that a program is loaded on",
            kept="nothing was changed",
            hint="--port with the board's own serial port",
        )


def _show_lines(setup: Setup, tried: tuple[Bootloader, ...], missing: bool) -> None:
    from rodbench.load.loading import lines_for
    from rodbench.load.programmer import INSTALL

    lines = lines_for(setup.port_name(), tried)
    talk.result(
        {"lines": {b.word: line for b, line in lines}},
        "\n".join(f"{b.name}, {b.baud} baud:\n  {line}" for b, line in lines),
        setup.as_json and not missing,
    )
    if missing:
        raise UsageError(
            "avrdude, the programmer, is not installed",
            kept="nothing was changed, and the board was not touched",
            hint=f"{INSTALL}; or type the line above where it is",
        )


def _load(setup: Setup, program: str, tried: tuple[Bootloader, ...], pull: bool) -> None:
    from rodbench.load.loading import Loader
    from rodbench.record.logbook import FOLDER

    loader = Loader(setup.port_name(), setup.folder / FOLDER, talk.say, _heard)
    talk.say(f"load: rodbench firmware {loader.done.about}, on {setup.port_name()}")
    try:
        done = loader.load(program, tried, pull)
    except RodbenchError as error:
        _log(setup, loader, error.message)
        raise
    _log(setup, loader, "loaded")
    assert done.after is not None
    text = f"loaded: rodbench {done.after.firmware}, settings {done.after.digest_live:08X}"
    talk.result(_data(done), text, setup.as_json)


def _heard(text: str) -> None:
    """avrdude's own words, as they come."""
    with talk.forgiving():
        sys.stderr.write(text)
        sys.stderr.flush()


def _log(setup: Setup, loader: Loader, ended: str) -> None:
    """An entry where there is a machine, or where settings were kept."""
    if setup.has_machine or loader.done.kept:
        after = loader.done.after
        digest = None if after is None else after.digest_live
        setup.logbook().append("load", digest=digest, ended=ended, **_data(loader.done))


def _data(done: Loaded) -> dict[str, Any]:
    return {
        "firmware": str(done.about),
        "before": _who(done.before),
        "after": _who(done.after),
        "bootloader": None if done.bootloader is None else done.bootloader.word,
        "line": done.line,
        "settings_kept": None if done.kept is None else str(done.kept),
        "settings_put_back": done.put_back,
        "new_keys": done.new_keys,
        "programmer_log": None if done.log is None else str(done.log),
    }


def _who(hello: Hello | None) -> dict[str, Any] | None:
    if hello is None:
        return None
    return {
        "firmware": hello.firmware,
        "protocol": f"{hello.protocol_major}.{hello.protocol_minor}",
        "board_id": hello.board_id,
        "digest_live": f"{hello.digest_live:08X}",
        "digest_stored": f"{hello.digest_stored:08X}",
    }
