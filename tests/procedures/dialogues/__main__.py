"""`python -m tests.procedures.dialogues [--write] [NAME ...]`: show the talks, or keep them."""

from __future__ import annotations

import argparse

from . import FOLDER, TALKS, said


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="write the kept files anew")
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(TALKS))
    args = parser.parse_args()
    for name in args.names or TALKS:
        text = said(name)
        if args.write:
            (FOLDER / f"{name}.txt").write_text(text, encoding="utf-8")
        else:
            print(f"==== {name}\n{text}")


main()
