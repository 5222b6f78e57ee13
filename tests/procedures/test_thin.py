"""A long recording as few rows: every peak stays, and memory does not grow with its length."""

from __future__ import annotations

import hashlib
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from rodbench.record.runs import RunError
from rodbench.record.stream import BLOCK, blocks
from rodbench.science.thin import Rows, Thinner


def recording(rows: int, number: int) -> Rows:
    rng = np.random.default_rng(number)
    t = np.arange(rows, dtype=float)
    return np.column_stack([t, np.sin(t / 50), rng.normal(size=rows)])


CASES = [(n, block) for n in (0, 1, 2, 7, 100, 101, 799) for block in (1, 3, 64, 5000)]


@pytest.mark.parametrize(("rows", "block"), [*CASES, (12_345, 64), (12_345, 5000)])
def test_peaks_and_order_stay_however_it_comes(rows: int, block: int) -> None:
    whole, thinner = recording(rows, rows), Thinner(most=50)
    for at in range(0, rows, block):
        thinner.add(whole[at : at + block])
    few = thinner.thinned()
    assert thinner.rows == rows
    assert len(few) <= 6 * 51  # at most six peaks of three columns in each stretch, and a rest
    if rows:
        assert (np.diff(few[:, 0]) > 0).all()
        assert (few == whole[few[:, 0].astype(int)]).all()  # true rows, none made up
        assert (few[[0, -1], 0] == [0, rows - 1]).all()
        for column in (1, 2):
            assert few[:, column].min() == whole[:, column].min()
            assert few[:, column].max() == whole[:, column].max()


def test_a_short_peak_anywhere_is_seen() -> None:
    for place in range(0, 4000, 97):
        whole = recording(4000, 1)
        whole[place, 2] = 99.0
        thinner = Thinner(most=20)
        for at in range(0, 4000, 333):
            thinner.add(whole[at : at + 333])
        assert thinner.thinned()[:, 2].max() == 99.0


def test_what_is_not_known_hides_no_peak() -> None:
    whole = recording(1000, 2)
    whole[:, 1] = np.nan  # a rod without a pot
    whole[500, 2] = np.nan
    thinner = Thinner(most=10)
    thinner.add(whole)
    few = thinner.thinned()
    assert np.isnan(few[:, 1]).all()
    assert np.nanmax(few[:, 2]) == np.nanmax(whole[:, 2])


def table(path: Path, rows: int) -> str:
    lines = [f"{n},{n / 7:.3f},{'nan' if n == 3 else n % 5}\n" for n in range(rows)]
    data = ("t_s,position_mm,current_a\n" + "".join(lines)).encode()
    path.write_bytes(data)
    return hashlib.sha256(data).hexdigest()


def test_a_table_comes_in_blocks_by_the_names_of_its_columns(tmp_path: Path) -> None:
    path, rows = tmp_path / "a.csv", BLOCK + 10
    digest = table(path, rows)
    found = list(blocks(path, ("current_a", "t_s"), digest))
    assert [len(block) for block in found] == [BLOCK, 10]
    assert (np.vstack(found)[:, 1] == np.arange(rows)).all()
    assert np.isnan(found[0][3, 0])


def test_what_is_no_table_or_was_edited_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    digest = table(path, 20)
    good = path.read_bytes()
    for damaged, why in (
        (good.replace(b"7,1.000,2", b"7,1.000,3"), "not as it was written"),
        (good[: good.rindex(b"19,")], "not as it was written"),
        (good.replace(b"current_a", b"amperes_x"), "no column current_a"),
        (good.replace(b"7,1.000,2", b"7,1.000"), "cannot be read"),
        (good.replace(b"1.000", b"one00"), "cannot be read"),
        (b"", "no column"),
    ):
        path.write_bytes(damaged)
        with pytest.raises(RunError, match=why):
            list(blocks(path, ("t_s", "position_mm", "current_a"), digest))
    with pytest.raises(RunError, match="cannot be read"):
        list(blocks(tmp_path / "gone.csv", ("t_s",)))


def test_memory_does_not_grow_with_the_recording(tmp_path: Path) -> None:
    peaks = []
    for rows in (40_000, 160_000):
        digest = table(tmp_path / "a.csv", rows)
        tracemalloc.start()
        thinner = Thinner(most=200)
        for block in blocks(tmp_path / "a.csv", ("t_s", "position_mm", "current_a"), digest):
            thinner.add(block)
        assert len(thinner.thinned())
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]
