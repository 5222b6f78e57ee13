"""Half a minute of the soak: `python -m tests.page.soak` is the whole of it."""

from __future__ import annotations

from pathlib import Path

from tests.page import soak


def test_every_frame_is_accounted_for_and_memory_is_flat(tmp_path: Path) -> None:
    found = soak.accelerated(tmp_path, 0.5)
    print(found)
    found.check()
    assert found.taken > 30 * 205
    assert found.told["messages to a page"] > 290
