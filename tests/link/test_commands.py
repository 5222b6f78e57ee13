"""Commands beside each other on one port: stop reaches the board whatever runs."""

from __future__ import annotations

import subprocess
import sys

import pytest
from rodbench.emulator.eye import EyeServer

from tests.link.fifty_moves import command, fifty
from tests.link.rig import RAMP_TICKS, SETTLE_TICKS, Bench

SHORT = 5  # commands here; the script of this name runs fifty


def start(bench, folder, *words):
    return subprocess.Popen(
        [sys.executable, "-m", "rodbench.cli.main", *words, "--port", bench.port],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.fixture
def bench(runtime):
    made = Bench("emulator")
    yield made
    made.close()


def assert_stops(bench):
    """The stop has been sent: at rest within the ramp."""
    since = bench.now
    assert bench.until(lambda tick: tick.drive == 0) - since <= RAMP_TICKS + SETTLE_TICKS


MOVING = {
    "move": ("move", "1", "90 mm", "--yes"),
    "jog": ("jog", "1", "8 mm/s", "--for", "20 s", "--yes"),
}


@pytest.mark.parametrize("words", MOVING.values(), ids=MOVING)
@pytest.mark.parametrize("beside", [None, "watch"])
def test_stop_from_another_process(bench, tmp_path, words, beside):
    watching = start(bench, tmp_path, "watch", "--json", "--for", "60 s") if beside else None
    child = start(bench, tmp_path, *words)
    bench.until(lambda tick: tick.speed_mm_s > 6.0)
    stop = command(bench.port, str(tmp_path), "stop")
    assert stop.returncode == 0
    assert_stops(bench)
    assert bench.board.ticks[-1].position_mm < 85.0  # on its way, not at its end
    _, told = child.communicate(timeout=10)
    assert child.returncode == 130
    assert "asked for it" in told
    assert bench.board.ticks[-1].drive == 0
    if watching is not None:
        watching.terminate()
        assert f'"state": "{words[0]}"' in watching.communicate(timeout=10)[0]


def test_stop_while_a_procedure_runs(bench, tmp_path):
    eye = EyeServer(bench.served.look, str(tmp_path / "eye"))
    with_eye = ("--yes", "--eye", eye.address)
    try:
        child = start(bench, tmp_path, "calibrate", "polarity", "1", *with_eye)
        bench.until(lambda tick: tick.drive != 0 and abs(tick.speed_mm_s) > 1.0)
        assert command(bench.port, str(tmp_path), "stop").returncode == 0
        assert_stops(bench)
        said, told = child.communicate(timeout=20)
        assert child.returncode == 130, said + told
        assert "'stop'" in told  # who asked for it
        bench.pass_ticks(100)
        assert not any(tick.drive for tick in bench.board.ticks[-100:])
    finally:
        eye.close()


@pytest.mark.parametrize("restarts", [False, True], ids=["in a row", "a restart before each"])
def test_moves_cost_exactly_their_on_time(runtime, tmp_path, restarts):
    counted, told = fifty("emulator", SHORT, restarts, str(tmp_path))
    assert told == counted > SHORT * 20
