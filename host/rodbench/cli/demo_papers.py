"""What the demo leaves on paper: wiring, report, card for the lid."""

from __future__ import annotations

from rodbench.cli import talk
from rodbench.cli.options import Setup

NAMES = ("wiring.svg", "report.html", "card.html")


def papers(setup: Setup) -> list[str]:
    """Write them into the machine folder; their names."""
    from rodbench.cli import report, wire

    machine = setup.machine()
    talk.say(
        "\nOn paper: the wiring of axis 1, a report, and a card for the lid, from a photo of which "
        "`rodbench settings restore` makes the machine file again."
    )
    pages = wire.drawn(setup, 1), report.page(setup, machine), report.card_page(machine)
    for name, page in zip(NAMES, pages, strict=True):
        (setup.folder / name).write_text(page, encoding="utf-8")
    return list(NAMES)
