"""rodbench page"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_page
from rodbench.cli.recordings import find
from rodbench.errors import SettingsError, UsageError

if TYPE_CHECKING:
    from rodbench.board import Board
    from rodbench.page.live import LiveFeed
    from rodbench.page.serve import PageServer

LOOPBACK = "127.0.0.1"
OTHERS = (
    "! Who moves a rod from elsewhere does not see it. Everyone on this network can open the page, "
    "watch and stop; who has the key can move rods, and the key goes over the network in the "
    "clear. Only on a network that is yours; stay in sight of the machine."
)


@click.command("page")
@click.option(
    "--listen",
    "address",
    metavar="ADDRESS",
    default=LOOPBACK,
    help="Serve at this address of this computer, so that others on its network can open the "
    "page. Without it: for this computer only.",
)
@click.option(
    "--web-port",
    metavar="N",
    type=click.IntRange(0, 65535),
    default=0,
    help="Serve at this port. Without it: at any that is free.",
)
@click.option(
    "--replay",
    "recording",
    metavar="FILE",
    help="Show a recording in place of a board: a file, or its name in the logbook. Nothing moves.",
)
@for_page
def command(setup: Setup, address: str, web_port: int, recording: str | None) -> None:
    """A page beside the machine, for a browser: position, current, stop, hold-to-run.

    It prints an address with a key. Who opens that may control, one page at a time; who opens the
    address without the key watches, and can stop. Ctrl-C ends it; a rod that a page moves is
    stopped first.

    \b
    Example:  rodbench page
              rodbench page --listen 192.168.1.20
              rodbench page --replay first-run
    """
    _needs_library()
    if recording is not None:
        with _replay(setup, find(setup, recording), address, web_port) as server:
            talk.result({"url": server.url, "port": server.port}, server.url, setup.as_json)
            talk.say("Ctrl-C ends the page.")
            server.run()
        return
    _ask_before(setup, address)
    with _server(setup, address, web_port) as server:
        data = {"url": server.url, "keyed_url": server.keyed_url, "port": server.port}
        text = f"control: {server.keyed_url}\nwatch:   {server.url}"
        talk.result(data, text, setup.as_json)
        talk.say("Ctrl-C ends the page. The first address holds the key: give it to nobody.")
        server.run()


def _ask_before(setup: Setup, address: str) -> None:
    """The cautions. Raises UsageError when they are not accepted."""
    from rodbench.cli.caution import before_page

    with setup.board("page") as board:
        before_page(setup, board)
    if address != LOOPBACK:
        talk.say(OTHERS)


def _needs_library() -> None:
    """Raises UsageError where the page's library is not installed."""
    from importlib.util import find_spec

    if find_spec("nicegui") is None:
        raise UsageError(
            "the page needs a library that is not installed",
            kept="nothing is served",
            hint="in the folder that rodbench was installed from: python -m pip install '.[page]'",
        )


@contextlib.contextmanager
def _server(setup: Setup, address: str, web_port: int) -> Iterator[PageServer]:
    """The server on an opened board; at its end whatever a page moves is stopped."""
    from rodbench.page.control import Control
    from rodbench.page.hands import Hands
    from rodbench.page.live import LiveFeed
    from rodbench.page.serve import PageServer
    from rodbench.page.stopper import Stopper

    feed, stopper = LiveFeed(lambda: _open(setup, "page")), Stopper(lambda: _open(setup, "stop"))
    _describe(setup, feed)
    control = Control()
    hands = Hands(feed, control, feed, stopper)
    try:
        server = PageServer(feed, hands, control, address=address, port=web_port)
        feed.begin()
        yield server
    finally:
        hands.close()
        feed.close()
        stopper.close()


@contextlib.contextmanager
def _replay(setup: Setup, path: Path, address: str, web_port: int) -> Iterator[PageServer]:
    """The server on a recording. Raises RecordingError."""
    from rodbench.page.control import Control
    from rodbench.page.hands import Hands
    from rodbench.page.replay import ReplayFeed
    from rodbench.page.serve import PageServer

    feed, control = ReplayFeed(path, setup.units()), Control()
    server = PageServer(feed, Hands(feed, control), control, address=address, port=web_port)
    feed.begin()
    try:
        yield server
    finally:
        feed.close()


def _open(setup: Setup, who: str) -> Board:
    from rodbench.board import Board

    return Board.open(setup.port_name(), folder=str(setup.folder), who=who)


def _describe(setup: Setup, feed: LiveFeed) -> None:
    """What the machine file says; one that does not hold is no reason to show nothing."""
    from rodbench.page import baseline

    if not setup.has_machine:
        return
    try:
        machine = setup.machine()
    except SettingsError as error:
        talk.say(f"note: {error.message}")
        return
    rods = {axis: machine.rod_of(axis) for axis in machine.axes}
    feed.describe(machine.name, rods, setup.units(), setup.machine_path, machine.positions)
    feed.baseline, left_out = baseline.strokes(setup.folder, rods)
    for line in left_out:
        talk.say(f"note: {line}")
