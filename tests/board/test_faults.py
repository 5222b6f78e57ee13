"""What a fault leads to on the binary, against the twin. All of it:
`python -m tests.faults.table --binary`."""

from __future__ import annotations

import pytest

from tests.board.simboard import SimBoard
from tests.faults.bench import measure
from tests.faults.causes import CAUSES
from tests.faults.table import differences

BY_TITLE = {cause.title: cause for cause in CAUSES}


@pytest.mark.parametrize(
    ("title", "doing"),
    [
        ("An obstacle in the way", "jogging"),
        ("The pot jumps", "holding"),
        ("The stop input opens", "ganged"),
    ],
)
def test_the_binary_does_as_the_twin(title: str, doing: str) -> None:
    cause, key = BY_TITLE[title], (title, doing)
    on_twin, on_binary = measure(cause, doing), measure(cause, doing, SimBoard)
    assert on_binary.detected
    assert differences({key: on_twin}, {key: on_binary}) == []
