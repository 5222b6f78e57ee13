"""`python -m rodbench_protocol [--check]`: makes, or checks, all that comes from the schema.

Works in a checkout. `--release` takes the wire as it is now for the released one, against which
later changes are checked.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from rodbench_protocol.check import check_schema, evolution_problems
from rodbench_protocol.errors import SchemaError
from rodbench_protocol.make_c import c_header, c_source
from rodbench_protocol.make_names import names_module
from rodbench_protocol.make_spec import fill
from rodbench_protocol.schema import Schema, load_schema, schema_path, wire_part
from rodbench_protocol.vectors import vectors_text

ROOT = schema_path().parent.parent


def products(schema: Schema) -> dict[Path, str]:
    """Every made file with its text."""
    generated = ROOT / "firmware_reference/src/generated"
    return {
        ROOT / "protocol/rodbench_protocol/names.py": names_module(schema),
        generated / "schema.h": c_header(schema),
        generated / "schema.c": c_source(schema),
        ROOT / "protocol/vectors.json": vectors_text(schema),
        ROOT / "protocol/SPEC.md": fill((ROOT / "protocol/SPEC.md").read_text(), schema),
    }


def released_path() -> Path:
    """The wire part of the last release."""
    return ROOT / "protocol/released.json"


def check_all(schema: Schema) -> None:
    """SchemaError when the schema is unsound or breaks the released wire."""
    check_schema(schema)
    path = released_path()
    if path.exists():
        problems = evolution_problems(json.loads(path.read_text()), wire_part(schema))
        if problems:
            raise SchemaError(problems)


def stale(made: dict[Path, str]) -> list[Path]:
    """Made files whose text on disk differs."""
    return [p for p, text in made.items() if not p.exists() or p.read_text() != text]


def main(arguments: list[str] | None = None) -> int:
    """Exit code 1 when the schema is refused or, with --check, when a file is stale."""
    parser = argparse.ArgumentParser(prog="python -m rodbench_protocol", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing, fail when stale")
    parser.add_argument("--release", action="store_true", help="freeze the wire as released")
    options = parser.parse_args(arguments)
    if not (ROOT / "protocol/schema.toml").exists():
        print("this works in a checkout only, nothing was made", file=sys.stderr)
        return 1
    schema = load_schema()
    try:
        check_all(schema)
    except SchemaError as error:
        print(f"schema.toml is refused, nothing was made:\n{error}", file=sys.stderr)
        return 1
    made = products(schema)
    if options.release:
        made[released_path()] = json.dumps(wire_part(schema), indent=1) + "\n"
    old = stale(made)
    for path in old:
        print(f"{'stale' if options.check else 'made'}: {path.relative_to(ROOT)}")
        if not options.check:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(made[path])
    return int(options.check and bool(old))


if __name__ == "__main__":
    sys.exit(main())
