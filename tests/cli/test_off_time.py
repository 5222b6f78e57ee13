"""`info --off-for`, and what `info` says of duty and heat."""

from __future__ import annotations

import re

from rodbench.record.logbook import Logbook

from tests.cli.conftest import Bench, wait_for


def of_axis(bench: Bench, *words: str) -> dict[str, float]:
    found: dict[str, float] = bench.json("info", *words)["axes"][0]
    return found


def cut(bench: Bench) -> None:
    """The board's power goes and comes back."""
    boots = bench.board.boots
    with bench.served.paced._lock:
        bench.board.power_cut()
    wait_for(lambda: bench.board.boots > boots and not bench.board._silent, what="the start")


def test_a_rod_that_rested_without_power_may_run_again(calibrated: Bench) -> None:
    machine = calibrated.folder / "machine.toml"
    rated = "stroke_mm = 40.0\nrated_current_a = 1.0\n"
    machine.write_text(machine.read_text().replace("stroke_mm = 40.0\n", rated))
    calibrated.run("settings", "push")
    calibrated.run("move", "1", "30 mm", "--yes")
    cut(calibrated)
    spent = of_axis(calibrated)
    assert spent["duty_left_s"] < 300
    assert spent["duty_ready_s"] > 1000
    assert spent["heat"] > 0

    said = calibrated.run("info", "--off-for", "2 h").stdout
    assert "duty left 5 min 00 s; motor at 0 % of its rated heat" in said
    assert of_axis(calibrated)["duty_left_s"] == 300
    entry = Logbook.beside(machine).read()[0][-1]
    assert (entry.kind, entry.data["off_s"]) == ("power off", 7200)
    assert "for 120 min 00 s, as told to the board" in calibrated.run("log").stdout

    refused = calibrated.run("info", "--off-for", "2 h", code=6).stderr
    assert "only after power came on, before any motion, and once" in " ".join(refused.split())


def test_info_says_how_long_to_rest(calibrated: Bench) -> None:
    calibrated.run("move", "1", "30 mm", "--yes")
    said = calibrated.run("info").stdout
    assert re.search(r"duty left 4 min 5\d s, all of it after \d+ min \d\d s of rest\n", said)
    assert "rated heat" not in said  # its rated current is not known


def test_a_time_is_a_time(bench: Bench) -> None:
    for text in ("2 mm", "0 s", "-1 h"):
        assert "is no" in bench.run("info", f"--off-for={text}", code=2).stderr
