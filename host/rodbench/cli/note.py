"""rodbench note"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_file
from rodbench.errors import UsageError


@click.command("note")
@click.argument("text", nargs=-1, metavar="TEXT")
@click.option(
    "--photo",
    "photos",
    multiple=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="A picture to keep with the note; may be given several times.",
)
@for_file
def command(setup: Setup, text: tuple[str, ...], photos: tuple[Path, ...]) -> None:
    """Write a note into the logbook, with photos.

    TEXT is the note. Photos are copied into logbook/photos. Entries are only ever appended: a note
    cannot be changed afterwards, write another.

    \b
    Example:  rodbench note "new bushing in the north hinge" --photo hinge.jpg
    """
    from rodbench.record.photos import keep

    words = " ".join(text).strip()
    if not words and not photos:
        raise UsageError("an empty note", hint='rodbench note "what was done" --photo FILE')
    if not setup.has_machine:
        setup.machine()  # says that there is none, and how to make one
    book = setup.logbook()
    kept = keep(book.folder, list(photos))
    entry = book.append("note", text=words, photos=[asdict(photo) for photo in kept])
    with_photos = "".join(f"\n  photo {book.folder / 'photos' / p.name}" for p in kept)
    talk.result(
        {"date": entry.date, "text": words, "photos": [asdict(p) for p in kept]},
        f"noted in {book.path}{with_photos}",
        setup.as_json,
    )
