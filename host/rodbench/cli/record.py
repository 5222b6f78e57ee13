"""rodbench record"""

from __future__ import annotations

import contextlib
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from rodbench.cli import talk
from rodbench.cli.options import Setup, for_board
from rodbench.errors import Interrupted, LinkLost, RodbenchError, SettingsError
from rodbench.settings import amounts

if TYPE_CHECKING:
    from rodbench.board import Board
    from rodbench.record.recorder import Recorder

TURN_S = 0.05
AGAIN_S = 1.0  # between two tries to reach the board by another owner process
AXIS_PERIOD_S, BOARD_PERIOD_S = 0.01, 0.1  # the full rate
SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")


@click.command("record")
@click.argument("name", metavar="[NAME]", required=False, default="")
@click.option("--for", "duration", metavar="TIME", help='End after so long, such as "10 min".')
@click.option(
    "--append",
    "old",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Go on in a recording, after a power cut for example; the gap is marked.",
)
@for_board
def command(setup: Setup, name: str, duration: str | None, old: Path | None) -> None:
    """Record all telemetry and events into the logbook, until Ctrl-C.

    It only listens, beside whatever else runs. The file is logbook/recordings/DATE-NAME.rodrec;
    what is in it is on the disk within a second, and a kill loses no more. Where the port is lost,
    the gap is marked, and the recording goes on by itself when the board is back.

    \b
    Example:  rodbench record first-run
              rodbench record --for "10 min"
    """
    seconds = float("inf") if duration is None else amounts.seconds(duration)
    machine, rods = _machine(setup)
    with Ending() as ending, contextlib.ExitStack() as stack:
        board = stack.enter_context(setup.board("record"))
        recorder = _begin(setup, board, old, machine=machine, rods=rods, name=name)
        board.poll(0.0)  # what came while the settings were read is of no recording
        board.subscribe(AXIS_PERIOD_S, BOARD_PERIOD_S)
        run = Run(setup, recorder, ending, stack)
        run.until(board.clock.now() + seconds)
    talk.result(run.data(), run.text(), setup.as_json)


def _machine(setup: Setup) -> tuple[str, dict[int, str | None]]:
    """Names of machine and rods; a file that does not hold is no reason not to record."""
    if not setup.has_machine:
        setup.machine()  # says so
    try:
        machine = setup.machine()
    except SettingsError as error:
        talk.say(f"note: {error.message}")
        return setup.folder.name, {}
    return machine.name or setup.folder.name, {axis: machine.rod_of(axis) for axis in (1, 2)}


def _begin(setup: Setup, board: Board, old: Path | None, **facts: Any) -> Recorder:
    from rodbench.record.recorder import Recorder

    if old is None:
        recorder = Recorder.begin(setup.logbook().folder, board, **facts)
    else:
        recorder, repaired = Recorder.resume(old, board)
        if repaired:
            talk.say(f"note: {repaired}")
    talk.say(f"recording into {recorder.path}; Ctrl-C ends it")
    return recorder


class Ending:
    """Signals end the recording between two blocks; a second one breaks off at once."""

    def __init__(self) -> None:
        self.why = ""
        self.at_once = False  # whether what is under way may be broken off by the first signal too
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Ending:
        for name in SIGNALS:
            if (number := getattr(signal, name, None)) is not None:
                self._before[number] = signal.signal(number, self._take)
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _take(self, number: int, frame: FrameType | None) -> None:
        again, self.why = bool(self.why), signal.Signals(number).name
        if again or self.at_once:
            raise Interrupted(f"interrupted ({self.why})")

    @contextlib.contextmanager
    def broken_off(self) -> Iterator[None]:
        """Inside, waiting is ended by a signal."""
        self.at_once = True
        try:
            yield
        except Interrupted:
            if not self.why:
                raise
        finally:
            self.at_once = False


class Run:
    """A recording under way."""

    def __init__(
        self, setup: Setup, recorder: Recorder, ending: Ending, stack: contextlib.ExitStack
    ) -> None:
        self._setup = setup
        self._recorder = recorder
        self._ending = ending
        self._stack = stack  # what is open
        self._shown_s = 0.0
        self.why = "time was over"

    def until(self, deadline: float) -> None:
        """Record until then, or a signal. Raises RecordingError when it cannot be written."""
        recorder = self._recorder
        try:
            while recorder.board.clock.now() < deadline and not self._ending.why:
                self._turn()
                self._show()
        finally:
            self._show(last=True)
            recorder.close(self._ending.why or self.why)

    def data(self) -> dict[str, Any]:
        """The result."""
        from rodbench.record.recording import Recording

        recorder, clock = self._recorder, Recording.open(self._recorder.path).board_clock
        ppm = None if clock.ppm is None else round(clock.ppm, 1)
        either = None if clock.ppm_either_way is None else round(clock.ppm_either_way, 1)
        return {
            "file": str(recorder.path), "seconds": round(recorder.seconds, 2),
            "frames": recorder.frames, "gaps": recorder.account.gaps,
            "missed": recorder.account.missed, "bytes": recorder.size,
            "digest": recorder.settings["digest"], "board_clock_ppm": ppm,
            "board_clock_ppm_either_way": either, "ended": self._ending.why or self.why,
        }  # fmt: skip

    def text(self) -> str:
        """The result in words."""
        data = self.data()
        told = f"{data['file']}: {self._words()}, settings {data['digest']}"
        if data["board_clock_ppm"] is None:
            return told
        return told + (
            f"\nthe board's clock against this computer's: {data['board_clock_ppm']:+.0f} "
            f"± {data['board_clock_ppm_either_way']:.0f} ppm"
        )

    def _words(self) -> str:
        recorder, seconds = self._recorder, int(self._recorder.seconds)
        length = f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
        count = recorder.account.gaps
        gaps = f"{count or 'no'} gap{'s' if count > 1 else ''}"
        return f"{length}, {recorder.frames} samples, {gaps}, {recorder.size / 1e6:.2f} MB"

    def _turn(self) -> None:
        from rodbench.owner.link import OwnerGone

        recorder = self._recorder
        try:
            for sample in recorder.board.poll(TURN_S):
                recorder.take(sample, recorder.board.clock.now())
            recorder.tend()
        except OwnerGone as error:
            self._lost(error)
            self._reach_again()
        except LinkLost as error:
            self._lost(error)

    def _lost(self, error: RodbenchError) -> None:
        talk.say(f"note: {error.message}: the gap is marked, recording goes on when it is back")
        self._recorder.mark("lost", why=error.message)

    def _reach_again(self) -> None:
        """By another owner process; tried until the board is there, or a signal comes."""
        self._stack.close()
        while not self._ending.why:
            with self._ending.broken_off(), contextlib.suppress(RodbenchError):
                time.sleep(AGAIN_S)
                board = self._stack.enter_context(self._setup.board("record"))
                board.subscribe(AXIS_PERIOD_S, BOARD_PERIOD_S)
                self._recorder.board = board
                return

    def _show(self, last: bool = False) -> None:
        """One line that is written over, for a person."""
        now = time.monotonic()
        if not sys.stderr.isatty() or (now - self._shown_s < 0.5 and not last):
            return
        self._shown_s = now
        with talk.forgiving():
            end = "\n" if last else ""
            print(f"\r{self._words():<78}", end=end, file=sys.stderr, flush=True)
