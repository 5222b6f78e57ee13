"""rodbench plot"""

from __future__ import annotations

from pathlib import Path

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_file
from rodbench.cli.recordings import opened, part_of_recording, window
from rodbench.errors import UsageError

KINDS = (".png", ".svg", ".pdf")


@click.command("plot")
@click.option("--out", "-o", metavar="OUT", type=click.Path(path_type=Path),
              help="The picture: .png, .svg or .pdf; else FILE's name with .png.")  # fmt: skip
@click.option("--against-position", is_flag=True,
              help="Current against position, each way of the rod by itself.")  # fmt: skip
@click.option("--axis", type=click.IntRange(1, 2), metavar="N", help="Only this axis.")
@part_of_recording
@for_file
def command(
    setup: Setup,
    file: str | None,
    out: Path | None,
    against_position: bool,
    axis: int | None,
    start: str | None,
    end: str | None,
) -> None:
    """A picture of a recording: position, current, output, duty, events.

    FILE is a recording, or its name in the logbook; the newest without it. Gaps are shaded and
    never bridged. A long recording keeps its peaks.

    \b
    Example:  rodbench plot
              rodbench plot first-run --from "10 s" --to "1 min" -o start.svg
              rodbench plot --against-position --axis 1
    """
    from rodbench.show.position_plot import plot_positions
    from rodbench.show.recording_plot import fitted, plot_recording

    if out is not None and out.suffix.lower() not in KINDS:
        raise UsageError(
            f"{out} is no name for a picture: it ends in {', '.join(KINDS)}",
            kept="nothing was written",
        )
    recording = opened(setup, file)
    if axis is not None and axis not in recording.axes:
        raise UsageError(f"that board had no axis {axis}", kept="nothing was written")
    axes = [axis] if axis else fitted(recording)
    draw = plot_positions if against_position else plot_recording
    end_in = "-position.png" if against_position else ".png"
    target = out or Path(recording.path.stem + end_in)
    try:
        draw(recording, target, axes, *window(start, end), setup.units())
    except OSError as error:
        raise UsageError(f"{target}: {error.strerror or error}", kept="no picture") from None
    data = {"recording": str(recording.path), "picture": str(target), "axes": axes}
    talk.result(data, f"{recording.path.name}: {target}", setup.as_json)
