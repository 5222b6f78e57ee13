"""Random machines commissioned, moved and jogged: every promise, by the plant's truth."""

import pytest

from .judge import judge
from .many import troubles

SEEDS = range(1, 25)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_machine_keeps_every_promise(seed: int) -> None:
    seen = judge(seed)
    assert troubles(seen) == ""
    assert seen.moves == 8
    assert len(seen.times) >= 5, "moves long enough to be timed"
    assert len(seen.ends) == 2
