"""A recording that a person names: a file, a name in the logbook, or the newest."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from rodbench.cli import talk
from rodbench.cli.options import Setup
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.record.recording import Recording


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
