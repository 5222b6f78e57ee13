"""`watch` in a terminal: what it shows and how wide, and what its keys do to a rod.

Figures of a stop are from the last key event to the start of the stop on the board. Allowed:
400 ms, as for `jog`.
"""

from __future__ import annotations

import os
import re
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from rodbench.link import holders
from rodbench_protocol.names import AxisState

from tests import boards
from tests.cli.conftest import MACHINE, PLANT, Bench, benched, wait_for
from tests.cli.test_gang import PAIR, SOUTH
from tests.cli.test_keys import ALLOWED_S, LEFT, RIGHT, SPACE, Terminal

two_axes = pytest.mark.skipif(boards.kind().axes < 2, reason="needs two axes")
STYLE = re.compile(rb"\x1b\[[0-9;:]*m")
ESCAPE = re.compile(r"\x1b\[[0-9;:?]*[A-Za-z]")


class Watching(Terminal):
    """`watch` in a terminal of its own."""

    def __init__(self, bench: Bench, *words: str, term: str = "xterm-256color") -> None:
        bench.env = {k: v for k, v in bench.env.items() if k not in ("COLUMNS", "LINES")}
        bench.env["TERM"] = term
        super().__init__(bench, "watch", *words, ready=b"space: stop all")

    def frames(self) -> list[list[str]]:
        """Whole pictures so far, each as its lines without escapes and padding."""
        parts = self.shown.decode(errors="replace").split("\x1b[H")[1:-1]
        return [[line.rstrip() for line in ESCAPE.sub("", part).split("\r\n")] for part in parts]

    def picture(self, *texts: str, gone: str = "") -> str:
        """The next picture in which all of these stand (wrapped or not), and `gone` does not."""
        first = len(self.frames())

        def found() -> str:
            for lines in self.frames()[first:]:
                told = " ".join(" ".join(lines).split())
                if all(text in told for text in texts) and not (gone and gone in told):
                    return "\n".join(lines)
            return ""

        picture = str(wait_for(found, 8, f"a picture with {texts}"))
        print(picture)
        return picture

    def jog_keys(self) -> None:
        """Ask for them and accept the caution."""
        self.press(b"j")
        self.picture("The rod can crush a hand", "y: accepted")
        self.press(b"y")
        self.picture("JOG axis 1")


Open = Callable[..., Watching]


@pytest.fixture
def opened(request: pytest.FixtureRequest) -> Iterator[Open]:
    """Opens terminals, and closes them at the end."""
    found: list[Watching] = []

    def start(bench: Bench, *words: str, **more: object) -> Watching:
        found.append(Watching(bench, *words, **more))  # type: ignore[arg-type]
        return found[-1]

    yield start
    for terminal in found:
        terminal.close()


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[Bench]:
    with benched(tmp_path, PAIR, PLANT + SOUTH) as found:
        found.run("settings", "push")
        yield found


@two_axes
def test_both_rods_fit_in_80_columns_and_24_rows_whatever_stands_against_them(
    pair: Bench, opened: Open
) -> None:
    pair.run("move", "2", "31.5 mm", "--yes")
    pair.board.rig.set_fault("jam", 1, 20.5)
    pair.run("move", "1", "25 mm", code=8)
    terminal = opened(pair)
    picture = terminal.picture('Axis 1 "north"', 'Axis 2 "south"', "then `rodbench clear 1`")
    assert "nobody commands" in picture
    terminal.press(b"j")  # accepted above: what is not guarded stands there too
    terminal.picture("JOG axis 1", "Not guarded", "then `rodbench clear 1`")
    terminal.press(b"2")
    terminal.picture("JOG axis 2")
    assert terminal.quit() == 0
    for lines in filter(any, terminal.frames()):  # the first one is blank
        assert len(lines) <= 24
        assert max(map(len, lines)) <= 80
        assert any("space: stop all" in line for line in lines)


def test_the_picture_follows_the_size_of_the_terminal(calibrated: Bench, opened: Open) -> None:
    terminal = opened(calibrated)
    wide = terminal.picture('Axis 1 "north"')
    terminal.resize(terminal.master, 12, 60)
    wait_for(lambda: len(terminal.frames()[-1]) <= 12, 3, "a smaller picture")
    small = terminal.picture("space: stop all")
    assert max(map(len, small.split("\n"))) <= 60
    assert wide.split("position   ")[1].index(" ") > small.split("position   ")[1].index(" ")
    assert terminal.quit() == 0


def test_at_most_ten_pictures_a_second(calibrated: Bench, opened: Open) -> None:
    terminal = opened(calibrated)
    before, begun = len(terminal.frames()), time.monotonic()
    time.sleep(2.0)
    rate = (len(terminal.frames()) - before) / (time.monotonic() - begun)
    print(f"{rate:.1f} pictures a second")
    assert 2 < rate <= 10.5


