"""The simulated board needs Debian packages: without them its tests cannot tell anything."""

from __future__ import annotations

import os

import pytest

from tests.board.build import ToolsMissing, require_tools


@pytest.fixture(autouse=True, scope="session")
def tools() -> None:
    """With CI=true a missing tool is a failure; else the tests are left out, and say what to do."""
    try:
        require_tools()
    except ToolsMissing as problem:
        if os.environ.get("CI") == "true":
            pytest.fail(str(problem))
        pytest.skip(str(problem))
