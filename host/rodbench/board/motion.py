"""A motion under way, kept alive by the caller's own loop and stopped whatever happens."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from types import TracebackType
from typing import TYPE_CHECKING

from rodbench.board.types import AxisSample, Outcome

if TYPE_CHECKING:
    from rodbench.board.board import Axis


class Motion:
    """A motion that the board has accepted. Use it as a context: leaving stops what still runs.

    Nothing renews it but the loops of `wait` and `samples`: who does not loop lets it lapse.
    """

    axis: Axis
    number: int

    def wait(
        self,
        timeout_s: float | None = None,
        *,
        until: Callable[[AxisSample], bool] | None = None,
    ) -> Outcome | None:
        """Keep the motion alive until it ends: returns how it ended.

        With `until`, also returns None as soon as a sample of this axis satisfies it, and with
        `timeout_s` (seconds of the link's clock) when that time has passed; the motion goes on.
        Any exception or signal meanwhile stops the rod first (category 1, then 0 if that is not
        answered). Raises LinkLost when the port goes away or the board starts anew.
        """
        raise NotImplementedError

    def samples(self) -> Iterator[AxisSample]:
        """Samples of this axis while the motion is kept alive, until it ends."""
        raise NotImplementedError

    def change(self, value: float) -> None:
        """Another speed in mm/s (or output, -1..1, while uncalibrated) for a running jog."""
        raise NotImplementedError

    def stop(self, category: int = 1) -> Outcome:
        """Stop and wait for rest; returns how the motion ended."""
        raise NotImplementedError

    def __enter__(self) -> Motion:
        raise NotImplementedError

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        raise NotImplementedError
