"""Why the board started, what a start keeps, and that outputs are off after each."""

from __future__ import annotations

import pytest
from rodbench_protocol.names import EventKind, Fault, FaultBits, ResetCause, Status

from tests.core.host import Host

POWER_ON, EXTERNAL, BROWN_OUT, WATCHDOG = 1, 2, 4, 8
RUBBISH = b"\x5a"
# flags, mark in the record (None: the record did not survive), what hello must say
STARTS = [
    (POWER_ON, None, ResetCause.POWER_ON),
    (POWER_ON | BROWN_OUT, None, ResetCause.POWER_ON),
    (EXTERNAL, None, ResetCause.EXTERNAL),
    (BROWN_OUT, None, ResetCause.BROWN_OUT),
    (WATCHDOG, None, ResetCause.WATCHDOG),
    (0, None, ResetCause.UNKNOWN),
    (0, 0, ResetCause.EXTERNAL),  # RAM lived, a bootloader cleared the flags
    (EXTERNAL, 0, ResetCause.EXTERNAL),
    (WATCHDOG, 0, ResetCause.WATCHDOG),
    (BROWN_OUT, 0, ResetCause.BROWN_OUT),
    (POWER_ON, 0, ResetCause.POWER_ON),
    (0, int(ResetCause.WATCHDOG), ResetCause.WATCHDOG),  # marked by the watchdog's interrupt
    (EXTERNAL, int(ResetCause.WATCHDOG), ResetCause.WATCHDOG),
    (WATCHDOG, int(ResetCause.RESTART), ResetCause.RESTART),  # asked for, done by the watchdog
    (0, int(ResetCause.ASSERTION), ResetCause.ASSERTION),
    (EXTERNAL, 200, ResetCause.EXTERNAL),  # no such mark
]


@pytest.mark.parametrize(("flags", "mark", "cause"), STARTS)
def test_reset_cause(flags: int, mark: int | None, cause: ResetCause) -> None:
    host = Host()
    board = host.board
    if mark is None:
        board.noinit[:] = RUBBISH * len(board.noinit)
    else:
        board.lib.noinit_mark(board.noinit_address, mark)
    board.boot(flags, 5)
    host.events.clear()
    assert host.ask("hello")["reset_cause"] == cause
    boot = host.events[0].fields
    assert (boot["kind"], boot["cause"], boot["number"]) == (EventKind.BOOT, cause, 1)
    latched = {ResetCause.WATCHDOG: FaultBits.WATCHDOG, ResetCause.ASSERTION: FaultBits.ASSERTION}
    assert board.fields().faults == latched.get(cause, 0)
    assert board.fields().alarm == (cause in latched)


def test_the_mark_is_told_once() -> None:
    host = Host()
    host.board.lib.noinit_mark(host.board.noinit_address, int(ResetCause.RESTART))
    host.board.boot(WATCHDOG, 5)
    host.board.boot(EXTERNAL, 5)
    assert host.ask("hello")["reset_cause"] == ResetCause.EXTERNAL


def test_nonces_differ_from_start_to_start() -> None:
    """Also when the seed is always the same: nothing of before a reset may act after it."""
    host = Host()
    for seed in (0, 1, 0xFFFF, 0xFFFE, 0x8000):
        before = host.ask("hello")["boot_nonce"]
        for _ in range(3):
            host.board.boot(EXTERNAL, seed)
            now = host.ask("hello")["boot_nonce"]
            assert now != before
            before = now


def test_a_failed_assertion_is_latched_after_the_restart() -> None:
    host = Host()
    host.board.fail_an_assertion()
    host.board.boot(WATCHDOG, 5)
    assert host.ask("hello")["reset_cause"] == ResetCause.ASSERTION
    assert host.board.fields().faults == FaultBits.ASSERTION
    host.open()
    host.change(feedback=1)
    jog = {"axis": 1, "unit": 0, "value": 100}
    assert host.status("jog", **jog) == Status.FAULTED
    assert host.replies[0].fields["detail"] == Fault.ASSERTION
    assert host.ask("clear", axis=0)["cleared"] == FaultBits.ASSERTION
    assert host.status("jog", **jog) == Status.OK


def test_outputs_are_off_after_a_start_until_somebody_commands() -> None:
    host = Host()
    host.change(feedback=1)
    host.store()
    host.ask("jog", axis=1, unit=0, value=300)
    for _ in range(5):
        host.tick()
    assert host.board.outputs().drive[0] != 0
    host.board.boot(EXTERNAL, 5)
    for _ in range(100):
        host.tick()
        assert list(host.board.outputs().drive) == [0, 0]
        assert list(host.board.outputs().bridge) == [0, 0]


def test_restart_is_refused_in_motion_and_while_storing() -> None:
    host = Host()
    host.change(feedback=1)
    host.ask("store")
    assert host.status("restart") == Status.BUSY
    for _ in range(400):
        host.tick()
    host.ask("jog", axis=1, unit=0, value=300)
    host.tick()
    assert host.status("restart") == Status.IN_MOTION
    host.ask("stop", axis=0, category=0)
    for _ in range(200):
        host.tick()
    assert host.status("restart") == Status.OK
    ticks = 0
    while not host.board.outputs().restart:
        host.tick()
        ticks += 1
    assert 1 <= ticks <= 10  # the reply has left by then: 14 bytes at 125 a tick
    host.board.boot(WATCHDOG, 5)
    assert host.ask("hello")["reset_cause"] == ResetCause.RESTART
