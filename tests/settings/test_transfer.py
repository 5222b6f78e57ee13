"""Push and pull against the emulated board, and cut off in the middle."""

from __future__ import annotations

from pathlib import Path

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.plant_file import default_machine
from rodbench.errors import LinkLost, SettingsError
from rodbench.link.transport import EmulatorTransport
from rodbench.settings import transfer
from rodbench.settings.machine import MachineFile
from rodbench_protocol import framing, messages
from rodbench_protocol.errors import FrameError

from tests.settings.test_machine_file import VENT


class Cut(EmulatorTransport):
    """Restarts the board right after the request `name` of number `count` has gone out."""

    def __init__(self, board: EmulatedBoard, clock: VirtualClock) -> None:
        super().__init__(board, clock)
        self.name_to_cut = ""
        self.left = 0
        self.sent: list[str] = []

    def write(self, data: bytes) -> None:
        super().write(data)
        for frame in framing.Splitter().feed(data):
            try:
                name = messages.parse(framing.decode(frame)).name
            except FrameError:
                continue
            self.sent.append(name)
            if name == self.name_to_cut:
                self.left -= 1
                if self.left == 0:
                    self.board.reset("external")  # type: ignore[attr-defined]


class Scene:
    def __init__(self) -> None:
        self.emulated = EmulatedBoard(default_machine())
        self.clock = VirtualClock()
        self.clock.attach(self.emulated.step)
        self.line = Cut(self.emulated, self.clock)
        self.board = Board.direct(self.line, self.clock)
        self.file = MachineFile(VENT, Path("machine.toml"))


@pytest.fixture
def scene() -> Scene:
    return Scene()


def test_push_then_board_and_file_tell_one_digest(scene: Scene) -> None:
    done = transfer.push(scene.file, scene.board)
    digests = scene.board.digests()
    assert done.digest == digests["live"] == digests["stored"] == scene.file.digest()
    assert transfer.diff(scene.file, scene.board) == []
    assert scene.board.restart().digest_live == scene.file.digest()


def test_pull_into_another_file_then_push_changes_nothing(scene: Scene) -> None:
    transfer.push(scene.file, scene.board)
    other = MachineFile('machine_file = 1\nname = "other"\n', Path("other.toml"))
    transfer.pull(other, scene.board)
    assert other.digest() == scene.board.digests()["live"]
    assert transfer.push(other, scene.board).changed == []


def test_endpoints_of_a_calibrated_axis_change_by_way_of_uncalibrated(scene: Scene) -> None:
    transfer.push(scene.file, scene.board)
    scene.file.put(1, {"raw_extended": 640})
    scene.line.sent.clear()
    transfer.push(scene.file, scene.board)
    assert scene.line.sent.count("draft_commit") == 2
    assert scene.board.read_scope(1)["raw_extended"] == 640


# One check of the board's scope, one commit of it, and two of the axis, which goes by way of
# uncalibrated.
REQUESTS = [("draft_begin", 4), ("draft_set", 4), ("draft_check", 1), ("draft_commit", 3)]


@pytest.mark.parametrize(
    ("name", "count"), [(n, c + 1) for n, most in REQUESTS for c in range(most)]
)
def test_a_reset_in_the_middle_leaves_what_was_stored(scene: Scene, name: str, count: int) -> None:
    """The draft is gone with the reset; the board has its old settings, whole."""
    transfer.push(scene.file, scene.board)
    old = scene.board.digests()["live"]
    scene.file.put(0, {"supply_nominal_mv": 13000})
    scene.file.put(1, {"trip_ma": 2500, "raw_extended": 650})
    scene.line.name_to_cut, scene.line.left = name, count
    with pytest.raises(LinkLost, match="started anew"):
        transfer.push(scene.file, scene.board, until_reset=True)
    scene.line.name_to_cut = ""
    digests = scene.board.digests()
    assert digests["live"] == digests["stored"] == old
    assert scene.board.read_scope(1)["trip_ma"] != 2500


def test_a_board_without_an_id_gets_one_and_another_boards_file_is_refused(scene: Scene) -> None:
    transfer.push(scene.file, scene.board)
    number = scene.board.read_scope(0)["board_id"]
    assert 0 < number < 2**31
    assert f"board_id = {number}" in scene.file.text
    stranger = MachineFile(
        VENT.replace("[board]", "[board]\nboard_id = 4711"), Path("machine.toml")
    )
    with pytest.raises(SettingsError, match="the file belongs to another board") as caught:
        transfer.push(stranger, scene.board)
    live = scene.board.digests()["live"]
    assert caught.value.kept == f"Nothing was sent; the board keeps settings {live:08X}."


def test_errors_of_the_file_say_what_the_board_keeps(scene: Scene) -> None:
    live = scene.board.digests()["live"]
    with pytest.raises(SettingsError) as caught:
        transfer.load_for(scene.board, lambda: MachineFile("x = 1", Path("machine.toml")))
    assert caught.value.kept == f"Nothing was sent; the board keeps settings {live:08X}."


def test_values_that_the_file_has_no_place_for_are_said_and_not_lost(scene: Scene) -> None:
    transfer.push(scene.file, scene.board)
    scene.board.write_scope(2, {"table_raw_1": 5})
    before = scene.file.text
    with pytest.raises(SettingsError, match=r"no place for: axes\.2\.table_raw_1") as caught:
        transfer.pull(scene.file, scene.board)
    assert caught.value.kept == "The machine file was left as it is."
    assert scene.file.text == before
    assert scene.board.read_scope(2)["table_raw_1"] == 5
