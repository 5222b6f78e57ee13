"""The kept talks of `commission` are what it says, to the letter."""

from __future__ import annotations

import re

import pytest

from tests import boards

from .dialogues import FOLDER, TALKS, said


@pytest.mark.parametrize("name", TALKS)
def test_what_is_said_is_what_was_kept(name: str) -> None:
    """After a change: python -m tests.procedures.dialogues --write, and read what came out."""
    kept = (FOLDER / f"{name}.txt").read_text(encoding="utf-8")
    if boards.name() == "emulator":
        assert said(name).splitlines() == kept.splitlines()
    else:
        assert wording(said(name)) == wording(kept)


def wording(talk: str) -> list[str]:
    """The words alone: another kind of board reads other figures, and folds lines elsewhere."""
    return re.sub(
        r"\b[0-9A-F]{8}\b|(\d+\s+min\s+)?\d+\s+s\b|\d+\s+min\b|[-+]?\d+([.:]\d+)?", "#", talk
    ).split()


def test_every_kept_talk_is_compared() -> None:
    assert {path.stem for path in FOLDER.glob("*.txt")} == set(TALKS)
