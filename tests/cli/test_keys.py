"""Hold-to-run by keys, through a pseudo terminal, with the wall clock.

Terminals send no key release: the figures here are from the last key event to the start of the
stop on the board (its state, not its rest). Allowed: 400 ms.
"""

from __future__ import annotations

import contextlib
import os
import pty
import signal
import struct
import subprocess
import termios
import threading
import time
from collections.abc import Iterator

import pytest
from rodbench.emulator.eye import EyeServer
from rodbench_protocol.names import AxisState

from tests import boards
from tests.cli.conftest import ANSWERS, RODBENCH, Bench, wait_for

RIGHT, LEFT, SPACE = b"\x1b[C", b"\x1b[D", b" "
REPEAT_S = 0.033  # about 30 a second
FIRST_REPEAT_S = 0.45
ALLOWED_S = 0.4


class Terminal:
    """A command in a terminal of its own, and what the board's axis does meanwhile."""

    def __init__(
        self, bench: Bench, *words: str, ready: bytes = b"q ends", size: tuple[int, int] = (24, 80)
    ) -> None:
        self.bench = bench
        self.master, slave = pty.openpty()
        self.resize(slave, *size)
        self.modes = termios.tcgetattr(slave)
        self.slave = slave
        self.process = subprocess.Popen(
            [*RODBENCH, *words], cwd=bench.folder, env=bench.env,
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True, preexec_fn=_own_tty,
        )  # fmt: skip
        self.shown = b""
        self.states: list[tuple[float, int]] = [(time.monotonic(), self._state())]
        self._ending = False
        self._threads = [threading.Thread(target=f, daemon=True) for f in (self._read, self._look)]
        for thread in self._threads:
            thread.start()
        wait_for(lambda: ready in self.shown, 20, "the greeting")
        time.sleep(0.3)

    def _state(self) -> int:
        return boards.axis_state(self.bench.board)

    def _read(self) -> None:
        with contextlib.suppress(OSError):
            while data := os.read(self.master, 4096):
                self.shown += data

    def _look(self) -> None:
        while not self._ending:
            state = self._state()
            if state != self.states[-1][1]:
                self.states.append((time.monotonic(), state))
            time.sleep(0.002)

    @staticmethod
    def resize(handle: int, rows: int, columns: int) -> None:
        import fcntl

        fcntl.ioctl(handle, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def press(self, key: bytes) -> float:
        """A key event; returns when."""
        os.write(self.master, key)
        return time.monotonic()

    def hold(self, key: bytes, seconds: float) -> float:
        """A key held: a press, a pause, then repeats; returns when the last came."""
        start = last = self.press(key)
        time.sleep(FIRST_REPEAT_S)
        while time.monotonic() - start < seconds:
            last = self.press(key)
            time.sleep(REPEAT_S)
        return last

    def changes(self, since: float) -> list[tuple[float, int]]:
        return [(when, state) for when, state in self.states if when >= since]

    def stop_after(self, since: float) -> float:
        """Seconds from `since` to the next start of a stop."""
        found = wait_for(
            lambda: [w for w, s in self.changes(since) if s == AxisState.STOPPING], 3, "a stop"
        )
        print(f"key event to the start of the stop: {1000 * (found[0] - since):.0f} ms")
        return float(found[0] - since)

    def wait_state(self, state: int, since: float) -> float:
        found = wait_for(lambda: [w for w, s in self.changes(since) if s == state], 3, "a state")
        return float(found[0])

    def quit(self) -> int:
        self.press(b"q")
        return self.process.wait(10)

    def close(self) -> None:
        self._ending = True
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for handle in (self.master, self.slave):
            with contextlib.suppress(OSError):
                os.close(handle)


def _own_tty() -> None:
    import fcntl

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


@pytest.fixture
def terminal(calibrated: Bench) -> Iterator[Terminal]:
    found = Terminal(calibrated, "jog", "1", "2 mm/s", "--yes")
    yield found
    found.close()


def test_one_press_is_one_short_jog(terminal: Terminal) -> None:
    pressed = terminal.press(RIGHT)
    assert terminal.stop_after(pressed) < ALLOWED_S
    begun = terminal.wait_state(AxisState.JOG, pressed)
    stopped = terminal.wait_state(AxisState.STOPPING, pressed)
    assert stopped - begun < 0.3  # 0.25 s, and one turn of the loop
    time.sleep(0.6)
    assert [s for _, s in terminal.changes(stopped)][-1] == AxisState.IDLE
    assert terminal.quit() == 0


def test_held_it_runs_on_and_stops_after_the_last_repeat(terminal: Terminal) -> None:
    start = time.monotonic()
    before = terminal.bench.position_mm
    last = terminal.hold(RIGHT, 2.0)
    assert terminal.stop_after(last) < ALLOWED_S
    jogs = [w for w, s in terminal.changes(start) if s == AxisState.JOG]
    stops = [w for w, s in terminal.changes(start) if s == AxisState.STOPPING]
    # One jog for the press, one for the repeats (or a single one when the repeat came in time).
    assert len(jogs) <= 2
    assert stops[-1] - jogs[-1] > 1.2
    assert terminal.bench.position_mm > before + 1.5
    assert terminal.quit() == 0


def test_the_other_key_goes_the_other_way(terminal: Terminal) -> None:
    before = terminal.bench.position_mm
    terminal.hold(LEFT, 1.5)
    terminal.bench.wait_still()
    assert terminal.bench.position_mm < before - 1.0
    assert terminal.quit() == 0


def test_space_stops_at_once_and_q_while_running_stops_first(terminal: Terminal) -> None:
    terminal.hold(RIGHT, 1.0)
    assert terminal.stop_after(terminal.press(SPACE)) < 0.2
    terminal.bench.wait_still()
    terminal.hold(RIGHT, 1.0)
    pressed = terminal.press(b"q")
    assert terminal.stop_after(pressed) < 0.2
    assert terminal.process.wait(10) == 0


def test_the_terminal_is_put_back(terminal: Terminal) -> None:
    assert termios.tcgetattr(terminal.slave) != terminal.modes
    terminal.hold(RIGHT, 0.8)
    terminal.process.send_signal(signal.SIGINT)
    assert terminal.process.wait(10) == 130
    assert termios.tcgetattr(terminal.slave) == terminal.modes
    terminal.bench.wait_still(1.5)


def test_a_closed_terminal_stops_the_rod(terminal: Terminal) -> None:
    last = terminal.hold(RIGHT, 1.0)
    os.close(terminal.slave)
    os.close(terminal.master)
    assert terminal.stop_after(last) < ALLOWED_S
    assert terminal.process.wait(10) == 130
    terminal.bench.wait_still(1.5)


def test_a_stopped_process_is_stopped_by_the_board(terminal: Terminal) -> None:
    terminal.hold(RIGHT, 1.0)
    terminal.process.send_signal(signal.SIGSTOP)
    # The board's hold of 250 ms, counted from the tick that was echoed last.
    assert terminal.stop_after(time.monotonic()) < 0.25 + 0.1
    terminal.bench.wait_still(1.5)
    terminal.process.send_signal(signal.SIGCONT)
    time.sleep(0.5)
    assert terminal.bench.drive == 0
    assert terminal.quit() == 0


def test_any_key_stops_a_procedure(bench: Bench) -> None:
    (bench.folder / "answers.toml").write_text(ANSWERS)
    eye = EyeServer(bench.served.look, "127.0.0.1:0")
    words = ["commission", "--answers", "answers.toml", "--yes", "--eye", eye.address]
    terminal = Terminal(bench, *words, ready=b"1 Before anything moves")
    wait_for(lambda: b"run A" in terminal.shown, 30, "the first run")
    bench.wait_moving()
    pressed = terminal.press(b"k")
    assert terminal.stop_after(pressed) < ALLOWED_S
    assert terminal.process.wait(10) == 130
    assert b"a key was pressed" in terminal.shown
    assert termios.tcgetattr(terminal.slave) == terminal.modes
    terminal.close()
    eye.close()
