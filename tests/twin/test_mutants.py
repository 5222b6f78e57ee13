"""The comparison is worth something only if it notices mistakes: these are planted."""

from __future__ import annotations

from tests.twin import mutants


def test_every_third_planted_mistake_is_noticed() -> None:
    """All of them: python -m tests.twin.mutants."""
    numbers = list(range(0, len(mutants.MUTANTS), 3))
    assert len(numbers) >= 40
    assert mutants.check(numbers) == []