@pytest.mark.parametrize("colour", [True, False])
def test_no_color_leaves_out_every_style(calibrated: Bench, opened: Open, colour: bool) -> None:
    if not colour:
        calibrated.env["NO_COLOR"] = "1"
    terminal = opened(calibrated)
    terminal.picture("- Not moved since the board started")
    assert bool(STYLE.search(terminal.shown)) is colour
    assert terminal.quit() == 0


def test_a_dumb_terminal_gets_lines_without_one_escape(calibrated: Bench, opened: Open) -> None:
    terminal = opened(calibrated, term="dumb")
    wait_for(lambda: b"nobody commands" in terminal.shown, 5, "who commands")
    calibrated.run("move", "1", "25 mm", "--yes")
    wait_for(lambda: b"the motion reached its target" in terminal.shown, 5, "the event")
    assert terminal.quit() == 0
    print(terminal.shown.decode())
    assert b"\x1b" not in terminal.shown
    assert b'Axis 1 "north": move, extending' in terminal.shown
    assert terminal.shown.count(b"the first motion goes at creep") == 1
    assert b"'move 1' (process " in terminal.shown


def test_space_stops_what_another_command_moves_and_the_view_says_who_it_was(
    calibrated: Bench, opened: Open
) -> None:
    terminal = opened(calibrated)
    mover = calibrated.start("move", "1", "37 mm", "--yes")
    picture = terminal.picture("'move 1' (process ", "commands", "ramp at", "extending")
    assert "output +" in picture
    assert terminal.stop_after(terminal.press(SPACE)) < 0.2
    terminal.picture("Stop sent to all axes", "nobody commands")
    assert mover.wait(10) == 130
    assert "'watch'" in mover.stderr.read()  # type: ignore[union-attr]
    assert calibrated.position_mm < 36
    assert terminal.quit() == 0


def test_the_arrows_move_nothing_before_the_caution_is_accepted(
    calibrated: Bench, opened: Open
) -> None:
    terminal = opened(calibrated)
    before = calibrated.position_mm
    terminal.hold(RIGHT, 0.8)
    terminal.picture("These keys move nothing before j")
    terminal.press(b"j")
    terminal.picture("The rod can crush a hand", "Not guarded", "y: accepted")
    terminal.press(RIGHT)  # any other key
    terminal.picture("not accepted", gone="y: accepted")
    terminal.hold(RIGHT, 0.8)
    assert [state for _, state in terminal.states] == [AxisState.IDLE]
    assert calibrated.position_mm == pytest.approx(before, abs=0.05)
    assert terminal.quit() == 0
    log = calibrated.folder / "logbook" / "log.jsonl"
    assert not log.exists() or '"caution"' not in log.read_text()


def test_held_it_runs_and_stops_after_the_last_key(calibrated: Bench, opened: Open) -> None:
    terminal = opened(calibrated)
    terminal.jog_keys()
    before = calibrated.position_mm
    pressed = terminal.press(RIGHT)
    assert terminal.stop_after(pressed) < ALLOWED_S
    calibrated.wait_still()
    last = terminal.hold(RIGHT, 1.8)
    assert terminal.stop_after(last) < ALLOWED_S
    calibrated.wait_still()
    assert calibrated.position_mm > before + 2
    terminal.hold(LEFT, 1.0)
    calibrated.wait_still()
    terminal.picture("nobody commands")
    assert terminal.quit() == 0
    assert any("you command" in " ".join(lines) for lines in terminal.frames())
    log = (calibrated.folder / "logbook" / "log.jsonl").read_text()
    assert log.count('"caution"') == 1
    assert '"by": "keys"' in log or '"by":"keys"' in log


@pytest.mark.parametrize("key", [b"k", b"2", SPACE, b"q", b"\t"])
def test_any_other_key_stops_the_jog(calibrated: Bench, opened: Open, key: bytes) -> None:
    terminal = opened(calibrated)
    terminal.jog_keys()
    terminal.hold(RIGHT, 1.0)
    assert terminal.stop_after(terminal.press(key)) < 0.2
    calibrated.wait_still()
    if key != b"q":
        terminal.picture("JOG axis 1")  # it did nothing else
        terminal.press(b"q")
    assert terminal.process.wait(10) == 0


@pytest.mark.parametrize("end", ["SIGINT", "SIGTERM", "SIGHUP", "closed"])
def test_a_signal_or_a_closed_terminal_stops_the_rod_first(
    calibrated: Bench, opened: Open, end: str
) -> None:
    terminal = opened(calibrated)
    terminal.jog_keys()
    last = terminal.hold(RIGHT, 1.0)
    if end == "closed":
        os.close(terminal.slave)
        os.close(terminal.master)
    else:
        terminal.process.send_signal(signal.Signals[end])
    assert terminal.stop_after(last) < ALLOWED_S
    assert terminal.process.wait(10) == 130
    calibrated.wait_still(1.5)


