"""The house: which part may import which, and that nothing needs POSIX to be imported."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
HOST = TOP / "host" / "rodbench"
PROTOCOL = TOP / "protocol" / "rodbench_protocol"

# part -> parts of ours that it may import. clock, durable and errors serve all.
ALLOWED = {
    "cli": {
        "show",
        "page",
        "bench",
        "settings",
        "record",
        "owner",
        "board",
        "emulator",
        "link",
        "load",
        "protocol",
    },
    "page": {"show", "bench", "science", "settings", "record", "board", "protocol"},
    "load": {"board", "owner", "link", "protocol"},
    "show": {"science", "settings", "record", "board", "protocol"},
    "bench": {"science", "settings", "record", "board", "protocol"},
    "board": {"owner", "link", "protocol"},
    "owner": {"link", "protocol"},
    "record": {"science", "settings", "board", "link", "protocol"},
    "link": {"protocol", "emulator"},
    "settings": {"science", "protocol"},
    "emulator": {"protocol"},
    "science": set(),
    "protocol": set(),
    "errors": set(),
    "clock": set(),
    "durable": set(),
}
FOR_ALL = {"errors", "clock", "durable"}
# link knows one door of the emulator: the function that opens `emulator:`.
EMULATOR_DOOR = "rodbench.emulator.open"
POSIX_ONLY = ("termios", "fcntl", "pty", "tty", "pwd", "grp", "resource", "syslog", "posix")


def part_of(path: Path) -> str:
    if path.is_relative_to(PROTOCOL):
        return "protocol"
    return path.relative_to(HOST).parts[0].removesuffix(".py")


def imported_modules(path: Path) -> set[str]:
    """Full names of modules imported anywhere in a file, relative imports resolved."""
    base = PROTOCOL.parent if path.is_relative_to(PROTOCOL) else HOST.parent
    package = list(path.relative_to(base).with_suffix("").parts[:-1])
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            head = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*head, *([node.module] if node.module else [])])
            found |= {module} | {f"{module}.{alias.name}" for alias in node.names}
    return found


def parts_imported(path: Path) -> set[str]:
    found = set()
    for name in imported_modules(path):
        words = name.split(".")
        if words[0] == "rodbench_protocol":
            found.add("protocol")
        elif words[0] == "rodbench" and len(words) > 1 and words[1] in ALLOWED:
            found.add(words[1])
    return found - FOR_ALL - {part_of(path)}


FILES = sorted(
    p
    for p in [*HOST.rglob("*.py"), *PROTOCOL.rglob("*.py")]
    if part_of(p) not in {"__init__", "__main__"}
)


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(TOP)))
def test_imports_follow_the_arrows(path: Path) -> None:
    part = part_of(path)
    assert part in ALLOWED, f"{part} is a new part of the house: give it a place in ALLOWED"
    assert parts_imported(path) <= ALLOWED[part]


def test_nothing_imports_the_command_line() -> None:
    assert not [p for p in FILES if part_of(p) != "cli" and "cli" in parts_imported(p)]


def test_only_the_door_of_the_emulator_is_used_by_link() -> None:
    for path in FILES:
        if part_of(path) == "link":
            used = {n for n in imported_modules(path) if n.startswith("rodbench.emulator")}
            assert all(n.startswith(EMULATOR_DOOR) for n in used), path


def test_science_and_the_firmware_core_stand_alone() -> None:
    for path in FILES:
        if part_of(path) == "science":
            names = {n.split(".")[0] for n in imported_modules(path)}
            assert not names & {"time", "socket", "threading", "serial", "os", "subprocess"}, path
    core = TOP / "firmware_reference" / "src" / "core"
    for source in [*core.glob("*.c"), *core.glob("*.h")]:
        for line in source.read_text().splitlines():
            if line.startswith("#include <") and source.name != "port.h":
                assert line.split("<")[1].split(">")[0] in {
                    "stdint.h",
                    "stdbool.h",
                    "stddef.h",
                    "string.h",
                }, f"{source.name}: {line}"


def test_every_module_imports_where_posix_modules_do_not_exist() -> None:
    modules = [
        ".".join(p.relative_to(base).with_suffix("").parts).removesuffix(".__init__")
        for base in (HOST.parent, PROTOCOL.parent)
        for p in (HOST if base == HOST.parent else PROTOCOL).rglob("*.py")
        if p.name != "__main__.py"
    ]
    # The standard library itself may use POSIX modules on this system: load what it needs first,
    # then refuse every import that comes from a file of ours.
    code = f"""
import builtins, importlib, sys
real = builtins.__import__
def guard(name, globals=None, locals=None, fromlist=(), level=0):
    origin = (globals or {{}}).get("__name__", "")
    if name.split(".")[0] in {POSIX_ONLY!r} and origin.split(".")[0].startswith("rodbench"):
        raise ImportError(f"{{origin}} imports {{name}}")
    return real(name, globals, locals, fromlist, level)
builtins.__import__ = guard
for module in {modules!r}:
    importlib.import_module(module)
print(len({modules!r}))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) == len(modules) > 5
