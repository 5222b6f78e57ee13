"""Tables of a run, a block of rows at a time: a header with units in its names, then numbers."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from rodbench.record.runs import RunError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

BLOCK = 8192  # rows


def blocks(
    path: Path, columns: Sequence[str], sha256: str = ""
) -> Iterator[npt.NDArray[np.float64]]:
    """The columns of a table, block by block; NaN for what is not known. Raises RunError, at the
    end for one that is not as it was written."""
    import numpy as np

    seen = hashlib.sha256()
    try:
        with path.open("rb") as file:
            header = next(file, b"")
            seen.update(header)
            places = _places(header.decode(), columns)
            while lines := list(islice(file, BLOCK)):
                seen.update(b"".join(lines))
                rows = [line.decode("ascii") for line in lines]
                yield np.loadtxt(rows, delimiter=",", usecols=places, ndmin=2)
    except (OSError, ValueError) as error:
        raise RunError(f"{path} cannot be read as a table: {error}") from None
    if sha256 and seen.hexdigest() != sha256:
        raise RunError(f"{path} is not as it was written")


def _places(header: str, columns: Sequence[str]) -> list[int]:
    names = [name.strip() for name in header.split(",")]
    missing = [name for name in columns if name not in names]
    if missing:
        raise ValueError(f"no column {', '.join(missing)}")
    return [names.index(name) for name in columns]
