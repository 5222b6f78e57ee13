"""rodbench new"""

from __future__ import annotations

from pathlib import Path

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, plain_json
from rodbench.errors import UsageError


@click.command("new")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--name", metavar="TEXT", help="What the machine is called; else the folder's name.")
@plain_json
def command(setup: Setup, folder: Path, name: str | None) -> None:
    """Make a machine folder: machine file and logbook.

    Inside it no path is needed. An existing machine file is never overwritten.

    \b
    Example:  rodbench new vent
    """
    machine = make(folder, name or folder.resolve().name)
    talk.result(
        {"machine": str(machine), "logbook": str(folder / "logbook")},
        f"{machine} is there. Next: cd {folder}; rodbench commission",
        setup.as_json,
    )


def make(folder: Path, name: str) -> Path:
    """The new machine file. Raises UsageError and leaves everything when there is one already."""
    from rodbench.record.logbook import FOLDER, Logbook
    from rodbench.settings.machine import FILE_NAME, new_text

    machine = folder / FILE_NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with machine.open("x", encoding="utf-8") as out:
            out.write(new_text(name))
        Logbook(folder / FOLDER).append("new", machine=name)
    except FileExistsError as error:
        raise UsageError(
            f"{error.filename or folder} is there already",
            kept="Nothing was overwritten.",
            hint="Choose another folder, or work in this one.",
        ) from None
    except OSError as error:
        raise UsageError(f"{folder}: {error.strerror or error}") from None
    return machine
