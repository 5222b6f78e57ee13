"""A recording that a person names: a file, a name in the logbook, or the newest; and which part."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup
from rodbench.errors import UsageError
from rodbench.settings import amounts

if TYPE_CHECKING:
    from rodbench.record.recording import Recording

F = TypeVar("F", bound=Callable[..., Any])


def part_of_recording(command: F) -> F:
    """What `opened` and `window` are asked with: [FILE], --from and --to."""
    for added in (
        click.option("--to", "end", metavar="TIME", help="Up to so far into it."),
        click.option("--from", "start", metavar="TIME", help="From so far into it on."),
        click.argument("file", metavar="[FILE]", required=False),
    ):
        command = added(command)
    return command


def window(start: str | None, end: str | None) -> tuple[float, float]:
    """Seconds into a recording. Raises UsageError."""
    start_s = amounts.seconds(start) if start and start.strip() not in ("0", "0 s") else -math.inf
    end_s = amounts.seconds(end) if end else math.inf
    if end_s <= start_s:
        raise UsageError(f"from {start} to {end} is no time", kept="nothing was written")
    return start_s, end_s


def opened(setup: Setup, given: str | None) -> Recording:
    """What is damaged or missing in it is said. Raises RecordingError, UsageError."""
    from rodbench.record.recording import Recording

    recording = Recording.open(find(setup, given))
    if recording.repaired:
        talk.say(f"note: {recording.repaired}")
    for gap in recording.gaps[:5]:
        talk.say(f"note: a gap {gap}")
    if len(recording.gaps) > 5:
        talk.say(f"note: and {len(recording.gaps) - 5} gaps more")
    return recording


def find(setup: Setup, given: str | None) -> Path:
    """The file meant."""
    from rodbench.record.layout import SUFFIX
    from rodbench.record.logbook import FOLDER as LOGBOOK
    from rodbench.record.recorder import FOLDER

    if given is not None and os.path.exists(given):
        return Path(given)
    folder = setup.folder / LOGBOOK / FOLDER
    found = sorted(folder.glob(f"*{SUFFIX}"))
    if given is not None:
        found = [path for path in found if path.stem == given or path.stem.endswith(f"Z-{given}")]
    if not found:
        what = "there is no recording" if given is None else f"no recording is called '{given}'"
        raise UsageError(
            f"{what} in {folder}", kept="nothing was written", hint="`rodbench record` makes one"
        )
    return found[-1]
