"""Options that many commands share, and what they mean together."""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rodbench.cli import talk
from rodbench.errors import RodbenchError, SettingsError, UsageError

if TYPE_CHECKING:
    from rodbench.board import Board
    from rodbench.emulator.rig import Rig
    from rodbench.record.logbook import Logbook
    from rodbench.settings.machine import MachineFile
    from rodbench.settings.units import Units

F = TypeVar("F", bound=Callable[..., Any])


@dataclass(slots=True)
class Setup:
    """What a command was given: port, machine file, and how to answer."""

    port: str | None = None
    machine_path: Path = field(default_factory=lambda: Path("machine.toml"))
    as_json: bool = False
    yes: bool = False
    answers: Path | None = None
    speed: str | None = None
    look: Callable[[str], str | None] | None = None  # eyes of an emulated plant
    rig: Rig | None = None  # the emulated machine itself, where it lives in this process
    eye: str | None = None  # the address of such eyes beside a pty or TCP port
    ready_answers: Mapping[str, object] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        """The machine folder: where machine file, logbook and emulator state are."""
        return self.machine_path.resolve().parent

    @property
    def has_machine(self) -> bool:
        """Whether there is a machine file, so that a logbook belongs here."""
        return self.machine_path.exists()

    def machine(self) -> MachineFile:
        """The machine file. Raises SettingsError."""
        from rodbench.settings.machine import MachineFile

        return MachineFile.load(self.machine_path)

    def machine_or_error(self) -> MachineFile | SettingsError | None:
        """The machine file, or why it does not hold; None where there is none."""
        try:
            return self.machine() if self.has_machine else None
        except SettingsError as error:
            return error

    def logbook(self) -> Logbook:
        """The logbook beside the machine file; torn lines are said."""
        from rodbench.record.logbook import Logbook

        book = Logbook.beside(self.machine_path)
        for skipped in book.read()[1]:
            talk.say(f"note: {skipped}")
        return book

    def log(self, board: Board, kind: str, **data: Any) -> None:
        """An entry of the logbook, with the settings in force, where there is a machine file. One
        that cannot be written is said: what the command did stands all the same."""
        from rodbench.record.logbook import LogbookError

        if not self.has_machine:
            return
        digest = None  # a link that is lost just now must not lose the entry
        with contextlib.suppress(RodbenchError):
            digest = board.digests()["live"]
        try:
            self.logbook().append(kind, digest=digest, **data)
        except LogbookError as error:
            talk.say(f"note: {error.message}")

    def units(self) -> Units:
        """Units of screens, by the machine file where there is one that holds."""
        from rodbench.settings.units import Units

        with contextlib.suppress(SettingsError):
            if self.has_machine:
                return Units(self.machine().show_units)
        return Units("mm")

    def port_name(self) -> str:
        """The port that was named. Raises UsageError when none was."""
        if self.port:
            return self.port
        raise UsageError(
            "which port? None was named",
            kept="nothing was sent",
            hint="--port NAME, or set RODBENCH_PORT. `rodbench ports` lists them; "
            "`--port emulator` needs no board.",
        )

    @contextlib.contextmanager
    def board(self, who: str) -> Iterator[Board]:
        """The board on the port, through its owner (or in virtual time with --speed max)."""
        from rodbench.cli.boards import open_board

        with open_board(self, who) as board:
            yield board

    def emulated(self) -> bool:
        """Whether the port is an emulator of our own."""
        return self.port_name().split(":")[0] == "emulator"


def _set(name: str) -> Callable[[click.Context, click.Parameter, Any], Any]:
    def store(ctx: click.Context, param: click.Parameter, value: Any) -> None:
        if value is not None:
            setattr(ctx.ensure_object(Setup), name, value)

    return store


_PORT = click.option(
    "--port",
    metavar="NAME",
    envvar="RODBENCH_PORT",
    expose_value=False,
    callback=_set("port"),
    help="/dev/ttyUSB0, COM3, tcp:HOST:PORT, emulator or emulator:PLANT.toml. "
    "Without it: RODBENCH_PORT.",
)
_MACHINE = click.option(
    "--machine",
    "-m",
    metavar="FILE",
    type=click.Path(path_type=Path),
    expose_value=False,
    callback=_set("machine_path"),
    help="The machine file; else machine.toml in this folder.",
)
_JSON = click.option(
    "--json",
    is_flag=True,
    default=None,
    expose_value=False,
    callback=_set("as_json"),
    help="Print the result as JSON.",
)
_YES = click.option(
    "--yes",
    is_flag=True,
    default=None,
    expose_value=False,
    callback=_set("yes"),
    help="Accept cautions. Never answers what only a person can see.",
)
_ANSWERS = click.option(
    "--answers",
    metavar="FILE",
    type=click.Path(path_type=Path),
    expose_value=False,
    callback=_set("answers"),
    help='Answers from a TOML file, one line each: run_a = "out".',
)
_EYE = click.option(
    "--eye",
    metavar="ADDRESS",
    expose_value=False,
    callback=_set("eye"),
    help="Eyes of an emulated plant, as `rodbench emulate` says it.",
)
_SPEED = click.option(
    "--speed",
    "pace",
    metavar="max",
    type=click.Choice(["max"]),
    expose_value=False,
    callback=_set("speed"),
    help="With --port emulator: faster than real time, in this process.",
)


def _with(*options: Callable[[F], F]) -> Callable[[F], F]:
    def decorate(function: F) -> F:
        @functools.wraps(function)
        def with_setup(*args: Any, **kwargs: Any) -> Any:
            return function(click.get_current_context().ensure_object(Setup), *args, **kwargs)

        decorated: Any = with_setup
        for option in reversed(options):
            decorated = option(decorated)
        return decorated  # type: ignore[no-any-return]

    return decorate


for_file = _with(_MACHINE, _JSON)
for_board = _with(_PORT, _MACHINE, _JSON, _SPEED)
for_motion = _with(_PORT, _MACHINE, _JSON, _YES, _SPEED)
for_page = _with(_PORT, _MACHINE, _JSON, _YES)
for_procedure = _with(_PORT, _MACHINE, _JSON, _YES, _ANSWERS, _EYE, _SPEED)
for_port = _with(_PORT, _MACHINE, _JSON)
for_wiring = _with(_MACHINE, _JSON, _YES, _ANSWERS)
plain_json = _with(_JSON)

axis_argument = click.argument("axis", type=click.IntRange(1, 2), metavar="AXIS")
