"""The comparison is worth something only if it notices mistakes: these are planted."""

from __future__ import annotations

import pytest

from tests.core import native
from tests.twin import mutants


@pytest.mark.parametrize("mutant", mutants.MUTANTS, ids=range(len(mutants.MUTANTS)))
def test_every_mistake_can_be_planted_in_one_place(mutant: mutants.Mutant) -> None:
    text = (native.SOURCES / "core" / mutant.file).read_text()
    assert text.count(mutant.old) == 1


def test_every_third_planted_mistake_is_noticed() -> None:
    """All of them: python -m tests.twin.mutants."""
    numbers = list(range(0, len(mutants.MUTANTS), 3))
    assert len(numbers) >= 40
    assert mutants.check(numbers) == []