def test_a_stop_from_elsewhere_takes_the_jog_keys_away(calibrated: Bench, opened: Open) -> None:
    """The key may still be held: its repeats must not start the rod again."""
    terminal = opened(calibrated)
    terminal.jog_keys()
    terminal.hold(RIGHT, 0.8)
    stopper = calibrated.start("stop")
    while stopper.poll() is None:
        terminal.press(RIGHT)
        time.sleep(0.033)
    stopped = time.monotonic()
    for _ in range(30):
        terminal.press(RIGHT)
        time.sleep(0.033)
    states = [state for when, state in terminal.changes(stopped + 0.3)]
    assert AxisState.JOG not in states
    assert "asked for it. The jog keys are off" in "".join(
        " ".join(" ".join(lines).split()) for lines in terminal.frames()
    )
    assert calibrated.drive == 0
    assert terminal.quit() == 0


def test_keys_that_waited_run_nothing_but_a_stop_that_waited_stops(
    calibrated: Bench, opened: Open
) -> None:
    terminal = opened(calibrated)
    terminal.jog_keys()
    terminal.process.send_signal(signal.SIGSTOP)
    for _ in range(3):
        terminal.press(RIGHT)
    time.sleep(0.5)
    woken = time.monotonic()
    terminal.process.send_signal(signal.SIGCONT)
    time.sleep(0.7)
    assert terminal.changes(woken) == []
    mover = calibrated.start("move", "1", "37 mm", "--yes")
    calibrated.wait_moving()
    terminal.process.send_signal(signal.SIGSTOP)
    terminal.press(SPACE)
    time.sleep(0.5)
    woken = time.monotonic()
    terminal.process.send_signal(signal.SIGCONT)
    assert terminal.stop_after(woken) < ALLOWED_S
    assert mover.wait(10) == 130
    assert terminal.stop_after(terminal.press(RIGHT)) < ALLOWED_S  # and the keys go on
    assert terminal.quit() == 0


def test_a_jog_while_another_commands_is_refused_in_words(calibrated: Bench, opened: Open) -> None:
    terminal = opened(calibrated)
    terminal.jog_keys()
    mover = calibrated.start("move", "1", "37 mm", "--yes")
    calibrated.wait_moving()
    terminal.press(LEFT)
    terminal.picture("'move 1' (process", "is commanding this board")
    assert mover.wait(15) == 0
    assert calibrated.position_mm == pytest.approx(37, abs=0.5)
    assert terminal.quit() == 0


def test_with_jog_the_caution_comes_before_the_view(calibrated: Bench, opened: Open) -> None:
    terminal = opened(calibrated, "--jog", "--yes")
    assert terminal.shown.index(b"crush a hand") < terminal.shown.index(b"\x1b[H")
    terminal.picture("JOG axis 1")
    assert terminal.stop_after(terminal.press(RIGHT)) < ALLOWED_S
    assert terminal.quit() == 0
    asked = calibrated.run("watch", "--jog", code=9)
    assert "jog by keys needs a terminal" in asked.stderr


def test_settings_that_change_are_shown_and_take_the_jog_keys_away(
    calibrated: Bench, opened: Open
) -> None:
    terminal = opened(calibrated)
    terminal.jog_keys()
    path = calibrated.folder / "machine.toml"
    path.write_text(MACHINE.replace("soft_stop_max_mm = 38.0", "soft_stop_max_mm = 30.0"))
    calibrated.run("settings", "push")
    terminal.picture("] 30.0", "The settings have changed. The jog keys are off")
    assert terminal.quit() == 0


def test_a_lost_owner_is_found_again_and_a_lost_board_is_said(
    calibrated: Bench, opened: Open
) -> None:
    """After either the arrow keys move nothing before they are asked for anew."""
    terminal = opened(calibrated)
    terminal.jog_keys()
    for lock in Path(calibrated.env["RODBENCH_RUNTIME"]).glob("*.lock"):
        for holder in holders.find(lock):
            os.kill(holder.pid, signal.SIGKILL)
    terminal.picture("The board is not reached", "cut motor power", "who commands is not known")
    terminal.picture("nobody commands", "j: jog by keys", gone="not reached")
    terminal.hold(RIGHT, 0.6)
    terminal.picture("These keys move nothing before j")
    calibrated.served.close()
    terminal.picture("The board is not reached")
    terminal.press(SPACE)
    terminal.picture("THE STOP DID NOT REACH THE BOARD")
    assert AxisState.JOG not in [state for _, state in terminal.states]
    assert terminal.quit() == 0
