"""Whatever dies, the rod stops within its hold and its ramp, counted in the board's own ticks.

The board is the emulator, or the real binary in its simulator, behind a pty or a TCP port in real
time; what the H-bridge is told is recorded tick by tick. The command and the owner are killed,
frozen, or lose their terminal, also with renewals that still wait in the port's buffer.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time

import pytest
from rodbench.board import Board
from rodbench_protocol.names import Ended, Fault

from tests.link.conftest import owners
from tests.link.rig import HOLD_TICKS, KINDS, RAMP_TICKS, SETTLE_TICKS, Bench

PROGRAM = textwrap.dedent(
    """
    import sys
    from rodbench.board import Board
    board = Board.open(sys.argv[1], who="child")
    axis = board.axis(1)
    motion = axis.jog(8.0) if sys.argv[2] == "jog" else axis.move(90.0, 8.0)
    motion.wait()
    """
)
AT_ONCE_TICKS = 20  # for a stop that is sent, on a busy computer; its ramp comes on top


@pytest.fixture(params=KINDS)
def kind(request):
    return request.param


@pytest.fixture
def bench(runtime, kind):
    made = Bench(kind)
    yield made
    made.close()


@pytest.fixture(params=HOLD_TICKS)
def motion(request):
    return request.param


def start(bench, motion, **options):
    """A command that moves the rod, once it is at speed. On a computer so busy that the hold lapses
    before that, another one."""
    for _ in range(3):
        child = subprocess.Popen([sys.executable, "-c", PROGRAM, bench.port, motion], **options)
        try:
            bench.until(lambda tick: tick.speed_mm_s > 6.0)
        except AssertionError:
            child.kill()
            with Board.open(bench.port) as board:
                board.clear()
        else:
            return child
    raise AssertionError("no motion could be kept alive")


def stopped_after(bench, since):
    """Ticks from `since` to output 0 for good, and checks that nothing moves again."""
    end = bench.until(lambda tick: tick.drive == 0)
    bench.pass_ticks(60)
    assert not any(tick.drive for tick in bench.board.ticks[end : bench.now])
    return end - since


def limit(motion):
    return HOLD_TICKS[motion] + RAMP_TICKS + SETTLE_TICKS


def assert_held(ticks, motion):
    """The hold ended it: no later than it may, and no sooner than an order would have."""
    assert HOLD_TICKS[motion] * 0.6 < ticks <= limit(motion)


def test_the_command_is_killed(bench, motion):
    child = start(bench, motion)
    since = bench.now
    child.kill()
    assert stopped_after(bench, since) <= AT_ONCE_TICKS + RAMP_TICKS + SETTLE_TICKS


def test_the_command_is_frozen(bench, motion):
    child = start(bench, motion)
    since = bench.now
    child.send_signal(signal.SIGSTOP)
    assert_held(stopped_after(bench, since), motion)
    child.send_signal(signal.SIGCONT)
    child.wait(10)
    assert not any(tick.drive for tick in bench.board.ticks[-20:])


def test_the_owner_is_killed(bench, motion, runtime):
    child = start(bench, motion, stderr=subprocess.PIPE, text=True)
    (owner,) = owners(runtime)
    since = bench.now
    os.kill(owner, signal.SIGKILL)
    assert_held(stopped_after(bench, since), motion)
    _, said = child.communicate(timeout=10)
    assert "the process that held" in said


def test_the_owner_is_frozen(bench, motion, runtime):
    child = start(bench, motion, stderr=subprocess.DEVNULL)
    (owner,) = owners(runtime)
    since = bench.now
    os.kill(owner, signal.SIGSTOP)
    assert_held(stopped_after(bench, since), motion)
    os.kill(owner, signal.SIGCONT)  # what the command sent meanwhile is old, and moves nothing
    child.wait(20)
    bench.pass_ticks(40)
    assert not any(tick.drive for tick in bench.board.ticks[-40:])


def test_the_owner_is_asked_to_end(bench, motion, runtime):
    start(bench, motion, stderr=subprocess.DEVNULL)
    (owner,) = owners(runtime)
    since = bench.now
    os.kill(owner, signal.SIGTERM)
    assert stopped_after(bench, since) <= AT_ONCE_TICKS + RAMP_TICKS + SETTLE_TICKS


@pytest.mark.parametrize("way", ["pty", "tcp"])
def test_killed_with_renewals_waiting_in_the_port(runtime, kind, motion, way):
    bench = Bench(kind, way)
    try:
        child = start(bench, motion)
        (owner,) = owners(runtime)
        bench.hold_up()
        bench.pass_ticks(30)  # three renewals wait now
        since = bench.now
        os.kill(owner, signal.SIGKILL)
        child.kill()
        bench.pass_ticks(10)
        bench.let_pass()
        assert stopped_after(bench, since) <= limit(motion)
    finally:
        bench.close()


def test_renewals_that_come_after_the_end_revive_nothing(bench, motion):
    child = start(bench, motion, stderr=subprocess.DEVNULL)
    bench.hold_up()
    since = bench.now
    assert_held(stopped_after(bench, since), motion)
    child.kill()
    bench.let_pass()
    bench.pass_ticks(60)
    assert not any(tick.drive for tick in bench.board.ticks[-60:])


def test_the_terminal_is_closed(bench, motion):
    master, slave = os.openpty()

    def take_terminal():
        os.setsid()
        import fcntl
        import termios

        fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    start(bench, motion, stdin=slave, stdout=slave, stderr=slave, preexec_fn=take_terminal)
    os.close(slave)
    since = bench.now
    os.close(master)
    assert stopped_after(bench, since) <= AT_ONCE_TICKS + RAMP_TICKS + SETTLE_TICKS


def test_stop_from_a_second_program(bench, motion):
    child = start(bench, motion, stderr=subprocess.PIPE, text=True)
    with Board.open(bench.port, who="stop") as board:
        since = bench.now
        board.stop()
        assert stopped_after(bench, since) <= AT_ONCE_TICKS + RAMP_TICKS + SETTLE_TICKS
    _, said = child.communicate(timeout=10)
    assert "StopAsked: axis 1 was stopped: 'stop'" in said


def test_stop_category_0_is_at_once(bench):
    start(bench, "jog", stderr=subprocess.DEVNULL)
    with Board.open(bench.port, who="stop") as board:
        since = bench.now
        board.stop(1, 0)
        assert stopped_after(bench, since) <= AT_ONCE_TICKS


def test_the_port_goes_away_while_moving(bench, motion):
    child = start(bench, motion, stderr=subprocess.PIPE, text=True)
    since = bench.now
    bench.door.close()
    assert_held(stopped_after(bench, since), motion)
    _, said = child.communicate(timeout=10)
    assert "LinkLost" in said
    assert "went away" in said


def test_the_reader_of_a_frozen_command_sees_the_truth_when_it_goes_on(bench):
    program = PROGRAM.replace("motion.wait()", "end = motion.wait(); print(end.ended, end.cause)")
    child = subprocess.Popen(
        [sys.executable, "-c", program, bench.port, "move"], stdout=subprocess.PIPE, text=True
    )
    bench.until(lambda tick: tick.speed_mm_s > 6.0)
    child.send_signal(signal.SIGSTOP)
    stopped_after(bench, bench.now)
    time.sleep(0.5)
    child.send_signal(signal.SIGCONT)
    said, _ = child.communicate(timeout=10)
    assert said == f"{Ended.SILENCE.value} {Fault.MOVE_SILENCE.value}\n"
