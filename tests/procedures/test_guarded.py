"""What is not guarded: one line, nothing left out, nothing too much."""

import pytest
from rodbench.bench.guarded import not_guarded
from rodbench_protocol.settings import defaults

BOARD = defaults("board")
SOUND = defaults("axis") | {"feedback": 1, "calibrated": 1, "current_sensor": 1, "stop_by": 0}


@pytest.mark.parametrize(
    ("axis", "said", "unsaid"),
    [
        ({}, ["low supply", "stop input"], ["over-current", "soft stops"]),
        ({"current_sensor": 0}, ["over-current, and a stall by its current (no sensor)"], ["soft"]),
        ({"current_sensor": 2}, [], ["over-current"]),
        ({"calibrated": 0}, ["soft stops (not calibrated)"], ["coasts"]),
        ({"stop_by": 1}, ["soft stops (the driver coasts)"], ["over-current"]),
        ({"feedback": 2, "calibrated": 0}, ["soft stops (no pot"], ["not calibrated"]),
    ],
)
def test_each_absent_guard_is_named(
    axis: dict[str, int], said: list[str], unsaid: list[str]
) -> None:
    line = not_guarded(BOARD, SOUND | axis)
    assert line.startswith("Not guarded: ")
    assert "\n" not in line
    assert all(part in line for part in said)
    assert not any(part in line for part in unsaid)


def test_a_supply_without_a_meter_reading_is_said() -> None:
    assert "no meter reading entered" in not_guarded(BOARD, SOUND)
    assert "no meter reading" not in not_guarded(BOARD | {"supply_calibrated": 1}, SOUND)
