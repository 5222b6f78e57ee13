"""The emulated board: twin, rig and line in lockstep, through resets and between commands."""

import json
from pathlib import Path

import pytest
from rodbench.board import Board
from rodbench.clock import VirtualClock
from rodbench.emulator.board import EmulatedBoard
from rodbench.emulator.open import STATE_NAME, open_emulator
from rodbench.emulator.plant_file import default_machine, dump
from rodbench.emulator.signals import DRIVE, OFF
from rodbench.emulator.twin.duty import DUTY_UNKNOWN, duty_used
from rodbench.errors import SettingsError
from rodbench.link.transport import EmulatorTransport
from rodbench_protocol import framing, messages
from rodbench_protocol.names import AxisState, ResetCause

BOOT_TICKS = 60  # boot_ms of the packaged plant
HOT_AT, HOT_END = 657, 810  # the hot record: 17 of 9 bytes
TOO_MUCH = 6111  # ticks that a power loss makes count, at most, behind a motion


class Bench:
    """A host on an emulated board in virtual time."""

    def __init__(self, folder: Path | None = None, spec: str = "emulator") -> None:
        self.clock = VirtualClock()
        self.emulated = open_emulator(spec, self.clock, folder)
        self.board = Board.direct(EmulatorTransport(self.emulated, self.clock), self.clock)

    def fit(self, **more: int) -> None:
        self.board.write_scope(1, {"feedback": 1, "motor_reversed": 1, **more})

    def jog(self, output: float, seconds: float) -> float:
        """Jog uncalibrated; returns how far the rod went, mm."""
        plant = self.emulated.rig.plants[1]
        before = plant.position_mm
        with self.board.axis(1).jog_output(output) as motion:
            for sample in motion.samples():
                if sample.state == AxisState.JOG and self.clock.now() > seconds:
                    break
                if self.clock.now() > 5 * seconds:
                    break
        self.board.sleep(0.5)
        return plant.position_mm - before


def test_a_board_answers_and_moves_its_rod() -> None:
    bench = Bench()
    assert bench.board.hello.reset_cause == ResetCause.POWER_ON
    bench.fit()
    assert bench.jog(0.3, 1.0) > 1.0
    assert bench.jog(-0.3, bench.clock.now() + 1.0) < -1.0


def test_outputs_of_a_tick_move_the_rod_in_the_next() -> None:
    bench = Bench()
    bench.fit()
    bench.board.request("jog", axis=1, unit=0, value=300)
    plant = bench.emulated.rig.plants[1]
    while bench.emulated.outputs.bridge[0] != DRIVE:
        bench.emulated.step()
        assert plant.current_a == 0.0
    bench.emulated.step()
    assert plant.current_a != 0.0


def test_a_reset_drops_outputs_at_once_and_is_silent_while_it_boots() -> None:
    bench = Bench()
    bench.fit()
    bench.board.request("jog", axis=1, unit=0, value=300)
    bench.emulated.step(40)
    assert bench.emulated.outputs.bridge[0] == DRIVE
    boots = bench.emulated.boots
    bench.emulated.read()
    bench.emulated.reset("external")
    for _ in range(BOOT_TICKS - 1):
        bench.emulated.step()
        assert bench.emulated.outputs.bridge == [OFF, OFF]
        assert bench.emulated.read() == b""
    bench.emulated.step(2)
    assert bench.emulated.boots == boots + 1
    assert bench.board.ask_hello().reset_cause == ResetCause.EXTERNAL


def test_what_comes_while_it_boots_is_lost() -> None:
    emulated = EmulatedBoard(default_machine())
    hello = framing.encode(messages.pack("hello", 0, 0))
    emulated.reset("external")
    emulated.write(hello)
    emulated.step(BOOT_TICKS + 10)
    heard = emulated.read()
    emulated.write(hello)
    emulated.step(3)
    again = emulated.read()
    replies = [f for data in (heard, again) for f in framing.Splitter().feed(data)]
    kinds = [messages.parse(framing.decode(frame)).name for frame in replies]
    assert kinds.count("hello") == 1


