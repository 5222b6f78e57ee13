"""rodbench info"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_board


@click.command("info")
@for_board
def command(setup: Setup) -> None:
    """Who is on the port: versions, reset cause, digests, counters, link.

    Opening a port may restart the board; nothing moves.

    \b
    Example:  rodbench info --port emulator
    """
    with setup.board("info") as board:
        found: dict[str, Any] = {
            "hello": asdict(board.ask_hello()),
            "digests": board.digests(),
            "counters": board.counters(),
            "link": asdict(board.statistics()),
        }
    talk.result(found, _text(found), setup.as_json)


def _text(found: dict[str, Any]) -> str:
    from rodbench.show.words import reset_cause

    hello, digests, counters = found["hello"], found["digests"], found["counters"]
    stored = (
        f"{digests['stored']:08X}" if digests["stored"] else "none: the next start has defaults"
    )
    same = "" if digests["stored"] in (0, digests["live"]) else "   (not what is in force)"
    lines = [
        f"{hello['name']} {hello['firmware']}, protocol {hello['protocol_major']}."
        f"{hello['protocol_minor']}, {hello['axis_count']} axes",
        f"  started by   {reset_cause(hello['reset_cause'])}",
        f"  board id     {hello['board_id'] or 'none yet'}",
        f"  in force     {digests['live']:08X}",
        f"  stored       {stored}{same}",
        f"  requests     {counters['requests_done']} done, {counters['repeats']} repeated",
        f"  frames       {counters['frames_good']} good, {counters['frames_bad']} bad, "
        f"{counters['frames_dropped']} dropped",
        f"  ticks late   {counters['late_ticks']}",
    ]
    return "\n".join(lines)
