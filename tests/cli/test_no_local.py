"""A board whose program reads no local inputs: the commands about them say so, nothing changes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from rodbench.board import Board
from rodbench.errors import Refused
from rodbench_protocol.names import Features

from tests.cli.conftest import MACHINE, PLANT
from tests.cli.test_steps import Bench


@pytest.fixture
def bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Bench:
    made = Bench(tmp_path, capsys, PLANT)
    made.stand_in(monkeypatch)
    (tmp_path / "machine.toml").write_text(MACHINE)
    made.run("settings", "push")
    hello = made.board.hello
    without = replace(hello, features=hello.features & ~int(Features.LOCAL_CONTROL))
    monkeypatch.setattr(Board, "hello", without)
    return made


@pytest.mark.parametrize("words", [("local", "1"), ("calibrate", "inputs", "1")])
def test_they_are_refused(bench: Bench, words: tuple[str, ...]) -> None:
    before = bench.board.read_scope(1)
    with pytest.raises(Refused, match="reads no local inputs"):
        bench.run(*words)
    assert bench.board.read_scope(1) == before
