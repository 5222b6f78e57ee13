"""The entry `rodbench`: finds the command, runs it, and turns every error into words and a code."""

from __future__ import annotations

import importlib
import json
import sys
from typing import Any

import click

from rodbench.cli import codes, talk
from rodbench.cli.interrupts import catch_signals, ignore_signals
from rodbench.cli.table import COMMANDS
from rodbench.errors import Interrupted, RodbenchError, SettingsError

_EPILOG = f"""\b
Exit codes:
{codes.table()}

\b
Settings of the environment:
  RODBENCH_PORT   the port when --port is not given

Results go to stdout, talk to stderr. No command moves a rod when it connects.
"""


class Lazy(click.Group):
    """Imports a command only when it is run or asked for its own help."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"rodbench.cli.{COMMANDS[cmd_name][0]}")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands, in the order of the job"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.NoSuchCommand:
            _no_such_command(ctx, args[0])
            raise


def _no_such_command(ctx: click.Context, name: str) -> None:
    import difflib

    near = difflib.get_close_matches(name, COMMANDS, n=1)
    hint = f"Did you mean '{near[0]}'?" if near else "`rodbench --help` lists the commands."
    raise click.UsageError(f"there is no command '{name}'. {hint}", ctx)


def _version(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if value:
        from importlib.metadata import version

        click.echo(f"rodbench {version('rodbench')}")
        ctx.exit()


@click.group(cls=Lazy, epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    expose_value=False,
    is_eager=True,
    callback=_version,
    help="Show the version and end.",
)
def cli() -> None:
    """Set up, run and prove feedback linear actuators ("rods") on a hobby controller board.

    \b
    A first look without a board:  rodbench demo
    A new machine:                 rodbench new vent; cd vent; rodbench commission

    The rod can crush a hand. A switch that cuts motor power belongs within reach; local codes and
    those licensed for the work come first.
    """


def run(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with a code of `codes`."""
    words = sys.argv[1:] if arguments is None else arguments
    code = _run(words)
    ignore_signals()
    sys.exit(code)


def _run(words: list[str]) -> int:
    catch_signals()
    try:
        outcome = cli.main(words, prog_name="rodbench", standalone_mode=False)
        sys.stdout.flush()
        return outcome if isinstance(outcome, int) else 0
    except click.ClickException as error:
        return _usage(error, words)
    except RodbenchError as error:
        return _error(error, words)
    except (KeyboardInterrupt, click.Abort):
        return _error(Interrupted("interrupted"), words)
    except (talk.NobodyReads, BrokenPipeError):
        talk.close_stdout()
        return 0
    except Exception as error:
        return _bug(error, words)


def _usage(error: click.ClickException, words: list[str]) -> int:
    with talk.forgiving():
        error.show()
    _json_error(words, error.exit_code, error.format_message(), None, None)
    return error.exit_code


def _error(error: RodbenchError, words: list[str]) -> int:
    if isinstance(error, SettingsError):
        # A machine file's errors stand by themselves: file, line, what is wrong, then a way out.
        rest = " ".join(_sentence(text) for text in (error.hint, error.kept) if text)
        talk.say(error.message + (f"\n  {rest}" if rest else ""))
    else:
        talk.say(f"error: {error.message}")
        if error.kept:
            talk.say(f"unchanged: {error.kept}")
        if error.hint:
            talk.say(f"try: {error.hint}")
    _json_error(words, error.exit_code, error.message, error.kept, error.hint)
    return error.exit_code


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _json_error(
    words: list[str], code: int, message: str, kept: str | None, hint: str | None
) -> None:
    if "--json" in words:
        fields: dict[str, Any] = {"message": message, "unchanged": kept, "try": hint}
        with talk.forgiving():
            print(json.dumps({"error": {**fields, "exit_code": code}}), flush=True)


def _bug(error: Exception, words: list[str]) -> int:
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile(
        "w", prefix="rodbench-", suffix=".txt", delete=False, encoding="utf-8"
    ) as out:
        out.write(f"rodbench {' '.join(words)}\n\n")
        traceback.print_exception(error, file=out)
    talk.say(f"error: a fault of rodbench itself: {type(error).__name__}: {error}")
    talk.say("unchanged: a motion of this command was stopped, or ends by itself within 0.5 s")
    talk.say(f"try: the details are in {out.name}; please report them")
    _json_error(words, codes.BUG, f"{type(error).__name__}: {error}", None, out.name)
    return codes.BUG


if __name__ == "__main__":
    run()
