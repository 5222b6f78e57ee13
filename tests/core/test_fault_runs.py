"""Some of the random runs with faults, and that their observer sees what it is there for.

python -m tests.core.fault_runs --runs 10000 --jobs 2         all of them
"""

from __future__ import annotations

import pytest
from rodbench.emulator.faults import KINDS
from rodbench_protocol import settings
from rodbench_protocol.names import AxisState, Bridge, Fault

from tests.core.attack import HOLD, Broken, ramp_ticks
from tests.core.fault_rods import ROD_FAULTS
from tests.core.fault_runs import many
from tests.core.fault_watch import NEVER, Seen, Watch

VALUES = settings.defaults("axis") | {"feedback": 1, "calibrated": 1}
MM = 50.0  # well inside
OFF = Seen(0, Bridge.BRAKE, AxisState.IDLE, 0, 0, mm=MM)
GOES = Seen(300, Bridge.DRIVE, AxisState.JOG, 1, 0, mm=MM)
RAMPS = GOES._replace(state=AxisState.STOPPING)


def bit(fault: Fault) -> int:
    return 1 << (fault - 1)


def going(**changes: int) -> Watch:
    """An axis at rest, then in motion, whose host is heard for ever."""
    watch = Watch(VALUES | changes)
    watch.see(OFF)
    watch.see(GOES)
    watch.allowed_to = NEVER
    return watch


def test_runs_with_faults_break_nothing_that_must_hold() -> None:
    total, broken = many(first=1, runs=30, jobs=2, twin_every=15)
    assert not broken
    assert total["runs"] == 30
    assert total["runs with the twin beside"] == 2
    assert total["axis ticks with output"] > total["ticks"] / 3, "it must reach motion"
    assert total["axis ticks with a fault"] > 1000
    assert total["axes judged by their soft stops"] > 40
    by = {name.split(":")[0] for name in total if name.startswith("motion by")}
    assert len(by) >= 6, by


def test_every_fault_of_a_rod_that_the_emulator_knows_is_brought_about() -> None:
    assert set(ROD_FAULTS) == {name for name, kind in KINDS.items() if kind.place == "rod"}


def test_the_observer_sees_output_with_a_fault_of_category_0() -> None:
    watch = going()
    with pytest.raises(Broken, match="category 0"):
        watch.see(GOES._replace(faults=bit(Fault.STALL)))


@pytest.mark.parametrize("late", [0, 1])
def test_the_observer_gives_a_ramp_its_time_and_no_more(late: int) -> None:
    watch, faulted = going(), RAMPS._replace(faults=bit(Fault.STOP_INPUT))
    for _ in range(ramp_ticks(VALUES) + 1):
        watch.see(faulted)
    if late:
        with pytest.raises(Broken, match="its ramp is over"):
            watch.see(faulted)


def test_the_observer_sees_a_ramp_that_pushes_harder_than_what_it_ends() -> None:
    for fault in (0, bit(Fault.THERMAL)):
        watch = going()
        for drive in (GOES.drive, 0, 290, GOES.drive):  # it may touch 0
            watch.see(RAMPS._replace(drive=drive, bridge=Bridge.DRIVE if drive else Bridge.BRAKE))
        with pytest.raises(Broken, match="ramp down above 300"):
            watch.see(RAMPS._replace(drive=GOES.drive + 1, faults=fault))
    with pytest.raises(Broken, match="no ramp"):
        going().see(GOES._replace(faults=bit(Fault.THERMAL)))


def test_the_observer_sees_output_that_comes_again_and_a_motion_that_begins_with_a_fault() -> None:
    fault = bit(Fault.SUPPLY_LOW)
    watch = going()
    watch.see(OFF._replace(faults=fault, motion=1))
    with pytest.raises(Broken, match="again"):
        watch.see(GOES._replace(faults=fault))
    watch = going()
    watch.see(OFF._replace(faults=fault, motion=1))
    again = OFF._replace(faults=fault, motion=2)
    with pytest.raises(Broken, match="began"):
        watch.see(again)
    watch.see(again._replace(cleared=True))  # begun after the clear, ended by what came back
    with pytest.raises(Broken, match="began"):
        watch.see(GOES._replace(faults=fault, motion=3, cleared=True))


