"""calibrate supply: what the meter says is what the board reads afterwards, and nothing else."""

from __future__ import annotations

import pytest
from rodbench.bench.ask import Answers, Asker, Eye, Yes
from rodbench.bench.supply import Supply, calibrate
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator import eye
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import NeedsPerson, ProcedureError, UsageError
from rodbench.link.transport import EmulatorTransport

from tests import boards

ACCEPT: dict[str, object] = {"accept_supply": "accept"}
RATIO = 6.2 * 5.0 / boards.reference_v()  # of the divider, whatever the board's reference


class Bench:
    """A board whose divider and own supply are not what the settings say."""

    def __init__(self, volts: float = 12.6, ratio: float = RATIO, own_share: float = 0.96) -> None:
        machine = boards.fit(default_machine())
        machine.supply.volts, machine.supply.divider_ratio = volts, ratio
        machine.board.reference_v *= own_share
        self.emulated, self.clock = boards.make(machine), VirtualClock()
        self.clock.attach(self.emulated.step)
        self.board = Board.direct(EmulatorTransport(self.emulated, self.clock), self.clock)
        self.said: list[str] = []

    def run(self, answers: dict[str, object], *, yes: bool = True, sees: bool = True) -> Supply:
        look = Eye(eye.Eye(self.emulated.rig).look)
        sources = [Answers(answers), *([Yes()] if yes else []), *([look] if sees else [])]
        return calibrate(self.board, Asker(*sources), self.said.append)

    def read_v(self) -> float:
        self.board.watch(0.5)
        assert self.board.last_board is not None
        return self.board.last_board.supply_v


def test_the_board_reads_afterwards_what_the_meter_shows() -> None:
    bench = Bench()
    assert abs(bench.read_v() - 12.6) > 0.3
    found = bench.run(ACCEPT)
    assert found.ratio == pytest.approx(RATIO, rel=0.005)
    assert bench.read_v() == pytest.approx(12.6, abs=0.06)
    live = bench.board.read_scope(0)
    assert live["supply_calibrated"] == 1
    assert live["board_5v_mv"] == pytest.approx(960 * boards.reference_v(), abs=5)  # two digits
    assert (live["supply_low_mv"], live["supply_high_mv"]) == (10_500, 15_000)


def test_how_surely_the_board_tells_it_is_said() -> None:
    bench = Bench()
    found = bench.run(ACCEPT)
    reads = boards.kind().supply_full_scale
    assert found.step_v == pytest.approx(found.board_5v / reads * found.ratio, abs=1e-4)
    assert any("no surer than the meter" in line for line in bench.said)


def test_what_is_not_to_be_touched_is_said_first() -> None:
    bench = Bench()
    bench.run(ACCEPT)
    assert "nothing else" in bench.said[0]
    assert "10.5 .. 15 V" in bench.said[-1]


def test_limits_of_ones_own() -> None:
    own = {"accept_supply": "edit", "edit_supply_low_v": "11 V", "edit_supply_high_v": 14.8}
    found = Bench().run(own)
    assert (found.low_v, found.high_v) == (11.0, 14.8)
    assert found.settings()["supply_high_mv"] == 14_800


def test_a_limit_above_what_the_input_tells_is_said_to_be_absent_or_lower() -> None:
    bench = Bench(volts=24.5)
    bench.board.write_scope(0, {"supply_nominal_mv": 24_000})
    found = bench.run(ACCEPT)
    assert found.high_v is not None
    assert 24.0 < found.high_v < 0.96 * 5.0 * 6.3


@pytest.mark.parametrize(
    ("answers", "error", "said"),
    [
        (
            ACCEPT | {"meter_board_5v": 3.0 if boards.name() == "emulator" else 2.0},
            UsageError,
            "answer",
        ),
        (ACCEPT | {"meter_supply_v": 60}, UsageError, "3 to 36"),
        (ACCEPT | {"meter_supply_v": "12,4"}, UsageError, "answer"),
        (ACCEPT | {"meter_supply_v": 9.0}, ProcedureError, "would stop at once"),
        (ACCEPT | {"caution_meter": "no"}, ProcedureError, "not accepted"),
        (
            {"accept_supply": "edit", "edit_supply_low_v": 12.5, "edit_supply_high_v": 15},
            UsageError,
            "below 12 V",
        ),
    ],
)
def test_what_cannot_be_meant_leaves_the_board_as_it_was(
    answers: dict[str, object], error: type[Exception], said: str
) -> None:
    bench = Bench()
    before = bench.board.digests()["live"]
    with pytest.raises(error, match=said):
        bench.run(answers)
    assert bench.board.digests()["live"] == before


def test_a_reading_is_never_invented() -> None:
    bench = Bench()
    before = bench.board.digests()["live"]
    with pytest.raises(NeedsPerson):
        bench.run(ACCEPT, sees=False)
    with pytest.raises(NeedsPerson):
        bench.run(ACCEPT | {"meter_board_5v": 0.96 * boards.reference_v()}, sees=False)
    assert bench.board.digests()["live"] == before


def test_no_divider_is_named() -> None:
    bench = Bench(volts=12.0, ratio=20.0)
    bench.emulated.rig.machine.supply.divider_ratio = 1e6
    with pytest.raises(ProcedureError, match="reads 0"):
        bench.run(ACCEPT | {"meter_supply_v": 12.0})
