"""rodbench report"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_file
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.settings.machine import MachineFile
    from rodbench.show.report_proof import Kept, Proof
    from rodbench.show.report_recording import Recorded

_MOST_COMPARED = 200_000  # rows: some ten proofs of a long rod
_HTML = (".html", ".htm")


@click.command("report")
@click.argument("file", metavar="[FILE]", type=click.Path(path_type=Path), required=False)
@click.option("--card", is_flag=True, help="The card for the lid, A6, in place of the report.")
@click.option(
    "--pdf",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Print it as PDF too, by a browser that is installed.",
)
@click.option(
    "--recording", metavar="NAME", help="Tell a recording too: a file, or its name in the logbook."
)
@for_file
def command(
    setup: Setup, file: Path | None, card: bool, pdf: Path | None, recording: str | None
) -> None:
    """The machine on paper: wiring, settings, history, proof, trips, cautions.

    FILE is one HTML page with everything in it; report.html or card.html without it. Needs no
    board: it tells what machine file, logbook and runs say.

    The card is for the lid: wiring, fuse, limits, how to stop and how to clear a fault, and a QR
    code with all settings, from which `rodbench settings restore` makes the machine file anew.
    Print it at 100 %; not scaled to the paper.

    \b
    Example:  rodbench report
              rodbench report vent.html --pdf vent.pdf
              rodbench report --recording first-run
              rodbench report --card lid.html
    """
    _check_name(file, _HTML)
    _check_name(pdf, (".pdf",))
    machine = setup.machine()
    if card and recording:
        raise UsageError("a card has no room for a recording", kept="nothing was written")
    html, data, note = _card(machine) if card else _report(setup, machine, recording)
    if file is None and pdf is None:
        file = Path("card.html" if card else "report.html")
    written = [_write(file, html.encode())] if file else []
    if pdf is not None:
        written.append(_write(pdf, _printed(html)))
    setup.logbook().append("report", digest=machine.digest(), card=card, files=written)
    data = {"digest": f"{machine.digest():08X}", "files": written, **data}
    text = f"{' and '.join(written)}: {note}, settings {machine.digest():08X}"
    talk.result(data, text, setup.as_json)


def _check_name(path: Path | None, kinds: tuple[str, ...]) -> None:
    """Nothing but a page is ever overwritten, such as a machine file named by mistake."""
    if path is not None and path.suffix.lower() not in kinds:
        raise UsageError(
            f"{path} is no name for this: it ends in {' or '.join(kinds)}",
            kept="nothing was written",
            hint="The machine file is given by --machine FILE.",
        )


def page(setup: Setup, machine: MachineFile) -> str:
    """The report's HTML."""
    return _report(setup, machine)[0]


def card_page(machine: MachineFile) -> str:
    """The card's HTML."""
    return _card(machine)[0]


def _card(machine: MachineFile) -> tuple[str, dict[str, Any], str]:
    from datetime import datetime

    from rodbench.show.card import card

    if not machine.axes:
        raise UsageError(
            f"{machine.path} describes no axis: there is nothing to put on a card",
            kept="nothing was written",
            hint="`rodbench commission` learns one.",
        )
    html, code = card(machine, datetime.now().astimezone())
    spare = sorted(set(machine.rods) - {machine.rod_of(axis) for axis in machine.axes})
    if spare:
        talk.say(f"note: not on the card, as on no axis: {', '.join(spare)}")
    if code.left_out:
        talk.say(f"note: no room in the code for {', '.join(code.left_out)}")
    data = {"code": code.text, "module_mm": round(code.module_mm, 3), "level": code.level}
    data["left_out"] = [*code.left_out, *spare]
    return html, data, f"card, code level {code.level}, modules of {code.module_mm:.2f} mm"


def _report(
    setup: Setup, machine: MachineFile, recording: str | None = None
) -> tuple[str, dict[str, Any], str]:
    from datetime import datetime
    from importlib.metadata import version

    from rodbench.bench.guarded import not_guarded
    from rodbench.bench.wire_known import of_machine
    from rodbench.show.power import plan
    from rodbench.show.report import report

    entries = setup.logbook().read()[0]
    proofs, left_out = _proofs(setup, machine)
    guards = [
        f"Axis {axis}: {not_guarded(machine.scope(0), machine.scope(axis))}"
        for axis in machine.axes
    ]
    html = report(
        machine, entries, proofs, now=datetime.now().astimezone(), version=version("rodbench"),
        not_guarded=guards, left_out=left_out,
        plan=plan(of_machine(machine)) if machine.axes else None,
        recorded=_recorded(setup, recording) if recording else None,
    )  # fmt: skip
    return html, {"proofs": len(proofs), "left_out": left_out}, "report"


def _recorded(setup: Setup, name: str) -> Recorded:
    from rodbench.cli.recordings import opened
    from rodbench.show.report_recording import recorded

    return recorded(opened(setup, name), setup.units())


def _proofs(setup: Setup, machine: MachineFile) -> tuple[list[Proof], list[str]]:
    """The latest whole run of each axis beside its baseline, and what could not be read."""
    from rodbench.record import runs
    from rodbench.show.report_proof import Kept

    latest: dict[int, Kept] = {}
    left_out = []
    for name in runs.names(setup.folder):
        try:
            kept = Kept(*runs.outline(setup.folder / runs.FOLDER / name))
            latest[kept.run.axis] = kept
        except runs.RunError as error:
            left_out.append(error.message)
    found = []
    for axis, kept in sorted(latest.items()):
        try:
            found.append(_proof(setup, machine, axis, kept))
        except runs.RunError as error:
            left_out.append(f"axis {axis}: {error.message}")
    return found, left_out


def _proof(setup: Setup, machine: MachineFile, axis: int, kept: Kept) -> Proof:
    """Raises RunError."""
    from rodbench.record import runs
    from rodbench.show.report_proof import Kept, proof

    name = runs.baseline_name(setup.folder, axis)
    before = None if name is None else Kept(*runs.outline(setup.folder / runs.FOLDER / name))
    values = machine.scope(axis)
    trip_a = values["trip_ma"] / 1000 if values["current_sensor"] else None
    said = () if before is None else _compared(setup, before, kept)
    return proof(kept, before, said, trip_a, setup.units())


def _compared(setup: Setup, before: Kept, kept: Kept) -> list[str]:
    """What `rodbench compare` says of the two; it needs all their rows at once."""
    if before.run.name == kept.run.name:
        return []
    if sum(table.rows for one in (before, kept) for table in one.tables) > _MOST_COMPARED:
        return ["Too long to be compared for a page: rodbench compare."]
    from rodbench.bench.compared import compared
    from rodbench.record import runs
    from rodbench.show.compare import notes, sentences

    baseline, later = (
        runs.read(setup.folder / runs.FOLDER / one.run.name) for one in (before, kept)
    )
    try:
        found = compared(baseline, later)
    except (KeyError, ValueError) as error:
        return [f"They cannot be compared: {error}."]
    return [*sentences(found, setup.units()), *notes(baseline, later, found)]


def _printed(html: str) -> bytes:
    from rodbench.show.print_pdf import pdf

    return pdf(html)


def _write(path: Path, data: bytes) -> str:
    from rodbench import durable

    try:
        durable.replace(path, data)
    except OSError as error:
        raise UsageError(
            f"cannot write {path}: {error.strerror or error}", kept="nothing was overwritten"
        ) from None
    return str(path)
