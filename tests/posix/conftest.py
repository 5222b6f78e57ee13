"""The port is built with gcc and make: without them its tests cannot tell anything."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from tests.board.host import Host
from tests.posix.board import PosixBoard
from tests.posix.build import tools_missing
from tests.posix.machine import machine


@pytest.fixture(autouse=True, scope="session")
def tools() -> None:
    """With CI=true a missing tool is a failure; else the tests are left out, and say what to do."""
    if missing := tools_missing():
        said = f"{' and '.join(missing)} missing: apt install {' '.join(missing)}"
        if os.environ.get("CI") == "true":
            pytest.fail(said)
        pytest.skip(said)


@pytest.fixture
def board() -> Iterator[PosixBoard]:
    """The port on its machine."""
    made = PosixBoard(machine())
    yield made
    made.close()


@pytest.fixture
def host(board: PosixBoard) -> Host:
    """A host that has opened it."""
    made = Host(board)
    made.open()
    return made
