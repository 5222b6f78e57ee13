"""A rod is put on another axis by editing one line: what the commands say until it is learned."""

from __future__ import annotations

import pytest
from rodbench.errors import ProcedureError, SettingsError, UsageError

from tests.cli.conftest import ANSWERS
from tests.cli.test_steps import Bench, bench, with_rod

__all__ = ["bench"]


def test_another_rod_on_an_axis_is_learned_anew_before_it_is_calibrated(bench: Bench) -> None:
    with_rod(bench)
    for step in ("current", "polarity", "endpoints"):
        bench.run("calibrate", step, "1", "--yes")
    path = bench.folder / "machine.toml"
    assert 'learned_with = "north"' in path.read_text()
    text = path.read_text().replace("[rods.north]", "[rods.south]")
    text = text.replace('\nrod = "north"', '\nrod = "south"')
    path.write_text(text)
    with pytest.raises(SettingsError, match='with rod "north"') as caught:
        bench.run("settings", "push")
    assert "`rodbench calibrate polarity 1`" in str(caught.value.hint)

    path.write_text(text.replace("calibrated = true", "calibrated = false"))
    bench.run("settings", "push")
    with pytest.raises(ProcedureError, match="nothing is known yet from `rodbench calibrate pol"):
        bench.run("calibrate", "endpoints", "1", "--yes")  # the polarity known is the other rod's
    bench.run("calibrate", "polarity", "1", "--yes")
    assert bench.machine().host("learned_with", ("axes", "1")) == "south"
    path.write_text(path.read_text().replace("calibrated = false", "calibrated = true"))
    bench.run("settings", "push")
    assert bench.board.read_scope(1)["calibrated"] == 1


def test_a_rod_without_a_pot_is_kept_out_of_a_gang_before_it_moves(bench: Bench) -> None:
    bench.run("new", ".", "--name", "bench")
    with (bench.folder / "machine.toml").open("a") as out:
        out.write("\n[gang]\naxes = [1, 2]\napart_trip_mm = 5\n")
    answers = ANSWERS.replace("motor + pot", "motor only")
    (bench.folder / "answers.toml").write_text(answers)
    with pytest.raises(UsageError, match=r"\[gang\] in the machine file has axis 1"):
        bench.run("commission", "1", "--yes", "--answers", "answers.toml")
    assert bench.board.read_scope(1)["feedback"] == 0
