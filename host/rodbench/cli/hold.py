"""Hold-to-run by the keys of a terminal, which tells presses and repeats but no release.

One press is one jog of at most 250 ms, since the first repeat comes only after 250 to 660 ms
(common practice, no source). Once repeats come the motion is continuous; 150 ms after the last an
explicit end is sent. So the stop begins within 400 ms of the last key event.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING

from rodbench_protocol.names import Ended

from rodbench.board import AxisSample
from rodbench.cli import talk
from rodbench.cli.keys import Keys
from rodbench.errors import Faulted, Refused, RodbenchError

if TYPE_CHECKING:
    from rodbench.board import Axis, Motion, Sample
    from rodbench.board.gang import Gang
    from rodbench.settings.units import Units

PRESS_S = 0.25  # a press alone
REPEAT_GAP_S = 0.15  # after the last repeat
FIRST_REPEAT_S = 0.7  # the first repeat after a press comes within this
TURN_S = 0.005  # wait for a key in one turn of the loop
REST_TURN_S = 0.02  # and for telemetry at rest
SHOW_S = 0.1
STEP = 1.25  # a press of up or down
_WAYS = {"right": 1, "left": -1}


class Hold:
    """The loop of `jog AXIS`: reads keys, keeps the motion alive, ends it in time.

    The keys of `ends_by` end the loop; `ended_by` is the one that did, "" before.
    `value` is in mm/s on a calibrated axis, else a share of full output; `live` are its settings.
    """

    ends_by: frozenset[str] = frozenset({"quit"})
    no_start: tuple[type[RodbenchError], ...] = (Refused,)  # said, and the keys go on

    def __init__(
        self, axis: Axis, value: float, live: Mapping[str, int], terminal: Keys, units: Units
    ) -> None:
        self.axis = axis
        self.board = axis.board
        self.value = value
        self.most = float("inf")
        self.live = live
        self.calibrated = bool(live["calibrated"])
        self.keys = terminal
        self.units = units
        self.motion: Motion | None = None
        self.way = 0
        self.last_key_s = float("-inf")
        self.end_s = 0.0
        self.ended_by = ""
        self._shown_s = 0.0
        self._noted = ("", float("-inf"))

    def run(self) -> None:
        """Until a key of `ends_by` or the end of the input. Any error stops the rod first."""
        self.board.subscribe(0.02, 0.2)
        self.board.listeners.append(self._hear)
        try:
            while self._take_keys():
                self.turn()
        finally:
            self.end()
            self.board.listeners.remove(self._hear)
            self._write("\r\x1b[2K")

    def _take_keys(self) -> bool:
        """All keys that wait: a backlog must not outlast the finger. False at the end."""
        key = self.keys.read(TURN_S)
        while key:
            if key in self.ends_by:
                self.ended_by = key
                return False
            self.press(key)
            key = self.keys.read(0.0)
        return True

    def press(self, key: str) -> None:
        """A key event."""
        if key in _WAYS:
            self._run_key(_WAYS[key])
        elif key in ("up", "down"):
            self.value = min(self.value * (STEP if key == "up" else 1 / STEP), self.most)
            if self.motion is not None:
                self.motion.change(self.way * self.value)
        else:
            self.end()  # space, and any key that means nothing here

    def _run_key(self, way: int) -> None:
        now = self.board.clock.now()
        repeat = now - self.last_key_s < FIRST_REPEAT_S and self.way == way
        self.last_key_s = now
        self.end_s = now + (REPEAT_GAP_S if repeat else PRESS_S)
        turned, self.way = way != self.way, way
        if self.motion is None:
            self._begin()
        elif turned:
            self._turn_round()

    def _turn_round(self) -> None:
        if self.motion is not None:
            self.motion.change(self.way * self.value)

    def _begin(self) -> None:
        try:
            self.motion = self._start(self.way * self.value)
        except self.no_start as refused:
            self._note(f"{refused.message}. {refused.hint or ''}")

    def _start(self, value: float) -> Motion:
        return self.axis.jog(value) if self.calibrated else self.axis.jog_output(value)

    def turn(self) -> None:
        """Renew, see whether it ended by itself, and end it in time."""
        if self.motion is None:
            self.board.pump(REST_TURN_S)
        elif self.motion.wait(0.0) is not None:
            self._ended()
        elif self.board.clock.now() >= self.end_s:
            self.end()

    def end(self) -> None:
        """Stop what runs, and wait for its rest."""
        if self.motion is not None:
            self.motion.stop()
            self._ended()

    def _ended(self) -> None:
        from rodbench.cli.endings import raise_fault, rest_words
        from rodbench.cli.gang import first_to_end
        from rodbench.show.where import has_pot
        from rodbench.show.words import ended

        motion, self.motion = self.motion, None
        outcome = motion.ended if motion else None
        if outcome is None:
            return
        outcome = first_to_end(self.board, outcome)
        where, pot = rest_words(self.axis, self.live, outcome, self.units), has_pot(self.live)
        try:
            raise_fault(outcome, self.units, where, pot)
        except Faulted as fault:
            self._note(f"{fault.message} {fault.hint}")
            return
        if outcome.ended not in (Ended.STOPPED, Ended.REPLACED):
            self._note(f"the jog {ended(outcome.ended, pot)}")

    def _hear(self, sample: Sample) -> None:
        if not isinstance(sample, AxisSample) or sample.axis != self.axis.number:
            return
        now = self.board.clock.now()
        if now - self._shown_s >= SHOW_S:
            self._shown_s = now
            self._write(f"\r\x1b[2K{self._line(sample)[:79]}")

    def _line(self, sample: AxisSample) -> str:
        from rodbench.show.where import where
        from rodbench.show.words import state

        speed = (
            self.units.speed(self.value)
            if sample.calibrated
            else f"{100 * self.value:.0f} % output"
        )
        return (
            f"{where(sample, self.live, self.units):>10}   {sample.current_a:5.2f} A   "
            f"{state(sample.state):<10} jog {speed}   duty {100 * sample.duty_used:3.0f} %"
        )

    def _note(self, text: str) -> None:
        """A line that stays; the same again only after two seconds."""
        text, now = text.strip(), self.board.clock.now()
        if text != self._noted[0] or now - self._noted[1] > 2.0:
            self._write(f"\r\x1b[2K{text}\n")
        self._noted = (text, now)

    def _write(self, text: str) -> None:
        with talk.forgiving():
            sys.stderr.write(text)
            sys.stderr.flush()


class LevelHold(Hold):
    """The loop of `level AXIS`: one rod of a gang, at creep at most; shows how far it is ahead."""

    def __init__(
        self,
        axis: Axis,
        value: float,
        live: Mapping[str, int],
        terminal: Keys,
        units: Units,
        gang: Gang,
    ) -> None:
        super().__init__(axis, value, live, terminal, units)
        self.most = value
        self.gang = gang

    def _start(self, value: float) -> Motion:
        return self.axis.level(value)

    def _line(self, sample: AxisSample) -> str:
        from rodbench.cli.level import ahead_words

        ahead = self.gang.ahead_mm(self.axis.number, self.board.last_axis)
        said = "?" if ahead is None else ahead_words(self.axis.number, ahead, self.units)
        return f"{said:>28}   level {self.units.speed(self.value)}   {super()._line(sample)}"
