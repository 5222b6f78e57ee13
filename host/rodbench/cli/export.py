"""rodbench export"""

from __future__ import annotations

from pathlib import Path

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_file
from rodbench.cli.recordings import opened, part_of_recording, window
from rodbench.errors import UsageError


@click.command("export")
@click.option("--csv", "as_csv", metavar="OUT", type=click.Path(path_type=Path),
              help="Write OUT as text, with a header line.")  # fmt: skip
@click.option("--parquet", "as_parquet", metavar="OUT", type=click.Path(path_type=Path),
              help="Write OUT as Parquet (needs the extra 'parquet').")  # fmt: skip
@part_of_recording
@for_file
def command(
    setup: Setup,
    file: str | None,
    as_csv: Path | None,
    as_parquet: Path | None,
    start: str | None,
    end: str | None,
) -> None:
    """A recording as CSV or Parquet, units in the names of columns.

    FILE is a recording, or its name in the logbook; the newest without it. Beside OUT, which has
    the axes, come a table of the board and one of events. Machine, rods, settings with digests,
    gaps and the board's clock are beside a CSV in OUT's name with .json, in Parquet in the metadata
    (key rodbench). Each row has the digest of the settings in force; gap_before is 1 in the first
    row behind a gap. Nothing is filled in.

    \b
    Example:  rodbench export --csv first-run.csv
              rodbench export first-run --parquet run.parquet --to "5 min"
    """
    from rodbench.record import export

    if as_csv is None and as_parquet is None:
        raise UsageError("as what? --csv OUT or --parquet OUT", kept="nothing was written")
    if as_csv == as_parquet:
        raise UsageError(f"{as_csv} cannot be both", kept="nothing was written")
    recording = opened(setup, file)
    start_s, end_s = window(start, end)
    written: list[Path] = []
    if as_csv is not None:
        written += export.to_csv(recording, as_csv, start_s, end_s)
    if as_parquet is not None:
        written += export.to_parquet(recording, as_parquet, start_s, end_s)
    files = [str(path) for path in written]
    data = {"recording": str(recording.path), "files": files, "gaps": len(recording.gaps)}
    talk.result(data, f"{recording.path.name}: {', '.join(files)}", setup.as_json)