@pytest.mark.parametrize(
    ("reset", "cause"),
    [("external", ResetCause.EXTERNAL), ("watchdog", ResetCause.WATCHDOG)],
)
def test_each_reset_has_its_cause_and_a_new_nonce(reset: str, cause: ResetCause) -> None:
    bench = Bench()
    before = bench.board.hello.boot_nonce
    bench.emulated.reset(reset)
    bench.emulated.step(BOOT_TICKS + 2)
    hello = bench.board.ask_hello()
    assert hello.reset_cause == cause
    assert hello.boot_nonce != before


def test_a_restart_that_the_host_asks_for() -> None:
    bench = Bench()
    bench.board.restart()
    assert bench.board.hello.reset_cause == ResetCause.RESTART


def test_ram_outlives_a_reset_and_dies_with_the_power() -> None:
    """On-time is counted in RAM that a reset keeps."""
    bench = Bench()
    bench.fit()
    bench.jog(0.3, 1.0)
    spent = bench.emulated.twin.noinit.duty[0].total
    assert spent > 100
    bench.emulated.reset("external")
    bench.emulated.step(BOOT_TICKS + 1)
    assert bench.emulated.twin.noinit.duty[0].total == spent
    bench.emulated.power_cut()
    bench.emulated.step(BOOT_TICKS + 101)
    assert bench.emulated.twin.noinit.duty[0].total == DUTY_UNKNOWN
    assert spent <= duty_used(bench.emulated.twin.noinit.duty[0]) <= spent + TOO_MUCH
    assert bench.board.ask_hello().reset_cause == ResetCause.POWER_ON


def test_a_reset_while_the_power_comes_back_brings_no_ram_back() -> None:
    bench = Bench()
    bench.fit()
    bench.jog(0.3, 1.0)
    spent = bench.emulated.twin.noinit.duty[0].total
    bench.emulated.power_cut()
    bench.emulated.step(10)
    bench.emulated.reset("external")
    bench.emulated.step(BOOT_TICKS + 1)
    assert bench.emulated.twin.noinit.duty[0].total == DUTY_UNKNOWN
    assert spent <= duty_used(bench.emulated.twin.noinit.duty[0]) <= spent + TOO_MUCH
    assert bench.board.ask_hello().reset_cause == ResetCause.POWER_ON


def test_the_rod_runs_on_through_a_power_cut() -> None:
    bench = Bench()
    bench.fit()
    bench.board.request("jog", axis=1, unit=0, value=300)
    bench.emulated.step(40)
    plant = bench.emulated.rig.plants[1]
    assert plant.speed_mm_s > 1.0
    place = plant.position_mm
    bench.emulated.power_cut(off_ticks=200)
    bench.emulated.step(100)
    assert plant.position_mm > place
    assert plant.speed_mm_s == 0.0


def test_a_byte_torn_by_a_power_cut_reads_as_told() -> None:
    bench = Bench()
    bench.board.write_scope(1, {"feedback": 1}, store=False)
    bench.board.request("store")
    while not bench.emulated.outputs.ee_write:
        bench.emulated.step()
    address, value = bench.emulated.outputs.ee_address, bench.emulated.outputs.ee_value
    assert bench.emulated.eeprom[address] == value
    before = bytes(bench.emulated.eeprom)
    bench.emulated.power_cut(torn=value ^ 0xA5)
    changed = [i for i in range(1024) if bench.emulated.eeprom[i] != before[i]]
    assert changed == [address]
    bench.emulated.step(BOOT_TICKS + 102)
    bench.emulated.power_cut(torn=0)  # no write was under way
    assert bench.emulated.eeprom[address] == value ^ 0xA5


def test_settings_outlive_the_power() -> None:
    bench = Bench()
    bench.fit()
    digest = bench.board.hello.digest_stored
    bench.board.write_scope(1, {"trip_ma": 2100}, store=True)
    bench.emulated.power_cut()
    bench.emulated.step(BOOT_TICKS + 102)
    hello = bench.board.ask_hello()
    assert hello.digest_stored == hello.digest_live != digest
    assert bench.emulated.twin.live.scope[1].trip_ma == 2100


