"""A recording on the report's page: what it is, what is missing in it, and its picture."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rodbench.record.recording import Recording
from rodbench.settings.units import Units, minutes
from rodbench.show.page import inline

if TYPE_CHECKING:
    from markupsafe import Markup

_POINTS = 700  # of a curve, on 180 mm of paper
_WIDTH_MM = 180.0
_MOST_GAPS = 8


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recording as the page has it."""

    title: str
    said: str
    gaps: Sequence[str]
    picture: Markup = field(repr=False)


def recorded(recording: Recording, units: Units) -> Recorded:
    """Raises UsageError where it holds no sample."""
    gaps = [f"A gap {gap}." for gap in recording.gaps[:_MOST_GAPS]]
    if len(recording.gaps) > _MOST_GAPS:
        gaps.append(f"And {len(recording.gaps) - _MOST_GAPS} gaps more.")
    if recording.repaired:
        gaps.append(f"{recording.repaired}.")
    label = f"Recording {recording.path.stem}: position, current, output and duty over time."
    return Recorded(
        title=recording.path.stem,
        said=_said(recording),
        gaps=gaps,
        picture=inline(_svg(recording, units), _WIDTH_MM, label),
    )


def _said(recording: Recording) -> str:
    clock = recording.board_clock
    told = f"{minutes(recording.duration_s)}, {recording.frames} frames, "
    told += f"{len(recording.gaps) or 'no'} gap{'' if len(recording.gaps) == 1 else 's'}, "
    told += "settings " + " then ".join(change.digest for change in recording.settings) + "."
    if clock.ppm is not None and clock.ppm_either_way is not None:
        told += f" The board's clock: {clock.ppm:+.0f} ± {clock.ppm_either_way:.0f} ppm."
    return told


def _svg(recording: Recording, units: Units) -> str:
    import math

    import matplotlib

    from rodbench.show.recording_plot import fitted, picture

    out = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": recording.path.name, "svg.fonttype": "path"}):
        figure = picture(recording, fitted(recording), -math.inf, math.inf, units, _POINTS)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = re.sub(r"<metadata>.*?</metadata>", "", out.getvalue(), flags=re.DOTALL)
    return text[text.index("<svg") :]
