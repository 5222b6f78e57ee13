"""rodbench settings restore"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_file
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.settings.card import Card
    from rodbench.settings.machine import MachineFile


@click.command("restore")
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Overwrite the machine file that is there.")
@for_file
def command(setup: Setup, photo: Path, replace: bool) -> None:
    """Make a machine file from a picture of a card for the lid.

    PHOTO is a photo, a scan or a screenshot of the card's code; or a text file with what a phone's
    reader shows of it, RODBENCH/1/ and the rest. Damaged codes are refused, never guessed.

    Nothing is sent: `rodbench settings push` does that. A card holds no logbook, baseline, proofs
    or comments.

    \b
    Example:  rodbench settings restore lid.jpg
    """
    from rodbench.settings.card import from_text
    from rodbench.settings.photo import code_text
    from rodbench.settings.restore import NOT_ON_A_CARD, machine_file

    card = from_text(code_text(photo))
    machine = machine_file(card, setup.machine_path)
    _save(machine, replace)
    digest = machine.digest()
    setup.logbook().append(
        "restored", digest=digest, photo=photo.name, made=card.made.isoformat(),
        card_digest=f"{card.digest:08X}",
    )  # fmt: skip
    talk.say(f"note: {NOT_ON_A_CARD}")
    data = {
        "machine": str(machine.path),
        "digest": f"{digest:08X}",
        "card_digest": f"{card.digest:08X}",
        "made": card.made.isoformat(),
        "axes": machine.axes,
        "remarks": machine.remarks,
    }
    talk.result(data, _said(machine, card), setup.as_json)


def _said(machine: MachineFile, card: Card) -> str:
    made = f"{machine.path}: settings {machine.digest():08X}, from the card of {card.made}"
    if machine.digest() != card.digest:
        made += (
            f"\n  The card says {card.digest:08X}: it was made when there were fewer settings; the "
            "new ones are at their defaults."
        )
    rods = "".join(f"\n  axis {axis}: {name}" for axis, name in card.rods.items())
    return f"{made}{rods}\nNext: rodbench settings check; rodbench settings push"


def _save(machine: MachineFile, replace: bool) -> None:
    if machine.path.exists() and not replace:
        raise UsageError(
            f"{machine.path} is there already; the card holds settings {machine.digest():08X}",
            kept="Nothing was written.",
            hint="--machine OTHER.toml keeps both; --replace overwrites it.",
        )
    if not machine.path.resolve().parent.is_dir():
        raise UsageError(
            f"{machine.path.parent}: there is no such folder", kept="Nothing was written."
        )
    machine.write()
