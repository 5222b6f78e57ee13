"""Half a minute of the soak: `python -m tests.record.soak` is the whole of it."""

from __future__ import annotations

from pathlib import Path

from tests.record import soak


def test_every_frame_is_accounted_for_and_memory_is_flat(tmp_path: Path) -> None:
    found = soak.accelerated(tmp_path, 0.5)
    found.check()
    assert found.taken > 30 * 205
    assert found.reader_looks >= 5
    later = found.blocks[soak.WARM :]
    assert max(later) - min(later) < 0.05 * min(later)
