"""The kept talks of `commission` are what it says, to the letter."""

from __future__ import annotations

import pytest

from .dialogues import FOLDER, TALKS, said


@pytest.mark.parametrize("name", TALKS)
def test_what_is_said_is_what_was_kept(name: str) -> None:
    """After a change: python -m tests.procedures.dialogues --write, and read what came out."""
    kept = (FOLDER / f"{name}.txt").read_text(encoding="utf-8")
    assert said(name).splitlines() == kept.splitlines()


def test_every_kept_talk_is_compared() -> None:
    assert {path.stem for path in FOLDER.glob("*.txt")} == set(TALKS)
