"""The binary on its own: buttons, stick and servo pulse at the chip's pins, and no host at all."""

from __future__ import annotations

import pytest
from rodbench.emulator.plant_file import parse
from rodbench_protocol import framing, messages
from rodbench_protocol.names import AxisAlso, LocalAs, LocalSource

from tests.board import build
from tests.board.simboard import SimBoard
from tests.procedures.test_inputs import CALIBRATED, PLANT
from tests.twin import memory
from tests.twin.memory import settings

SECOND = 200
NEAR_US = 20  # the longest that interrupts are off
ENDS = {"local_low_end": 200, "local_rest": 512, "local_rest_band": 20, "local_high_end": 824}


def board_with(source: LocalSource, **more: int) -> SimBoard:
    axis = settings.defaults("axis") | CALIBRATED | {"local_source": int(source)}
    if source == LocalSource.STICK:
        axis |= ENDS
    image = memory.image(0, settings.defaults("board"), axis | more, settings.defaults("axis"))
    return SimBoard(parse(PLANT, "x"), eeprom=bytes(image), elf=build.firmware(local=True))


def position(board: SimBoard) -> float:
    return float(board.rig.plants[1].position_mm)


def frame(name: str, session: int = 3, seq: int = 0, **fields: int) -> bytes:
    return framing.encode(messages.pack(name, session, seq, **fields))


class Ear:
    """Hears what the board sends, frame by frame."""

    def __init__(self, board: SimBoard) -> None:
        self.board, self.splitter = board, framing.Splitter()

    def told(self) -> list[messages.Message]:
        frames = self.splitter.feed(self.board.read())
        return [messages.parse(framing.decode(frame)) for frame in frames]


@pytest.mark.parametrize(
    ("source", "rest", "out", "back"),
    [
        (LocalSource.BUTTONS, {"extend": 0.0, "retract": 0.0}, {"extend": 1.0}, {"retract": 1.0}),
        (LocalSource.STICK, {"stick": 0.5}, {"stick": 0.8}, {"stick": 0.2}),
        (LocalSource.PULSE, {"pulse": 1500.0}, {"pulse": 2000.0}, {"pulse": 1000.0}),
    ],
)
def test_each_input_moves_its_rod_both_ways_after_rest(
    source: LocalSource, rest: dict[str, float], out: dict[str, float], back: dict[str, float]
) -> None:
    board = board_with(source)

    def put(*values: dict[str, float]) -> None:
        for each in values:
            for kind, value in each.items():
                board.rig.set_input(kind, 1, value)

    start = position(board)
    put(rest, out)
    board.step(SECOND)
    assert position(board) == pytest.approx(start, abs=0.05)  # held over since power-on
    put(rest)
    board.step(SECOND // 2)
    put(rest, out)
    board.step(SECOND)
    far = position(board)
    assert far > start + 1.0
    put(rest)
    board.step(SECOND)
    still = position(board)
    board.step(SECOND)
    assert position(board) == pytest.approx(still, abs=0.05)
    put(rest, back)
    board.step(SECOND)
    assert position(board) < still - 1.0
    board.close()


def test_a_pulse_is_read_to_what_an_interrupt_takes_and_its_loss_stops() -> None:
    board = board_with(LocalSource.PULSE)
    ear = Ear(board)
    board.rig.set_input("pulse", 1, 1500.0)
    board.step(60)
    hello = frame("hello", session=0)
    board.write(hello)
    board.step(10)
    nonce = next(m for m in ear.told() if m.name == "hello").fields["boot_nonce"]
    board.write(frame("open", seq=1, boot_nonce=nonce, protocol_major=1, protocol_minor=2))
    board.step(5)
    board.write(frame("subscribe", seq=2, axis_period_ms=10, board_period_ms=50))
    board.rig.set_input("pulse", 1, 1900.0)
    board.step(SECOND)
    heard = ear.told()
    values = [m.fields["local_1"] for m in heard if m.name == "telemetry_board"]
    assert values[2:]
    assert values[2:] == pytest.approx([1900] * len(values[2:]), abs=NEAR_US)
    assert any(m.fields.get("state") == 2 for m in heard)
    board.rig.set_input("pulse", 1, 0.0)
    board.step(SECOND)
    flags = [m.fields["also"] for m in ear.told() if m.name == "telemetry_axis"]
    assert flags[-2] & AxisAlso.SOURCE_LOST or flags[-1] & AxisAlso.SOURCE_LOST
    still = position(board)
    board.step(SECOND)
    assert position(board) == pytest.approx(still, abs=0.05)
    board.close()


def test_a_button_names_a_place() -> None:
    board = board_with(
        LocalSource.BUTTONS, local_as=int(LocalAs.POSITION), local_place_extend=49152
    )
    board.step(60)
    board.rig.set_input("extend", 1, 1.0)
    board.step(10)
    board.rig.set_input("extend", 1, 0.0)
    board.step(8 * SECOND)
    assert position(board) == pytest.approx(30.0, abs=1.0)
    board.close()