def story(seed: int) -> list[bytes]:
    """Frames of a jog, without the session, which the host draws by lot."""
    emulated = EmulatedBoard(default_machine(), seed=seed)
    clock = VirtualClock()
    clock.attach(emulated.step)
    board = Board.direct(EmulatorTransport(emulated, clock), clock)
    board.write_scope(1, {"feedback": 1})
    board.subscribe(0.01, 0.1)
    board.request("jog", axis=1, unit=0, value=-300)
    emulated.step(300)
    frames = framing.Splitter().feed(emulated.read())
    payloads = [framing.decode(frame) for frame in frames[1:]]
    return [payload[:1] + payload[2:] for payload in payloads]


def test_the_same_seed_gives_the_same_bytes() -> None:
    first = story(1)
    assert len(first) > 250
    assert story(1) == first
    assert story(2) != first


def test_state_is_kept_in_the_machine_folder(tmp_path: Path) -> None:
    first = Bench(tmp_path)
    first.fit()
    first.board.write_scope(1, {"trip_ma": 2200}, store=True)
    first.jog(0.3, first.clock.now() + 1.0)
    place = first.emulated.rig.plants[1].position_mm
    spent = first.emulated.twin.noinit.duty[0].total
    first.emulated.close()
    second = Bench(tmp_path)
    assert place > 106.0
    assert second.emulated.rig.plants[1].position_mm == place
    assert second.emulated.twin.live.scope[1].trip_ma == 2200
    assert second.emulated.twin.noinit.duty[0].total == spent
    assert second.board.hello.boot_nonce != first.board.hello.boot_nonce


def test_a_killed_process_keeps_what_had_come_to_rest(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.fit()
    bench.board.write_scope(1, {"trip_ma": 2300}, store=True)
    bench.board.sleep(1.0)  # no close
    assert Bench(tmp_path).emulated.twin.live.scope[1].trip_ma == 2300


def test_a_record_of_another_version_keeps_the_settings(tmp_path: Path) -> None:
    first = Bench(tmp_path)
    first.fit()
    first.board.write_scope(1, {"trip_ma": 2400}, store=True)
    first.emulated.close()
    state = json.loads((tmp_path / STATE_NAME).read_text())
    state["noinit"] = state["noinit"][:-2]
    (tmp_path / STATE_NAME).write_text(json.dumps(state))
    second = Bench(tmp_path)
    assert second.emulated.twin.live.scope[1].trip_ma == 2400
    assert second.board.hello.reset_cause == ResetCause.POWER_ON


@pytest.mark.parametrize("rubbish", ["", "{", "[]", '{"eeprom": "00"}', "null"])
def test_a_damaged_state_file_is_a_board_as_from_the_shop(tmp_path: Path, rubbish: str) -> None:
    (tmp_path / STATE_NAME).write_text(rubbish)
    bench = Bench(tmp_path)
    assert bench.board.hello.reset_cause == ResetCause.POWER_ON
    kept = bench.emulated.eeprom[:HOT_AT] + bench.emulated.eeprom[HOT_END:]
    assert kept == b"\xff" * len(kept)  # but for the hot record, which each start writes
    assert len(kept) == 1024 - 153


def test_rods_of_another_plant_stand_where_its_file_says(tmp_path: Path) -> None:
    first = Bench(tmp_path)
    first.emulated.rig.plants[1].place(20.0)
    first.emulated.close()
    other = default_machine()
    other.rods[1].stroke_mm = 150.0
    (tmp_path / "other.toml").write_text(dump(other))
    second = Bench(tmp_path, f"emulator:{tmp_path / 'other.toml'}")
    assert second.emulated.rig.plants[1].position_mm == 105.0
    assert json.loads((tmp_path / STATE_NAME).read_text())["positions_mm"]["1"] == 20.0


def test_a_bad_plant_file_opens_nothing(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("plant_file = 1\nvolts = 12\n")
    with pytest.raises(SettingsError, match=r"bad\.toml:2"):
        open_emulator(f"emulator:{tmp_path / 'bad.toml'}")


def test_faults_of_the_line_reach_the_line() -> None:
    emulated = EmulatedBoard(default_machine())
    for lost, counted in ((1.0, 0), (0.0, 10)):
        emulated.rig.set_fault("frames_lost", value=lost)
        for _ in range(10):
            emulated.write(b"\1\2\3\0")
            emulated.step(2)
        assert emulated.twin.counters.frames_bad == counted
