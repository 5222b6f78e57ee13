"""A person's hand on the keys of a terminal: a mounted rod is brought to its working ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rodbench.bench.reach import keys_words
from rodbench.cli import talk
from rodbench.cli.hold import Hold
from rodbench.cli.keys import Keys
from rodbench.errors import Interrupted, Refused

if TYPE_CHECKING:
    from rodbench.bench.reach import Reach
    from rodbench.cli.asking import KeyStops


class KeysHand:
    """Hold-to-run with the arrow keys; Enter says that the rod is there."""

    def __init__(self, terminal: Keys, stops: KeyStops) -> None:
        self.terminal = terminal
        self.stops = stops

    def bring(self, reach: Reach, end: str) -> None:
        """Bring the rod to a working end. Raises Interrupted when the person leaves."""
        talk.say(keys_words(end))
        showing = _Showing(reach, self.terminal)
        with self.stops.off():
            showing.run()
        if showing.ended_by != "enter":
            raise Interrupted(
                f"the {end} working end was not shown",
                kept="The rod is stopped; nothing was stored on the board.",
            )


class _Showing(Hold):
    """Each motion by the reach, which watches it."""

    ends_by = frozenset({"quit", "enter"})

    def __init__(self, reach: Reach, terminal: Keys) -> None:
        job = reach.job
        super().__init__(job.axis, reach.output_most, job.live, terminal, job.units)
        self.reach = reach

    def press(self, key: str) -> None:
        if key in ("up", "down"):
            self._note("creep has one speed here")
        else:
            super().press(key)

    def _turn_round(self) -> None:
        """There and back are two motions: each way has its own creep."""
        self.end()
        self._begin()

    def _begin(self) -> None:
        try:
            self.motion = self.reach.begin(self.way)
        except Refused as refused:
            self._note(f"{refused.message}. {refused.hint or ''}")
        if self.reach.why:
            self._note(self.reach.why)

    def turn(self) -> None:
        if self.motion is not None and self.reach.why:
            self.motion.stop(category=0)
        super().turn()

    def _ended(self) -> None:
        motion = self.motion
        super()._ended()
        if why := self.reach.ended(motion.ended if motion else None):
            self._note(why)
