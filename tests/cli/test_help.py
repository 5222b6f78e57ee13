"""--help: light, complete, with an example, and telling the exit codes."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path as Top

import click
import pytest
from rodbench import errors
from rodbench.cli.codes import CODES
from rodbench.cli.main import cli
from rodbench.cli.table import COMMANDS

Path = tuple[str, ...]
HEAVY = {
    "numpy",
    "matplotlib",
    "schemdraw",
    "construct",
    "pint",
    "rich",
    "serial",
    "tomlkit",
    "cobs",
    "jinja2",
    "segno",
    "zxingcpp",
    "PIL",
    "pyarrow",
    "tsdownsample",
}


def walk(command: click.Command, path: Path) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    yield path, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            found = command.get_command(context, name)
            assert found is not None
            yield from walk(found, (*path, name))


ALL = dict(walk(cli, ()))
LEAVES = {path: command for path, command in ALL.items() if not isinstance(command, click.Group)}


def help_of(path: Path) -> str:
    context = None
    for depth in range(len(path) + 1):
        name = path[depth - 1] if depth else "rodbench"
        context = click.Context(ALL[path[:depth]], info_name=name, parent=context)
    assert context is not None
    return context.get_help()


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_every_parameter_is_documented(path: Path) -> None:
    for parameter in ALL[path].params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            assert parameter.opts[0] in help_of(path)
        else:
            words = (ALL[path].help or "").replace("`", " ")
            metavar = str(parameter.metavar).strip("[]")
            assert metavar in help_of(path)
            assert metavar in words or metavar in ("AXIS", "DIR"), f"{metavar} is not explained"


@pytest.mark.parametrize("path", [p for p in ALL if p], ids=" ".join)
def test_every_command_has_an_example(path: Path) -> None:
    assert f"Example:  rodbench {' '.join(path)}" in help_of(path)


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_help_fits_80_columns(path: Path) -> None:
    assert [line for line in help_of(path).splitlines() if len(line) > 80] == []
    assert not re.search(r"[a-z ]\.\.\.", help_of(path)), "a line of help was cut off"


@pytest.mark.parametrize("path", LEAVES, ids=" ".join)
def test_every_command_takes_json(path: Path) -> None:
    assert "--json" in help_of(path)


def test_the_table_of_commands_says_what_the_commands_say() -> None:
    for name, (_, text) in COMMANDS.items():
        command = ALL[name,]
        first = (command.help or "").replace("\n", " ").split(".")[0].split(":")[0]
        assert text.rstrip("."), name
        assert first, name
        assert len(f"  {name:<12}{text}") <= 80


def test_every_exit_code_of_an_error_is_in_the_table() -> None:
    known = dict(CODES)
    for _, kind in inspect.getmembers(errors, inspect.isclass):
        if issubclass(kind, errors.RodbenchError) and kind is not errors.RodbenchError:
            assert kind.exit_code in known, kind
    for code, meaning in CODES:
        assert f"{code:>3}  {meaning}" in help_of(())


def test_the_readme_has_the_same_table() -> None:
    readme = (Top(__file__).parents[2] / "README.md").read_text()
    rows = re.findall(r"^\| (\d+) \| (.+) \|$", readme, re.MULTILINE)
    assert [(int(code), meaning) for code, meaning in rows] == list(CODES)


def test_help_of_the_whole_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom rodbench.cli.main import cli\n"
        "try:\n    cli.main(['--help'], prog_name='rodbench')\nexcept SystemExit:\n    pass\n"
        "print('\\n'.join(sorted({m.split('.')[0] for m in sys.modules})), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "commission" in done.stdout
    assert set(done.stderr.split()) & (HEAVY | {"rodbench_protocol"}) == set()


@pytest.mark.parametrize("path", LEAVES, ids=" ".join)
def test_help_of_a_command_imports_nothing_heavy(path: Path) -> None:
    code = (
        "import sys\nfrom rodbench.cli.main import cli\n"
        f"try:\n    cli.main([*{path!r}, '--help'], prog_name='rodbench')\n"
        "except SystemExit:\n    pass\n"
        "print('\\n'.join(sorted({m.split('.')[0] for m in sys.modules})), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert set(done.stderr.split()) & HEAVY == set()
