"""rodbench settings check | diff | push | pull | restore"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import codes, restore, talk
from rodbench.cli.options import Setup, for_board, for_file

if TYPE_CHECKING:
    from rodbench.settings.machine import MachineFile
    from rodbench.settings.transfer import Difference


@click.group("settings")
def command() -> None:
    """Compare, send and fetch settings.

    \b
    Example:  rodbench settings check
    """


command.add_command(restore.command)


@command.command("check")
@for_file
def check(setup: Setup) -> None:
    """Check the machine file, without a board.

    What it cannot mean is an error with its line. What holds, but does less than it says, is a
    remark: a gang of which one rod is not calibrated, a position that no axis can go to.

    \b
    Example:  rodbench settings check -m vent/machine.toml
    """
    from rodbench.show.where import uncalibrated_words

    machine = setup.machine()
    uncalibrated = [axis for axis in machine.axes if not machine.scope(axis)["calibrated"]]
    text = f"{machine.path} holds: settings {machine.digest():08X}"
    for axis in uncalibrated:
        text += f"\n  axis {axis} {uncalibrated_words(machine.scope(axis))}"
    if not machine.axes:
        text += "\n  no axis yet: `rodbench commission` adds one"
    angles = {axis: said for axis in machine.axes if (said := _angles(setup, machine, axis))}
    for axis, said in angles.items():
        text += f"\n  axis {axis}: {said}"
    text += "".join(f"\n{remark}" for remark in machine.remarks)
    data = {
        "digest": f"{machine.digest():08X}",
        "axes": machine.axes,
        "uncalibrated": uncalibrated,
        "remarks": machine.remarks,
    }
    talk.result(data, text, setup.as_json)


def _angles(setup: Setup, machine: MachineFile, axis: int) -> str:
    """What the linkage makes of the soft stops, and where its 0 deg is; empty without one."""
    try:
        way = machine.way_of(axis)
        if way.linkage is None or not machine.scope(axis)["calibrated"]:
            return ""
        reach = way.reach()
    except ValueError:
        return ""  # a remark says why
    units = setup.units()
    return (
        f"{units.span(way.low_mm, way.high_mm)} is {reach}; 0 deg is where the rod stands at "
        f"{units.length(way.linkage.closed_at_mm)}"
    )


@command.command("diff")
@for_board
def diff(setup: Setup) -> int:
    """Show where file and board differ. Exit code 1 when they do.

    \b
    Example:  rodbench settings diff --port emulator
    """
    from rodbench.settings import transfer

    with setup.board("settings diff") as board:
        machine = transfer.load_for(board, setup.machine)
        found = transfer.diff(machine, board)
        live = board.digests()["live"]
    data = {"file": f"{machine.digest():08X}", "board": f"{live:08X}", "differences": _data(found)}
    talk.result(data, _diff_text(found, live), setup.as_json)
    return codes.DIFFERENT if found else 0


@command.command("push")
@click.option("--until-reset", is_flag=True, help="In force now, but not stored.")
@for_board
def push(setup: Setup, until_reset: bool) -> None:
    """Check, commit and store the machine file's settings on the board.

    All or nothing for each scope, at rest only. The axis keeps its old settings when the board
    refuses; endpoints, stroke and direction change by way of uncalibrated.

    \b
    Example:  rodbench settings push --port emulator
    """
    from rodbench.cli.gang import PAIRING
    from rodbench.settings import transfer

    with setup.board("settings push") as board:
        machine = transfer.load_for(board, setup.machine)
        done = transfer.push(machine, board, until_reset=until_reset)
    machine.save()
    ganged_now = any(d.wire == "apart_trip_um" and not d.on_board for d in done.changed)
    for note in [*done.notes, *([PAIRING] if ganged_now else []), *machine.remarks]:
        talk.say(f"note: {note}")
    setup.logbook().append(
        "push", digest=done.digest, changed=_data(done.changed), stored=not until_reset
    )
    kept = "in force until reset, not stored" if until_reset else "in force and stored"
    text = _diff_text(done.changed, None)
    text = f"{text}\n" if done.changed else ""
    data = {
        "digest": f"{done.digest:08X}",
        "changed": _data(done.changed),
        "stored": not until_reset,
    }
    talk.result(data, f"{text}settings {done.digest:08X} are {kept}", setup.as_json)


@command.command("pull")
@click.option("--print", "only_print", is_flag=True, help="Show the file; write nothing.")
@for_board
def pull(setup: Setup, only_print: bool) -> None:
    """Write into the machine file what the board has in force.

    Comments, order and values that mean the same stay as they were written.

    \b
    Example:  rodbench settings pull --print --port emulator
    """
    from rodbench.settings import transfer

    with setup.board("settings pull") as board:
        machine = transfer.load_for(board, setup.machine)
        found = transfer.pull(machine, board)
    data = {"digest": f"{machine.digest():08X}", "changed": _data(found)}
    if only_print:
        talk.result({**data, "file": machine.text}, machine.text.rstrip("\n"), setup.as_json)
        return
    machine.save()
    setup.logbook().append("pull", digest=machine.digest(), changed=_data(found))
    text = _diff_text(found, None) + "\n" if found else ""
    done = "written" if found else "unchanged"
    talk.result(
        data, f"{text}{machine.path} {done}: settings {machine.digest():08X}", setup.as_json
    )


def _data(found: list[Difference]) -> list[dict[str, Any]]:
    return [
        {"scope": d.scope, "key": d.name, "file": d.shown(d.in_file), "board": d.shown(d.on_board)}
        for d in found
    ]


def _diff_text(found: list[Difference], live: int | None) -> str:
    from rodbench.show.tables import differences

    if not found:
        return "" if live is None else f"file and board agree: settings {live:08X}"
    return differences(found)
