"""A rod with two wires: nothing tells its position."""

from __future__ import annotations

from typing import NoReturn

from .job import Job, failed
from .keeper import Keeper
from .label import Label


def commission(job: Job, keeper: Keeper, label: Label) -> NoReturn:
    """Sections 2 to 8. Raises ProcedureError: not in this version."""
    raise failed(job, "a rod without a pot cannot be commissioned in this version", "Jog it.")
