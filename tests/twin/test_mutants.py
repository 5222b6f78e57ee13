"""The comparison is worth something only if it notices mistakes: these are planted."""

from __future__ import annotations

from tests.twin import mutants


def test_every_planted_mistake_is_noticed() -> None:
    numbers = list(range(len(mutants.MUTANTS)))
    assert len(numbers) >= 25
    assert mutants.check(numbers) == []
