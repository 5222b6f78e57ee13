"""Hold-to-run out of `watch`: off until a person asks for it and has accepted the caution."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import TYPE_CHECKING

from rodbench.cli import caution, talk
from rodbench.cli.hold import Hold
from rodbench.errors import HeldError, LinkLost, Refused, RodbenchError

if TYPE_CHECKING:
    from rodbench.board import Board, Motion
    from rodbench.cli.keys import Keys
    from rodbench.cli.options import Setup

RUN_KEYS = ("left", "right", "up", "down")
Tell = Callable[..., None]


class WatchHold(Hold):
    """The timing of `jog`, turned by the loop of `watch`; what it says goes into the view."""

    no_start = (Refused, HeldError)
    tell: Tell
    moved = False

    def _start(self, value: float) -> Motion:
        motion = super()._start(value)
        self.moved = True
        return motion

    def _note(self, text: str) -> None:
        self.tell(talk.sentences(text))


class JogKeys:
    """Whether the arrow keys move a rod, and which."""

    def __init__(self, setup: Setup, board: Board, terminal: Keys | None, tell: Tell) -> None:
        self.setup = setup
        self.board = board
        self.asking = False  # the caution is shown, a person's consent is waited for
        self.hold: WatchHold | None = None
        self._accepted = False
        self._why = ""  # why they were taken away: a key that is still held must not hide it
        self._terminal = terminal
        self._tell = tell
        self._axis = 0

    @property
    def moving(self) -> bool:
        """Whether a motion of these keys is under way."""
        return self.hold is not None and self.hold.motion is not None

    def ask(self) -> None:
        """The person wants to jog: the caution first, unless it was accepted before."""
        axis = self._axis or self._first_fitted()
        if not axis:
            self._tell("No axis is fitted: there is nothing to jog.")
        elif self._accepted or caution.accepted(self.setup):
            self.on(axis)
        else:
            self._axis, self.asking = axis, True
            self._tell(caution.CAUTION, self._unguarded(axis), lasting=True)

    def on(self, axis: int = 0) -> None:
        """The arrow keys move this axis from now on (0: the first that is fitted)."""
        from rodbench.board.gang import Gang
        from rodbench.cli.jog import usual_value

        axis = axis or self._first_fitted()
        if (
            not axis
            or self._terminal is None
            or not (live := self.board.axis(axis).settings())["feedback"]
        ):
            self._tell(f"Axis {axis} is not fitted." if axis else "No axis is fitted.")
            return
        self.off()
        target, units = self.board.axis(axis), self.setup.units()
        self._axis, self._accepted = axis, True
        both = Gang.of(self.board) is not None
        told = [f"Axis {axis} is ganged with axis {3 - axis}: both move."] if both else []
        self.board.subscribe(0.02, 0.2)
        self.hold = WatchHold(target, usual_value(live), live, self._terminal, units)
        self.hold.tell = self._tell
        self._tell(self._unguarded(axis), *told)

    def key(self, key: str) -> None:
        """Any key but stop and quit."""
        if self.asking:
            self._answer(key)
        elif key == "j":
            self.off() if self.hold is not None else self.ask()
        elif self.hold is None:
            if key in RUN_KEYS:
                self._tell(self._why or "These keys move nothing before j.")
        elif key in RUN_KEYS:
            self.hold.press(key)
        elif key in "12" and int(key) in self.board.scopes:
            self.on(int(key))

    def _answer(self, key: str) -> None:
        self.asking = False
        if key != "y":
            self._tell("The caution was not accepted: this only watches.")
            return
        self._tell()
        caution.note(self.setup, self.board, self._axis, "typed")
        self.on(self._axis)

    def turn(self) -> None:
        """One turn of the loop: listen, renew, end in time."""
        if self.hold is None:
            self.board.poll(0.02)
        else:
            self.hold.turn()

    def end(self) -> None:
        """Stop what these keys move."""
        if self.hold is not None:
            self.hold.end()

    def off(self, why: str = "") -> None:
        """From now on the arrow keys move nothing; what they moved is stopped first."""
        hold, self.hold, self.asking = self.hold, None, False
        if hold is None:
            return
        if hold.motion is not None and hold.motion.ended is None:
            with contextlib.suppress(RodbenchError):  # the board stops by itself then
                hold.end()
        self._why = f"{why} The jog keys are off; j asks for them again." if why else ""
        self._tell(self._why)
        if hold.moved:
            with contextlib.suppress(LinkLost):
                number, value = hold.axis.number, hold.value
                self.setup.log(self.board, "jog", axis=number, by="keys", value=value)

    def lines(self) -> list[str]:
        """What the keys do now."""
        if self._terminal is None:
            return ["`rodbench stop`, from any terminal, stops all, whoever commands."]
        if self.asking:
            return ["y: accepted, jog by keys   space: stop all   any other key: only watch"]
        if self.hold is None:
            return ["space: stop all, whoever commands   j: jog by keys   q: end, stops nothing"]
        hold, units = self.hold, self.hold.units
        at = units.speed(hold.value) if hold.calibrated else f"{100 * hold.value:.0f} % output"
        others = "1 2: axis   " if len(self.board.scopes) > 2 else ""
        return [
            f"JOG axis {hold.axis.number} at {at}: hold right to extend, left to retract",
            f"space: stop all   up down: speed   {others}j: no jog keys   q: end",
        ]

    def _first_fitted(self) -> int:
        fitted = [n for n in self.board.scopes[1:] if self.board.read_scope(n)["feedback"]]
        return fitted[0] if fitted else 0

    def _unguarded(self, axis: int) -> str:
        from rodbench.bench.guarded import not_guarded

        return f"Axis {axis}. {not_guarded(self.board.read_scope(0), self.board.read_scope(axis))}"
