"""The whole commissioning on the port, unchanged and faster than real time: what it learns is the
machine's truth, and file and board agree on every setting."""

from __future__ import annotations

import pytest
from rodbench.bench import commission
from rodbench.bench.commission import Commissioned
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.link.transport import EmulatorTransport

from tests.posix.board import PosixBoard
from tests.posix.machine import POT_EXTENDED, POT_RETRACTED, STROKE_MM, machine
from tests.procedures.harness import Bench, MemoryKeeper

END_MM = 0.005 * STROKE_MM


def running_ma() -> float:
    """Current at which friction and drag balance the motor at full supply, the larger way: solved
    for I = friction + drag v and v = (U - R I) / k."""
    made = machine()
    motor, supply = made.rods[1].motor, made.supply
    ohm = motor.resistance_ohm + supply.source_ohm
    drag = motor.drag_a_s_per_mm / motor.constant_v_s_per_mm
    friction = max(motor.friction_extend_a, motor.friction_retract_a)
    return 1000 * (friction + drag * supply.volts) / (1 + drag * ohm)


@pytest.mark.slow
def test_commission_learns_the_truth_and_both_agree(board: PosixBoard) -> None:
    clock = VirtualClock()
    clock.attach(board.step)
    api = Board.direct(EmulatorTransport(board, clock), clock)
    bench = Bench(machine(), board, clock, api)  # type: ignore[arg-type]
    keeper = MemoryKeeper(api)
    done = commission.run(bench.job(), keeper)
    assert isinstance(done, Commissioned)

    live = api.read_scope(1)
    raw_mm = STROKE_MM / abs(POT_EXTENDED - POT_RETRACTED) / 8192
    ends = {"raw_retracted": POT_RETRACTED, "raw_extended": POT_EXTENDED}
    for key, share in ends.items():
        assert abs(live[key] - (share * 8192 - 1)) * raw_mm < END_MM, key
    assert live["motor_reversed"] == 1
    assert live["calibrated"] == 1
    assert live["running_ma"] == pytest.approx(running_ma(), rel=0.03)
    assert keeper.file_only["rods.end_extended"] == "end-switch"

    digests = api.digests()
    assert digests["live"] == digests["stored"] == keeper.digest() == done.digest
    board.power_cut()
    clock.sleep(2.0)
    api.link.open_session()
    assert api.hello.digest_live == keeper.digest()