@pytest.mark.parametrize("late", [0, 1])
def test_the_observer_sees_a_motion_that_outlasts_its_host(late: int) -> None:
    watch = Watch(VALUES)
    watch.see(OFF)
    for _ in range(HOLD + ramp_ticks(VALUES) + 1):
        watch.see(GOES)
    if late:
        with pytest.raises(Broken, match="beyond hold"):
            watch.see(GOES)


@pytest.mark.parametrize("late", [0, 1])
def test_the_observer_sees_an_input_that_was_let_go_or_never_at_rest(late: int) -> None:
    watch = going()
    lets = GOES._replace(local=True, idle=6 + ramp_ticks(VALUES) + late)
    if late:
        with pytest.raises(Broken, match="input that asks"):
            watch.see(lets)
        watch = Watch(VALUES)
        watch.see(OFF._replace(local=True))
        with pytest.raises(Broken, match="not yet at rest"):
            watch.see(lets._replace(idle=0, rested=False))
    else:
        watch.see(lets)


def test_what_the_host_began_comes_down_when_an_input_has_the_axis_again() -> None:
    handed = RAMPS._replace(local=True, rested=False)
    with pytest.raises(Broken, match="not yet at rest"):
        going().see(handed._replace(state=AxisState.JOG))
    watch = going()
    for _ in range(ramp_ticks(VALUES) + 1):
        watch.see(handed)
    with pytest.raises(Broken, match="not yet at rest"):
        watch.see(handed)


@pytest.mark.parametrize(
    ("cause", "most"),
    [("pot_open", 8), ("supply_high", 6), ("stop_open", 6 + ramp_ticks(VALUES))],
)
def test_the_observer_sees_a_cause_that_the_board_overlooks(cause: str, most: int) -> None:
    watch = going()
    watch.see(GOES._replace(causes={cause: most}))
    with pytest.raises(Broken, match=cause):
        watch.see(GOES._replace(causes={cause: most + 1}))


def test_the_observer_counts_the_budget_over_resets_and_lets_the_window_pass() -> None:
    watch = going(duty_window_s=60, duty_share_permille=10)
    for _ in range(119):
        watch.see(GOES)
    watch.start()
    watch.see(OFF)
    with pytest.raises(Broken, match="121 ticks on, 120 allowed"):
        watch.see(GOES._replace(motion=2))
    watch.start()
    for _ in range(12_000):
        watch.see(OFF)
    watch.see(GOES._replace(motion=3))


def test_the_observer_judges_a_rod_by_its_soft_stops_unless_it_coasts_or_its_pot_lies() -> None:
    high = VALUES["soft_stop_max_um"] / 1000
    beyond = GOES._replace(mm=high + 0.21, moved=True)
    for before in (GOES, OFF._replace(motion=1)):
        watch = going()
        watch.see(before)
        watch.see(GOES._replace(mm=high + 0.19, moved=True))
        with pytest.raises(Broken, match="past a soft stop"):
            watch.see(beyond)
    for excuse in (
        OFF._replace(motion=1, bridge=Bridge.OFF, moved=True),
        GOES._replace(true=False),
    ):
        watch = going()
        watch.see(excuse._replace(mm=high))
        watch.see(beyond)


def test_the_observer_sees_output_that_no_driver_may_get() -> None:
    for wrong in (GOES._replace(bridge=Bridge.OFF), GOES._replace(drive=-300)):
        with pytest.raises(Broken):
            going().see(wrong)
    with pytest.raises(Broken, match="without a motion"):
        Watch(VALUES).see(GOES._replace(motion=0))
