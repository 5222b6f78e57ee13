"""rodbench size"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.codes import DIFFERENT
from rodbench.cli.options import Setup, plain_json
from rodbench.errors import UsageError

if TYPE_CHECKING:
    from rodbench.show.sizing import Answer

EXAMPLES = ("job.toml", "candidates.toml")
_KEPT = "Nothing was written."


@click.command("size")
@click.argument("job", type=click.Path(path_type=Path), metavar="[JOB]", required=False)
@click.argument("candidates", type=click.Path(path_type=Path), metavar="[CANDIDATES]",
                required=False)  # fmt: skip
@click.option("--plot", metavar="FILE", type=click.Path(path_type=Path), help="Draw it as PNG.")
@click.option("--keys", is_flag=True, help="List what the two files may say, and end.")
@click.option("--example", is_flag=True, help="Write job.toml and candidates.toml here, and end.")
@plain_json
def command(
    setup: Setup,
    job: Path | None,
    candidates: Path | None,
    plot: Path | None,
    keys: bool,
    example: bool,
) -> int:
    """Which rod does the job: force, speed, duty, fit, each with its margin.

    JOB is a TOML file that says what is moved, how far and how fast, and from which supply.
    CANDIDATES is one with what data sheets say of rods. --example writes both, with invented
    figures, to be changed. Ends with code 1 when none of the candidates fits.

    \b
    Example:  rodbench size job.toml candidates.toml --plot size.png
    """
    if keys:
        _keys(setup)
        return 0
    if example:
        written = write_examples(Path())
        talk.result({"written": written}, "written: " + ", ".join(written), setup.as_json)
        return 0
    if job is None or candidates is None:
        raise UsageError(
            "which job, and which candidates?",
            kept=_KEPT,
            hint="rodbench size JOB.toml CANDIDATES.toml; `rodbench size --example` makes both",
        )
    return _size(setup, answer_of(job, candidates), plot)


def _size(setup: Setup, answer: Answer, picture: Path | None) -> int:
    from rodbench.show import sizing, sizing_text

    data, text = sizing.as_data(answer), sizing_text.text(answer)
    if picture is not None:
        draw(answer, picture)
        data["picture"] = str(picture)
        text += f"\npicture  {picture}"
    talk.result(data, text, setup.as_json)
    return 0 if answer.fitting else DIFFERENT


def answer_of(job_path: Path, candidates_path: Path) -> Answer:
    """Both files read and reckoned. Raises SettingsError with all that is wrong in either."""
    from rodbench.settings.candidates_file import read_candidates
    from rodbench.settings.faults import raise_all
    from rodbench.settings.job_file import read_job
    from rodbench.settings.sheets import NOTHING_DONE, load_text
    from rodbench.show.sizing import Answer

    hint = "`rodbench size --example` makes a job.toml and a candidates.toml"
    texts = [load_text(path, hint) for path in (job_path, candidates_path)]
    job, of_job = read_job(texts[0], str(job_path))
    sheets, of_sheets = read_candidates(texts[1], str(candidates_path))
    raise_all([*of_job.findings, *of_sheets.findings], NOTHING_DONE)
    assert job is not None
    return Answer(job, sheets)


def draw(answer: Answer, picture: Path) -> None:
    """The picture. Raises UsageError where it cannot be written."""
    from rodbench.show.sizing_plot import plot

    try:
        plot(answer, picture)
    except (OSError, ValueError) as error:  # ValueError: a kind of file that it cannot write
        reason = error.strerror if isinstance(error, OSError) else str(error).split("\n")[0]
        raise UsageError(f"cannot write {picture}: {reason}", kept=_KEPT) from None


def write_examples(folder: Path) -> list[str]:
    """The packaged job and candidates, into a folder. Raises UsageError where one is there."""
    from importlib import resources

    there = [name for name in EXAMPLES if (folder / name).exists()]
    if there:
        raise UsageError(
            f"{' and '.join(there)} {'are' if len(there) > 1 else 'is'} there already",
            kept=_KEPT,
            hint="go into another folder, or move that away",
        )
    packaged = resources.files("rodbench.settings") / "examples"
    for name in EXAMPLES:
        try:
            (folder / name).write_text((packaged / name).read_text("utf-8"), encoding="utf-8")
        except OSError as error:
            raise UsageError(f"cannot write {name}: {error.strerror}", kept=_KEPT) from None
    return list(EXAMPLES)


def _keys(setup: Setup) -> None:
    from rodbench.settings.job_keys import describe, table_text

    data: dict[str, Any] = {"keys": describe()}
    talk.result(data, table_text(), setup.as_json)
